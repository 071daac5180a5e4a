//! The settings of the player's lines.

use sumproof_core::routing::feed::{Lines, Side};
use sumproof_core::routing::line::{Line, Polarity};

use crate::Name;
use crate::numbers::{hertz, milliseconds, signed};

/// The lines' settings that are not straight; `None` when both lines are straight.
///
/// ```
/// use sumproof_core::routing::feed::Lines;
/// use sumproof_core::routing::line::{Line, Polarity};
/// use sumproof_wording::lines::as_set;
///
/// assert_eq!(as_set(&Lines::default()), None);
/// let lines = Lines {
///     left: Line {
///         polarity: Polarity::Flipped,
///         delay_s: 0.001,
///         ..Line::STRAIGHT
///     },
///     ..Lines::default()
/// };
/// assert_eq!(as_set(&lines).as_deref(), Some("left line flipped, 1.00 ms late"));
/// ```
#[must_use]
pub fn as_set(lines: &Lines) -> Option<String> {
    let said: Vec<String> = Side::BOTH
        .into_iter()
        .filter_map(|side| {
            let line = match side {
                Side::Left => &lines.left,
                Side::Right => &lines.right,
            };
            let what = of_line(line);
            (!what.is_empty()).then(|| format!("{} line {}", side.name(), what.join(", ")))
        })
        .collect();
    (!said.is_empty()).then(|| said.join("; "))
}

fn of_line(line: &Line) -> Vec<String> {
    if line.unplugged {
        return vec!["unplugged".into()];
    }
    let mut said = Vec::new();
    if line.polarity == Polarity::Flipped {
        said.push("flipped".into());
    }
    if line.gain_db != 0.0 {
        said.push(format!("{} dB", signed(line.gain_db, 1)));
    }
    if line.delay_s > 0.0 {
        said.push(format!("{} late", milliseconds(line.delay_s)));
    }
    for corner_hz in line.high_pass_hz.into_iter().filter(|hz| *hz > 0.0) {
        said.push(format!("through a transformer from {}", hertz(corner_hz)));
    }
    said
}
