//! Advice and its effect, in a player's words.

use sumproof_core::explain::advice::{Action, Advice, Part, Quantity};

use crate::Name;
use crate::numbers::{milliseconds, signed};
use crate::scores::at_least_down;
use crate::verdict::{CALM_DB, GONE_DB};

/// What is surely this far down is given by that alone, dB.
const FLOOR_DB: f64 = -20.0;

/// One piece of advice as sentences: the action, then its quantity before and after.
///
/// ```
/// use sumproof_core::explain::advice::{Action, Advice, Part, Quantity};
///
/// let advice = Advice {
///     action: Action::FlipChannel,
///     quantity: Quantity::Wedge(Part::Dry),
///     before_db: f64::NEG_INFINITY,
///     after_db: 0.0,
///     before_ends_db: [f64::NEG_INFINITY; 2],
///     after_ends_db: [0.0; 2],
/// };
/// assert_eq!(
///     sumproof_wording::advice::sentence(&advice),
///     "Flip one channel of the preset. Dry in the wedge against stereo: −∞ dB before, 0.0 dB after."
/// );
/// ```
#[must_use]
pub fn sentence(advice: &Advice) -> String {
    format!("{} {}", action(&advice.action), outcome(advice))
}

fn action(action: &Action) -> String {
    match *action {
        Action::FlipChannel => "Flip one channel of the preset.".into(),
        Action::RemoveDelay { late, delay_s } => format!(
            "Take the {} between the channels out: delay the {} one by as much.",
            milliseconds(delay_s),
            late.other().name()
        ),
        Action::FlipAndRemoveDelay { late, delay_s } => format!(
            "Flip one channel of the preset, and delay the {} one by {}.",
            late.other().name(),
            milliseconds(delay_s)
        ),
        Action::MonoEffect { from } => format!(
            "Return the effect in mono, its {} channel on both sides: it loses its width and stays in the sum.",
            from.name()
        ),
        Action::WetLevel { change_db } => {
            let (how, stereo) = if change_db >= 0.0 {
                ("Add", "wetter")
            } else {
                ("Take away", "drier")
            };
            format!(
                "{how} {:.1} dB of wet, and a mono wedge is as wet as stereo is now; stereo gets {stereo} by as much.",
                change_db.abs()
            )
        }
        Action::OneLine { line } => format!("Give the wedge the {} line alone.", line.name()),
        Action::EitherLine => "Give the wedge one line alone: either will do.".into(),
        Action::FlipLineBack => "One line is set to arrive flipped: have it flipped back at the desk.".into(),
        Action::CheckPolarity => "Check the polarity of both lines at the line check: no change of the preset makes up for a flipped one.".into(),
        Action::SendAlike => "Send both lines the same way, through the same boxes and inputs, so that neither is late.".into(),
    }
}

fn outcome(advice: &Advice) -> String {
    let what = match advice.quantity {
        Quantity::Wedge(Part::Dry) => "Dry in the wedge against stereo",
        Quantity::Wedge(Part::Wet) => "Wet in the wedge against stereo",
        Quantity::Wedge(Part::Total) => "Level in the wedge against stereo",
        Quantity::WedgeBalance => "Wet over dry in the wedge against stereo as it is",
        Quantity::WedgeMovement => "Movement of the level in the wedge",
        Quantity::FlippedDry => "Dry in the wedge with one line flipped, and without",
        Quantity::LateDry => "Dry in the wedge with one line 1 ms late, and on time",
    };
    let figures = [
        (advice.before_db, advice.before_ends_db),
        (advice.after_db, advice.after_ends_db),
    ];
    let [before, after] = figures.map(|(db, [low, high])| {
        if advice.quantity == Quantity::WedgeMovement {
            format!("{db:.1} dB rms")
        } else if high - low > CALM_DB && high <= FLOOR_DB {
            at_least_down(high)
        } else if high - low > CALM_DB && low < GONE_DB {
            format!("anything from {} dB to gone", signed(high, 0))
        } else if high - low > CALM_DB {
            format!("{} to {} dB", signed(low, 1), signed(high, 1))
        } else {
            format!("{} dB", signed(db, 1))
        }
    });
    format!("{what}: {before} before, {after} after.")
}
