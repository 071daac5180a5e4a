//! Text in columns, for a fixed pitch.

use std::fmt::Write;

use sumproof_core::score::outcome::Outcome;

/// Rows set in columns two spaces apart, each as wide as its widest cell; columns from `first_figure` on flush right. Lines
/// end in `\n`, nothing trails.
pub(crate) fn columns<const N: usize>(rows: &[[String; N]], first_figure: usize) -> String {
    let widths: [usize; N] = core::array::from_fn(|column| {
        rows.iter()
            .map(|row| row[column].chars().count())
            .max()
            .unwrap_or(0)
    });
    let mut out = String::new();
    for row in rows {
        let mut line = String::new();
        for (column, (cell, &width)) in row.iter().zip(&widths).enumerate() {
            // Writing into a string can't fail.
            let _ = if column < first_figure {
                write!(line, "{cell:<width$}  ")
            } else {
                write!(line, "{cell:>width$}  ")
            };
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
