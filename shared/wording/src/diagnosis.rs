//! Why a sound fares as it does, in a player's words.

use sumproof_core::explain::diagnosis::{Diagnosis, Evidence, Finding, Suffering};

use crate::Name;
use crate::numbers::{correlation as signed, hertz, milliseconds, signed as number};

/// Every finding, in the diagnosis' order.
///
/// ```
/// use sumproof_core::explain::diagnosis::Diagnosis;
///
/// assert!(sumproof_wording::diagnosis::sentences(&Diagnosis::default()).is_empty());
/// ```
#[must_use]
pub fn sentences(diagnosis: &Diagnosis) -> Vec<String> {
    diagnosis.findings().map(sentence).collect()
}

/// One finding: one sentence or two.
#[must_use]
pub fn sentence(finding: &Finding) -> String {
    let sure = match finding.confidence {
        sure if sure >= 0.8 => "",
        sure if sure >= 0.5 => "Probably: ",
        _ => "Perhaps: ",
    };
    format!("{sure}{}", plain(&finding.evidence))
}

fn plain(evidence: &Evidence) -> String {
    match *evidence {
        Evidence::NotEnough { seconds, spread } if spread < 1.0 => format!(
            "Not enough sound yet: {seconds:.1} s, and chance alone may move the correlation by {:.2}. Play on, and \
             more than one note.",
            2.0 * spread
        ),
        Evidence::NotEnough { .. } => "Not enough sound yet: nothing is heard.".into(),
        Evidence::Silent {
            side,
            below_db: Some(below_db),
        } => format!(
            "The {} channel is silent: {below_db:.0} dB below the other.",
            side.name()
        ),
        Evidence::Silent { side, .. } => format!("The {} channel is silent.", side.name()),
        Evidence::Flipped {
            aligned,
            attacks: 0,
            correlation,
        } => format!(
            "One channel is the other's negative: they correlate by {} (lined up {}). No attack was heard that would \
             prove it. Which of the two is flipped can't be told from the pair.",
            signed(correlation),
            signed(aligned)
        ),
        Evidence::Flipped {
            aligned,
            attacks,
            correlation,
        } => format!(
            "One channel is the other's negative: at {attacks} attacks they correlate by {}, over the whole sound by \
             {}. Which of the two is flipped can't be told from the pair.",
            signed(aligned),
            signed(correlation)
        ),
        Evidence::Late {
            side,
            delay_s,
            notches_hz,
            aligned,
        } => format!(
            "The {} channel is late by {}: added together, the channels cancel at {}, {} and {}. Lined up, \
             they correlate by {}.",
            side.name(),
            milliseconds(delay_s),
            hertz(notches_hz[0]),
            hertz(notches_hz[1]),
            hertz(notches_hz[2]),
            signed(aligned)
        ),
        Evidence::Phase {
            stray_degrees,
            shared,
            correlation,
            ref suffering,
        } => format!(
            "Both channels carry the same, but with phases that differ over frequency (by {stray_degrees:.0} degrees \
             rms), as two amplifiers and cabinets do: they share {:.0} % and correlate by only {}.{}",
            100.0 * shared,
            signed(correlation),
            bands(suffering)
        ),
        Evidence::Fights {
            lowest,
            aligned,
            correlation,
        } => format!(
            "The wet fights itself: the attacks correlate by {}, but where they die away the channels do by {} (whole \
             sound {}). Added together, the effects lose more than the dry.",
            signed(aligned),
            signed(lowest),
            signed(correlation)
        ),
        Evidence::Opposed { correlation } => format!(
            "The channels work against each other (correlation {}). Without attacks it can't be told whether one is \
             flipped or the wet fights itself: play some separate notes.",
            signed(correlation)
        ),
        Evidence::Uneven {
            louder,
            whole_db,
            direct_db,
        } => {
            let direct = direct_db
                .map(|db| format!(", its direct sound by {db:.1} dB"))
                .unwrap_or_default();
            format!(
                "The channels are uneven: the {} one is louder by {whole_db:.1} dB{direct}.",
                louder.name()
            )
        }
        Evidence::Wide { correlation, attacks } => {
            let why = match attacks {
                Some(aligned) if aligned.abs() < 0.5 => {
                    ", at the attacks too: double-tracked, or no dry sound".to_owned()
                }
                Some(aligned) => format!(
                    ", though {} at the attacks: there is more wet than dry",
                    signed(aligned)
                ),
                None => String::new(),
            };
            format!(
                "The sound is wide: the channels correlate by only {}{why}. Added together it loses about 3 dB.",
                signed(correlation)
            )
        }
        Evidence::Fine {
            correlation,
            sum_difference_db,
        } => format!(
            "Nothing wrong: the channels correlate by {}, and their sum is {} dB against stereo.",
            signed(correlation),
            number(sum_difference_db, 1)
        ),
    }
}

fn bands(suffering: &Suffering) -> String {
    if suffering.count == 0 {
        return " No band loses much in the sum as it is.".into();
    }
    let ranges: Vec<String> = suffering
        .ranges_hz
        .iter()
        .take(suffering.count)
        .map(|&(lower, upper)| format!("{} to {}", hertz(lower), hertz(upper)))
        .collect();
    format!(
        " In the sum suffer {}; worst is {} with {} dB.",
        ranges.join(", "),
        hertz(suffering.worst_hz),
        number(suffering.worst_db, 1)
    )
}
