//! The page about boxes has the figures that the program computes.

use sumproof_core::routing::boxes::{Gig, Kind};
use sumproof_report::Form;
use sumproof_report::rig::file::{RigFile, RigLine};
use sumproof_report::rig::lines::{lines, lines_table};

const ROWS: [&str; 9] = [
    "box",
    "goes into",
    "gain",
    "low-end roll-off",
    "delay",
    "isolation",
    "phantom power",
    "common-mode rejection",
    "loud playing over noise",
];

#[test]
fn the_table_of_usual_boxes_is_true() {
    let page = include_str!("../../../docs/boxes.md");
    for kind in Kind::ALL {
        let line = RigLine {
            kind: Some(kind),
            ..RigLine::default()
        };
        let file = RigFile {
            left: line,
            right: line,
            ..RigFile::default()
        };
        let table = lines_table(
            &lines(&file, &Gig::default(), &[]),
            Form {
                columns: 200,
                ..Form::default()
            },
        );
        let cell = |name: &str| {
            let row = table
                .lines()
                .find(|row| row.starts_with(&format!("{name}  ")))
                .unwrap_or_else(|| panic!("{name}\n{table}"));
            // Columns are set apart by two spaces at least.
            row.trim()
                .split("  ")
                .map(str::trim)
                .find(|cell| !cell.is_empty() && *cell != name)
                .map(str::to_string)
        };
        let cells: Vec<String> = ROWS.iter().filter_map(|name| cell(name)).collect();
        assert_eq!(cells.len(), ROWS.len(), "{table}");
        let want = format!("| {} |", cells.join(" | "));
        assert!(page.contains(&want), "docs/boxes.md lacks\n{want}");
    }
}

/// Stored states and rig files use the same ids.
#[test]
fn a_kind_is_stored_by_its_id() {
    for kind in Kind::ALL {
        assert_eq!(
            serde_json::to_string(&kind).ok(),
            Some(format!("\"{}\"", kind.id()))
        );
    }
}
