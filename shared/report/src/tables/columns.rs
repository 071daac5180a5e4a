//! Text in columns, for a fixed pitch.

use crate::names::width;

use sumproof_core::score::outcome::Outcome;

/// Rows set in columns two spaces apart, each as wide as its widest cell; columns from `first_figure` on flush right. Lines
/// end in `\n`, nothing trails.
pub(crate) fn columns<const N: usize>(rows: &[[String; N]], first_figure: usize) -> String {
    let widths: [usize; N] =
        core::array::from_fn(|column| rows.iter().map(|row| width(&row[column])).max().unwrap_or(0));
    let mut out = String::new();
    for row in rows {
        let mut line = String::new();
        for (column, (cell, &widest)) in row.iter().zip(&widths).enumerate() {
            let gap = " ".repeat(widest - width(cell));
            let parts = if column < first_figure {
                [cell, gap.as_str()]
            } else {
                [gap.as_str(), cell]
            };
            line.extend(parts);
            line.push_str("  ");
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out
}

/// The stroke that stands before an outcome: unbroken, dashed, or cut in the middle.
pub(crate) fn stroke(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Holds => "────",
        Outcome::Thins => "─ ─ ",
        Outcome::DropsOut => "─  ─",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wide_scripts_line_up() {
        let rows = [["北京", "1"], ["Foam", "22"], ["e\u{301}", "3"]].map(|row| row.map(String::from));
        assert_eq!(columns(&rows, 1), "北京   1\nFoam  22\ne\u{301}      3\n");
    }
}
