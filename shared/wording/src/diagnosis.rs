//! The diagnosis in a player's words.

use sumproof_core::explain::diagnosis::{Diagnosis, Evidence, Finding, Suffering};
use sumproof_core::explain::movement::Movement;
use sumproof_core::routing::feed::Side;

use crate::Name;
use crate::numbers::{correlation as signed, hertz, milliseconds, signed as number};

/// Every finding, in the diagnosis's order.
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

/// One finding in one or two sentences.
#[must_use]
pub fn sentence(finding: &Finding) -> String {
    let sure = match finding.confidence {
        sure if sure >= 0.8 => "",
        sure if sure >= 0.5 => "Probably: ",
        _ => "Perhaps: ",
    };
    format!("{sure}{}", plain(finding))
}

fn plain(finding: &Finding) -> String {
    match finding.evidence {
        Evidence::NotEnough { seconds, spread } => not_enough(seconds, spread),
        Evidence::Silent { side, below_db } => silent(side, below_db),
        Evidence::Flipped { .. } => flipped(&finding.evidence),
        Evidence::Late { .. } => late(&finding.evidence),
        Evidence::Phase { .. } => turns(&finding.evidence),
        Evidence::Moves(ref movement) => moves(movement),
        Evidence::Gone { wet_db, dry_db } => gone(wet_db, dry_db),
        Evidence::Fights { .. } => fights(&finding.evidence),
        Evidence::Opposed { correlation } => format!(
            "The channels work against each other (correlation {}). Without attacks it can't be told whether one is \
             flipped or the wet fights itself: play some separate notes.",
            signed(correlation)
        ),
        Evidence::Uneven {
            louder,
            whole_db,
            direct_db,
            alone,
        } => uneven(louder, whole_db, direct_db, alone),
        Evidence::Wide { correlation, attacks } => wide(correlation, attacks),
        Evidence::Fine {
            correlation,
            sum_difference_db,
        } => fine(finding, correlation, sum_difference_db),
    }
}

fn not_enough(seconds: f64, spread: f64) -> String {
    if spread < 1.0 {
        format!(
            "Not enough sound yet: {seconds:.1} s, and chance alone may move the correlation by {:.2}. Play on, and \
             more than one note.",
            2.0 * spread
        )
    } else {
        "Not enough sound yet: nothing is heard.".into()
    }
}

fn silent(side: Side, below_db: Option<f64>) -> String {
    let below = below_db.map_or_else(String::new, |db| format!(": {db:.0} dB below the other"));
    format!("The {} channel is silent{below}.", side.name())
}

/// `at 12 onsets`, or the source of the figure where it needs no onsets.
fn at_onsets(onsets: usize) -> String {
    match onsets {
        0 => String::new(),
        1 => " at one onset".into(),
        count => format!(" at {count} onsets"),
    }
}

fn flipped(evidence: &Evidence) -> String {
    let Evidence::Flipped {
        aligned,
        attacks,
        correlation,
        straight_db,
    } = *evidence
    else {
        return String::new();
    };
    let straight = match straight_db {
        Some(db) if db > -40.0 => format!(
            "{}, added straight, the direct sound is at least {:.0} dB weaker than with one channel flipped",
            at_onsets(attacks),
            -db
        ),
        _ => format!(
            "{} the direct sound correlates by {}, and cancels when they are added",
            at_onsets(attacks),
            signed(aligned)
        ),
    };
    format!(
        "One channel is the other's negative:{straight} (whole sound: correlation {}). Which of the two is flipped can't be told \
         from the pair.",
        signed(correlation)
    )
}

fn late(evidence: &Evidence) -> String {
    let Evidence::Late {
        side,
        delay_s,
        notches_hz,
        aligned,
    } = *evidence
    else {
        return String::new();
    };
    format!(
        "The {} channel is late by {}: added together, the channels cancel at {}, {} and {}. Lined up, they correlate by {}.",
        side.name(),
        milliseconds(delay_s),
        hertz(notches_hz[0]),
        hertz(notches_hz[1]),
        hertz(notches_hz[2]),
        signed(aligned)
    )
}

