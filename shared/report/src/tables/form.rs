//! Text for a terminal: paragraphs and tables no wider than the terminal.

use sumproof_core::score::scorer::FeedScore;
use sumproof_wording::scores;

use crate::names::width;
use crate::tables::columns::columns;

/// Width of a text, and how much is explained.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Form {
    /// Columns of the terminal.
    pub columns: usize,
    /// Whether the meaning of every figure is printed below the tables, not only a reference to it.
    pub explain: bool,
}

impl Default for Form {
    fn default() -> Self {
        Self {
            columns: Self::USUAL,
            explain: false,
        }
    }
}

/// Space between two columns of a table, columns of the terminal.
const GAP: usize = 2;
/// Shortest length to which a name is cut.
const LEAST_NAME: usize = 12;

impl Form {
    /// Width of a text for a pipe or a file, columns.
    pub const USUAL: usize = 80;
    /// Smallest width used, columns.
    pub const LEAST: usize = 40;
    /// Largest width used, columns: longer lines are hard to read.
    pub const MOST: usize = 200;

    fn columns(self) -> usize {
        self.columns.max(Self::LEAST)
    }

    /// Text in lines no longer than the terminal is wide; all but the first line are indented by `indent`. Ends with a
    /// line break.
    #[must_use]
    pub fn paragraph(self, text: &str, indent: usize) -> String {
        self.hanging("", text, indent)
    }

    /// The same after a label, which takes the place of the first line's indent.
    #[must_use]
    pub fn hanging(self, label: &str, text: &str, indent: usize) -> String {
        Self {
            columns: self.columns(),
            ..self
        }
        .lines(label, text, indent)
    }

    /// Breaks a text into lines, however narrow.
    fn set(self, text: &str) -> String {
        self.lines("", text, 0)
    }

    fn lines(self, label: &str, text: &str, indent: usize) -> String {
        let mut out = label.to_owned();
        let mut at = width(label);
        let mut begun = false;
        for word in text.split_whitespace() {
            for piece in pieces(word, self.columns - indent) {
                if at + usize::from(begun) + width(piece) > self.columns {
                    out.truncate(out.trim_end().len());
                    out.push('\n');
                    out.push_str(&" ".repeat(indent));
                    (at, begun) = (indent, false);
                }
                if begun {
                    out.push(' ');
                    at += 1;
                }
                out.push_str(piece);
                at += width(piece);
                begun = true;
            }
        }
        out.push('\n');
        out
    }

    /// Sets rows in columns, by their [`Shape`]. If they don't fit side by side, several tables follow one another,
    /// each beginning with the rows' names. Names are cut only as a last resort.
    #[must_use]
    pub(crate) fn table<const N: usize>(self, rows: &[[String; N]], shape: Shape) -> String {
        let Shape { keys, name, words } = shape;
        let widest: Vec<usize> = (0..N)
            .map(|column| rows.iter().map(|row| width(&row[column])).max().unwrap_or(0))
            .collect();
        let without_name: usize = (0..keys)
            .filter(|&column| column != name)
            .map(|column| widest[column] + GAP)
            .sum();
        // Every table has room for its widest figure beside the name; otherwise the name is cut.
        let widest_figure = widest[keys..].iter().max().map_or(0, |width| width + GAP);
        let room = self.columns().saturating_sub(without_name + widest_figure);
        let name_width = widest[name].min(room.max(LEAST_NAME));
        let mut parts: Vec<Vec<usize>> = Vec::new();
        let (mut part, mut taken) = ((0..keys).collect::<Vec<_>>(), without_name + name_width);
        for (column, width) in widest.iter().enumerate().skip(keys) {
            if taken + GAP + width > self.columns() {
                parts.push(core::mem::replace(&mut part, vec![name]));
                taken = name_width;
            }
            part.push(column);
            taken += GAP + width;
        }
        parts.push(part);
        let cell = |row: &[String; N], column: usize| {
            if column == name {
                cut(&row[column], name_width)
            } else {
                row[column].clone()
            }
        };
        let tables: Vec<String> = parts
            .iter()
            .map(|part| {
                let cells = |row: &[String; N]| part.iter().map(|&column| cell(row, column)).collect();
                let cells: Vec<Vec<String>> = rows.iter().map(cells).collect();
                columns(&cells, |column| part[column] >= words)
            })
            .collect();
        tables.join("\n")
    }

