//! What to change, and what it brings, in a player's words.

use sumproof_core::explain::advice::{Action, Advice, Part, Quantity};

use crate::Name;
use crate::numbers::{milliseconds, signed};

/// What to do, and the figure it is about before and after.
///
/// ```
/// use sumproof_core::explain::advice::{Action, Advice, Part, Quantity};
///
/// let advice = Advice {
///     action: Action::FlipChannel,
///     quantity: Quantity::Wedge(Part::Dry),
///     before_db: f64::NEG_INFINITY,
///     after_db: 0.0,
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
        Action::WetLevel { change_db } if change_db >= 0.0 => format!(
            "Add {change_db:.1} dB of wet, and a mono wedge is as wet as stereo is now; stereo gets wetter by as much."
        ),
        Action::WetLevel { change_db } => format!(
            "Take away {:.1} dB of wet, and a mono wedge is as wet as stereo is now; stereo gets drier by as much.",
            -change_db
        ),
        Action::DryOffset { louder, offset_db } => format!(
            "Pan the dry {offset_db:.1} dB to the {} (the image moves by that much), and some of it survives a flipped line.",
            louder.name()
        ),
        Action::OneLine { line } => format!("If only one line fits the wedge, give it the {} one.", line.name()),
        Action::KeepLinesWithin { delay_s } => {
            format!("See that no line is later than {}.", milliseconds(delay_s))
        }
        Action::FlipLineBack => {
            "No change in the preset helps against a flipped line without spoiling the image: have the line flipped back \
             at the desk."
                .into()
        }
    }
}

fn outcome(advice: &Advice) -> String {
    let what = match advice.quantity {
        Quantity::Wedge(Part::Dry) => "Dry in the wedge against stereo",
        Quantity::Wedge(Part::Total) => "Level in the wedge against stereo",
        Quantity::WedgeBalance => "Wet over dry in the wedge against stereo as it is",
        Quantity::FlippedDry => "Dry with one line flipped, against the un-faulted sum",
        Quantity::LateDry => "Dry with one line late (worst up to 10 ms), against the sum on time",
    };
    format!(
        "{what}: {} dB before, {} dB after.",
        signed(advice.before_db, 1),
        signed(advice.after_db, 1)
    )
}