fn turns(evidence: &Evidence) -> String {
    let Evidence::Phase {
        stray_degrees,
        shared,
        correlation,
        ref suffering,
        stray_db,
    } = *evidence
    else {
        return String::new();
    };
    let level = if stray_db >= 1.0 {
        format!(" and levels by {stray_db:.0} dB")
    } else {
        String::new()
    };
    format!(
        "Both channels carry the same, but differ over frequency (phases by {stray_degrees:.0} degrees{level}, rms), as two amplifiers \
         and cabinets do: they share {:.0} % and correlate by only {}.{}",
        100.0 * shared,
        signed(correlation),
        bands(suffering)
    )
}

fn moves(movement: &Movement) -> String {
    format!(
        "The movement is lost: at {:.1} Hz the level of one channel moves against the other's by {:.1} dB rms, that of their sum by \
         {:.1} dB.",
        movement.rate_hz, movement.channel_db, movement.sum_db
    )
}

fn gone(wet_db: Option<f64>, dry_db: f64) -> String {
    let wet = wet_db.map_or_else(
        || "is gone".into(),
        |db| format!("is at least {:.0} dB down", -db),
    );
    format!(
        "The effect is gone in the mono wedge: its channels are nearly each other's negative, so added together the wet {wet} (the dry: \
         {} dB).",
        number(dry_db, 1)
    )
}

fn fights(evidence: &Evidence) -> String {
    let Evidence::Fights {
        lowest,
        aligned,
        correlation,
        wet_db,
    } = *evidence
    else {
        return String::new();
    };
    if let Some(db) = wet_db {
        return format!(
            "The wet fights itself: its channels correlate by {}, so added together it loses {:.1} dB (unrelated channels 3.0).",
            signed(lowest),
            -db
        );
    }
    format!(
        "The wet fights itself: the direct sound correlates by {}, but where it dies away the channels do by {} (whole sound {}). \
         Added together, the effects lose more than the dry.",
        signed(aligned),
        signed(lowest),
        signed(correlation)
    )
}

fn uneven(louder: Side, whole_db: f64, direct_db: Option<f64>, alone: bool) -> String {
    let side = louder.name();
    match direct_db {
        _ if alone => format!(
            "The dry is in the {side} channel alone (whole sound: {} dB louder).",
            number(whole_db, 1)
        ),
        Some(db) => format!(
            "The channels are uneven: the dry is louder in the {side} one by {db:.1} dB (whole sound: {} dB).",
            number(whole_db, 1)
        ),
        None => format!("The channels are uneven: the {side} one is louder by {whole_db:.1} dB."),
    }
}

fn wide(correlation: f64, direct: Option<f64>) -> String {
    let why = match direct {
        Some(aligned) if aligned.abs() < 0.5 => {
            ", where sounds begin too: double-tracked, or no dry sound".to_owned()
        }
        Some(aligned) => format!(
            ", though {} where sounds begin: there is more wet than dry",
            signed(aligned)
        ),
        None => String::new(),
    };
    format!(
        "The sound is wide: the channels correlate by only {}{why}. Added together, what they don't share loses about 3 dB.",
        signed(correlation)
    )
}

fn fine(finding: &Finding, correlation: f64, sum_difference_db: f64) -> String {
    use sumproof_core::explain::diagnosis::Cause;
    let figures = format!(
        "the channels correlate by {}, and their sum is {} dB against stereo",
        signed(correlation),
        number(sum_difference_db, 1)
    );
    if finding.cause == Cause::NothingSeen {
        format!("Nothing wrong is seen, but not every feed is sure to hold: {figures}.")
    } else {
        format!("Nothing wrong: every feed without a fault holds; {figures}.")
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