    /// Sets rows whose cells are texts: each column is as wide as its share of the terminal, and its texts are broken
    /// into lines.
    #[must_use]
    pub(crate) fn texts<const N: usize>(self, rows: &[[String; N]], shares: [usize; N]) -> String {
        let all: usize = shares.iter().sum();
        let room = self.columns() - GAP * (N - 1);
        let widths = shares.map(|share| (room * share / all).max(2));
        let mut out = String::new();
        for row in rows {
            let cells: [Vec<String>; N] = core::array::from_fn(|column| {
                let narrow = Self {
                    columns: widths[column],
                    ..self
                };
                let text = narrow.set(&row[column]);
                text.lines().map(str::to_owned).collect()
            });
            let height = cells.iter().map(Vec::len).max().unwrap_or(0);
            for at in 0..height {
                let mut line = String::new();
                for (cell, &wide) in cells.iter().zip(&widths) {
                    let text = cell.get(at).map_or("", String::as_str);
                    line += text;
                    line += &" ".repeat(wide.saturating_sub(width(text)) + GAP);
                }
                out += line.trim_end();
                out.push('\n');
            }
        }
        out
    }
}

/// The kinds of a table's columns.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shape {
    /// Number of columns at the left that identify a row.
    pub keys: usize,
    /// Index of the one among them that is repeated, and cut where there is no room.
    pub name: usize,
    /// Number of columns at the left that hold words; the others hold figures, flush right.
    pub words: usize,
}

/// The change of the dry as a cell; at the floor of the estimate as a bound.
#[must_use]
pub(crate) fn dry_cell(score: &FeedScore) -> String {
    match score.dry_db {
        Some(db) if score.dry_at_floor => format!("< {db:.0}"),
        _ => scores::dry(score),
    }
}

/// A text cut to that many columns, with an ellipsis for the rest.
#[must_use]
pub(crate) fn cut(text: &str, columns: usize) -> String {
    if width(text) <= columns {
        return text.to_owned();
    }
    let mut out = String::new();
    for c in text.chars() {
        let longer = format!("{out}{c}");
        if width(&longer) + 1 > columns {
            break;
        }
        out = longer;
    }
    out + "…"
}

/// Splits a word into pieces that fit; a word that fits stays whole.
fn pieces(word: &str, columns: usize) -> Vec<&str> {
    let mut pieces = Vec::new();
    let mut rest = word;
    while width(rest) > columns {
        let mut end = 0;
        for (at, c) in rest.char_indices() {
            if width(&rest[..at + c.len_utf8()]) > columns {
                break;
            }
            end = at + c.len_utf8();
        }
        // At least one character per piece, even if it is wider than a line.
        let (piece, others) = rest.split_at(end.max(rest.chars().next().map_or(1, char::len_utf8)));
        pieces.push(piece);
        rest = others;
    }
    pieces.push(rest);
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    fn narrow(columns: usize) -> Form {
        Form {
            columns,
            explain: false,
        }
    }

    fn fits(text: &str, columns: usize) -> bool {
        text.lines().all(|line| width(line) <= columns)
    }

    #[test]
    fn a_paragraph_stays_within_its_columns_in_every_script() {
        let text = "The mono wedge holds; 北京北京北京北京北京北京北京北京北京北京北京北京北京 is \
                    averyveryveryveryveryverylongnamewithoutanyspaceinit.";
        for columns in 40..90 {
            let set = narrow(columns).paragraph(text, 2);
            assert!(fits(&set, columns), "{set}");
            let words = |text: &str| text.split_whitespace().collect::<String>();
            assert_eq!(words(&set), words(text));
        }
        assert_eq!(narrow(40).hanging("Why: ", "so", 5), "Why: so\n");
    }

    #[test]
    fn a_table_that_is_too_wide_becomes_two_with_the_names_again() {
        let shape = Shape {
            keys: 2,
            name: 1,
            words: 2,
        };
        let row = |cells: [&str; 5]| cells.map(String::from);
        let rows = [
            row(["", "feed", "dry dB", "something long", "something longer"]),
            row(["holds", "mono wedge", "-1.0", "2", "3"]),
        ];
        assert_eq!(narrow(80).table(&rows, shape).lines().count(), 2);
        let set = narrow(46).table(&rows, shape);
        assert_eq!(
            set,
            "       feed        dry dB  something long\nholds  mono wedge    -1.0               2\n\n\
             feed        something longer\nmono wedge                 3\n"
        );
    }

    #[test]
    fn only_a_name_that_leaves_no_room_is_cut() {
        let shape = Shape {
            keys: 1,
            name: 0,
            words: 1,
        };
        let row = |name: &str| [name.into(), "at least 20 dB down".into()];
        for name in ["京".repeat(60), "long ".repeat(30)] {
            let set = narrow(60).table(&[row(&name)], shape);
            assert!(
                fits(&set, 60) && set.contains('…') && set.contains("down"),
                "{set}"
            );
        }
        assert_eq!(cut("北京北京", 6), "北京…");
        assert_eq!(cut("Foam", 4), "Foam");
    }
}
