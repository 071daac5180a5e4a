//! The rig behind a result: lines, sum law, limits.

use sumproof_core::routing::feed::SumLaw;
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_core::score::outcome::Limits;
use sumproof_core::score::rig::Rig;

use crate::numbers::milliseconds;

/// A line's settings: `flipped, -3.0 dB, 1.0 ms late`, or that no fault is set.
///
/// ```
/// use sumproof_core::routing::line::Line;
///
/// assert_eq!(sumproof_wording::rigs::line(&Line::default()), "no fault set");
/// ```
#[must_use]
pub fn line(line: &Line) -> String {
    if line.unplugged {
        return "unplugged".into();
    }
    let mut parts = Vec::new();
    if line.polarity == Polarity::Flipped {
        parts.push("flipped".to_string());
    }
    if line.gain_db != 0.0 {
        parts.push(format!("{:+.1} dB", line.gain_db));
    }
    if line.delay_s != 0.0 {
        parts.push(format!("{} late", milliseconds(line.delay_s)));
    }
    for corner in line.high_pass_hz {
        if corner > 0.0 {
            parts.push(format!("high-pass at {corner:.0} Hz"));
        }
    }
    if parts.is_empty() {
        "no fault set".into()
    } else {
        parts.join(", ")
    }
}

/// The lines, in a sentence.
#[must_use]
pub fn lines(rig: &Rig) -> String {
    let [left, right] = [&rig.lines.left, &rig.lines.right].map(line);
    if left == right {
        format!("Both lines: {left}.")
    } else {
        format!("Left line: {left}. Right line: {right}.")
    }
}

/// The sum law, in a clause.
#[must_use]
pub fn law(law: SumLaw) -> &'static str {
    match law {
        SumLaw::Average => "the average of both lines",
        SumLaw::Minus3Db => "both lines 3.01 dB down, added",
        SumLaw::Unity => "both lines added as they are",
    }
}

/// The limits, in a sentence.
#[must_use]
pub fn limits(limits: &Limits) -> String {
    format!(
        "Limits: a feed holds with its dry down to {:.1} dB, its tone within {:.1} dB and its partials within {:.1} dB; it drops out with \
         the dry below {:.1} dB. Balance as mixed: {:+.1} to {:+.1} dB.",
        limits.dry_holds_db,
        limits.tone_db,
        limits.partials_db,
        limits.dry_drops_out_db,
        limits.drier_db,
        limits.wetter_db
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_set_is_said_of_each_line_or_of_both() {
        let mut rig = Rig::default();
        assert_eq!(lines(&rig), "Both lines: no fault set.");
        rig.lines.right.polarity = Polarity::Flipped;
        rig.lines.right.gain_db = -3.0;
        assert_eq!(
            lines(&rig),
            "Left line: no fault set. Right line: flipped, -3.0 dB."
        );
        rig.lines.right.unplugged = true;
        assert!(lines(&rig).ends_with("Right line: unplugged."));
    }

    #[test]
    fn limits_are_those_that_are_set() {
        let said = limits(&Limits {
            dry_holds_db: -5.5,
            ..Limits::default()
        });
        assert!(
            said.contains("down to -5.5 dB") && said.contains("below -10.0 dB"),
            "{said}"
        );
    }
}
