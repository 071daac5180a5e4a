//! Text in columns, for a fixed-pitch font.

use crate::names::width;

use sumproof_core::score::outcome::Outcome;

/// Sets rows in columns two spaces apart, each as wide as its widest cell; columns of figures are flush right. Lines
/// end in `\n`, without trailing spaces.
pub(crate) fn columns<R: AsRef<[String]>>(rows: &[R], is_figure: impl Fn(usize) -> bool) -> String {
    let count = rows.iter().map(|row| row.as_ref().len()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..count)
        .map(|column| {
            let cells = rows.iter().filter_map(|row| row.as_ref().get(column));
            cells.map(|cell| width(cell)).max().unwrap_or(0)
        })
        .collect();
    let mut out = String::new();
    for row in rows {
        let mut line = String::new();
        for (column, (cell, &widest)) in row.as_ref().iter().zip(&widths).enumerate() {
            let gap = " ".repeat(widest - width(cell));
            let parts = if is_figure(column) {
                [gap.as_str(), cell]
            } else {
                [cell, gap.as_str()]
            };
            line.extend(parts);
            line.push_str("  ");
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out
}

/// The stroke before an outcome: unbroken, dashed, or cut in the middle.
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
        assert_eq!(
            columns(&rows, |column| column > 0),
            "北京   1\nFoam  22\ne\u{301}      3\n"
        );
    }
}
