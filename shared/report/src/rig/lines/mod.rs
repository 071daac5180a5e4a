//! The signal at the desk over two lines, the differences between them, and which boxes to use.

mod json;

use sumproof_core::routing::boxes::{
    Candidate, Choice, Drive, Gig, InUse, Kind, Mains, Offered, Source, rank,
};
use sumproof_core::routing::feed::Side;
use sumproof_core::routing::line::Polarity;
use sumproof_wording::scores;
use sumproof_wording::{Name, boxes};

use crate::rig::file::RigFile;
use crate::tables::form::Form;

pub use json::lines_json;

/// Two lines, and the choices of boxes.
#[derive(Clone, Debug, PartialEq)]
pub struct LinesReport {
    /// The rig's outputs.
    pub source: Source,
    /// Whether the level of [`LinesReport::source`] was given; otherwise it is the default.
    pub level_known: bool,
    /// The known facts about the gig.
    pub gig: Gig,
    /// The player's two lines, if both have a box.
    pub own: Option<Choice>,
    /// Every choice, the best first; includes the player's own.
    pub choices: Vec<Choice>,
}

/// Judges the lines of a rig file, and every kind of box that is available, with the same kind on both lines.
#[must_use]
pub fn lines(file: &RigFile, gig: &Gig, have: &[Kind]) -> LinesReport {
    let source = file.source;
    let own = file
        .left
        .in_use()
        .zip(file.right.in_use())
        .map(|(left, right)| Candidate {
            left,
            right,
            lines: [file.left.line(&source), file.right.line(&source)],
        });
    let mut candidates: Vec<Candidate> = own.into_iter().collect();
    for (index, &kind) in have.iter().enumerate() {
        if have[..index].contains(&kind) {
            continue;
        }
        let usual = Candidate::usual(kind, &source, gig);
        if own.is_none_or(|own| own.lines != usual.lines || own.left.kind != kind || own.right.kind != kind) {
            candidates.push(usual);
        }
    }
    LinesReport {
        own: own.and_then(|own| rank(&[own], &source, gig).pop()),
        choices: rank(&candidates, &source, gig),
        level_known: file.level_known,
        source,
        gig: *gig,
    }
}

/// The name of the kind on both lines, or of the two kinds.
#[must_use]
pub fn name_of(candidate: &Candidate) -> String {
    let (left, right) = (box_name(&candidate.left), box_name(&candidate.right));
    if left == right {
        format!("{left} on both lines")
    } else {
        format!("{left} left, {right} right")
    }
}

/// The name of the kind, with the turns ratio where it has one.
#[must_use]
pub(crate) fn box_name(one: &InUse) -> String {
    match (one.kind, one.spec().coupling) {
        (
            Kind::PassiveDirectBox,
            sumproof_core::routing::boxes::Coupling::Transformer { turns_ratio, .. },
        ) => {
            format!("{} {turns_ratio}:1", one.kind.name())
        }
        _ => one.kind.name().into(),
    }
}

/// An impedance with its unit: `1.5 kohm`, `220 ohm`.
pub(crate) fn ohms(ohm: f64) -> String {
    if ohm >= 1e6 {
        format!("{} Mohm", round(ohm / 1e6))
    } else if ohm >= 1000.0 {
        format!("{} kohm", round(ohm / 1000.0))
    } else {
        format!("{} ohm", round(ohm))
    }
}

/// Rounds to at most two decimals.
fn round(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

fn yes(is: bool) -> &'static str {
    if is { "yes" } else { "no" }
}

/// A level or gain with its unit; a word when nothing arrives.
fn figure(value: f64, unit: &str) -> String {
    match scores::number(value, 1) {
        Ok(number) => format!("{number} {unit}"),
        Err(_) => scores::NOTHING_ARRIVES.into(),
    }
}

/// The rows about what arrives: a name, and the cell for one line.
fn rows_of(choice: &Choice, side: Side, source: &Source) -> Vec<(&'static str, String)> {
    let number = usize::from(side == Side::Right);
    let (one, arrival) = (
        [&choice.candidate.left, &choice.candidate.right][number],
        &choice.arrivals[number],
    );
    let spec = one.spec();
    let hum = match source.drive {
        Drive::SingleEnded => arrival.rejection.single_ended_db,
        Drive::Symmetric => arrival.rejection.symmetric_db,
    };
    let peaks = source.peaks().through(arrival.gain_db);
    let arrives = arrival.level_dbu != f64::NEG_INFINITY;
    let if_any = |cell: String| if arrives { cell } else { "-".into() };
    vec![
        ("box", box_name(one)),
        (
            "goes into",
            format!("{}, {}", spec.input.name(), ohms(one.load_ohm())),
        ),
        ("gain", figure(arrival.gain_db, "dB")),
        ("level of loud playing", figure(arrival.level_dbu, "dBu")),
        ("its peaks", figure(peaks.dbu, "dBu")),
        ("pad", if_any(boxes::pad(spec.input, Some(peaks)))),
        (
            "gain wanted at the desk",
            if_any(figure(arrival.preamp_gain_db, "dB")),
        ),
        ("low-end roll-off", corner(arrival.high_pass_hz)),
        ("delay", delay(arrival.delay_s)),
        ("polarity", polarity(arrival.polarity).into()),
        ("isolation", spec.isolation.name().into()),
        ("phantom power", spec.phantom.name().into()),
        ("phantom power stops here", yes(spec.blocks_phantom).into()),
        ("direct current stops here", yes(spec.blocks_dc).into()),
        ("common-mode rejection", format!("{hum:.0} dB")),
        (
            "equivalent input noise",
            if_any(format!("{:.0} dBu", arrival.input_noise_dbu)),
        ),
        (
            "loud playing over noise",
            if_any(format!("{:.0} dB", arrival.over_noise_db())),
        ),
    ]
}

pub(crate) fn corner(hz: f64) -> String {
    if hz > 0.0 {
        format!("{hz:.0} Hz")
    } else {
        "none".into()
    }
}

pub(crate) fn delay(seconds: f64) -> String {
    if seconds > 0.0 {
        format!("{:.1} ms", 1000.0 * seconds)
    } else {
        "none".into()
    }
}

pub(crate) fn polarity(polarity: Polarity) -> &'static str {
    match polarity {
        Polarity::Normal => "normal",
        Polarity::Flipped => "FLIPPED",
    }
}

/// The gig in words.
#[must_use]
pub fn gig_text(gig: &Gig) -> String {
    let mains = match gig.mains {
        Mains::Same => "one supply for stage and desk",
        Mains::Separate => "different supplies for stage and desk",
        Mains::Unknown => "supplies not known",
    };
    let inputs = match gig.offered {
        Offered::Either => "any input",
        Offered::MicOnly => "mic inputs only",
        Offered::LineOnly => "line inputs only",
    };
    let phantom = match gig.phantom {
        Some(true) => "phantom power on",
        Some(false) => "phantom power off",
        None => "phantom power not known",
    };
    format!("{mains}, {inputs}, {phantom}")
}

/// Which boxes to use, why, what speaks against them, and the next best: a label and a text each.
#[must_use]
pub fn why(report: &LinesReport) -> Vec<(&'static str, String)> {
    let Some(best) = report.choices.first() else {
        return vec![("", "There is nothing to choose from.".into())];
    };
    let merits: Vec<&str> = best.merits.iter().map(|&merit| boxes::merit(merit)).collect();
    let mut said = vec![("Take: ", format!("{}.", name_of(&best.candidate)))];
    if !merits.is_empty() {
        said.push(("Why: ", format!("it {}.", joined(&merits))));
    }
    said.push(match best.troubles.as_slice() {
        [] => ("", "No drawbacks are known.".into()),
        troubles => {
            let against: Vec<String> = troubles.iter().map(|&trouble| boxes::trouble(trouble)).collect();
            ("But mind: ", format!("it {}.", against.join("; it ")))
        }
    });
    if let Some(next) = report.choices.get(1) {
        let against = next
            .troubles
            .first()
            .map_or("nothing speaks against it either".into(), |worst| {
                format!("it {}", boxes::trouble(*worst))
            });
        said.push((
            "Next best: ",
            format!("{} ({against}).", name_of(&next.candidate)),
        ));
    }
    said
}

fn joined(parts: &[&str]) -> String {
    match parts {
        [] => String::new(),
        [one] => (*one).into(),
        [first @ .., last] => format!("{}; and {last}", first.join("; ")),
    }
}

/// The choices, the heading first: rank, boxes, reasons for and against.
fn choices(report: &LinesReport) -> Vec<[String; 4]> {
    let mut rows = vec![["", "boxes", "for it", "against it"].map(String::from)];
    rows.extend(report.choices.iter().enumerate().map(|(index, choice)| {
        let yours = if report.own.as_ref() == Some(choice) {
            " (your lines)"
        } else {
            ""
        };
        let list = |texts: Vec<String>| {
            if texts.is_empty() {
                "-".into()
            } else {
                texts.join("; ")
            }
        };
        [
            format!("{}", index + 1),
            format!("{}{yours}", name_of(&choice.candidate)),
            list(
                choice
                    .merits
                    .iter()
                    .map(|&merit| boxes::merit(merit).into())
                    .collect(),
            ),
            list(
                choice
                    .troubles
                    .iter()
                    .map(|&trouble| boxes::trouble(trouble))
                    .collect(),
            ),
        ]
    }));
    rows
}

/// The report for people: the recommendation and its reasons first, then the choices in a table, then what arrives over
/// the player's own lines.
#[must_use]
pub fn lines_table(report: &LinesReport, form: Form) -> String {
    let source = &report.source;
    let mut out = String::new();
    for (label, text) in why(report) {
        out += &form.hanging(label, &text, 2);
    }
    out.push('\n');
    let level = scores::figure(source.level_dbu, 1);
    let loud = match (report.level_known, source.peak_dbu) {
        (true, Some(peak)) => format!(
            "{level} dBu rms when you play loud, peaks {} dBu",
            scores::figure(peak, 1)
        ),
        (true, None) => format!("{level} dBu rms when you play loud"),
        (false, _) => {
            format!("{level} dBu rms when you play loud (nobody said it: common practice, no source)")
        }
    };
    let for_what = format!(
        "For outputs of {loud}, {}, {}; {}.",
        ohms(source.impedance_ohm),
        source.drive.id(),
        gig_text(&report.gig)
    );
    out += &form.paragraph(&for_what, 0);
    out.push('\n');
    out += &form.texts(&choices(report), [1, 22, 27, 34]);
    if let Some(own) = &report.own {
        out.push('\n');
        for sentence in boxes::differences(own) {
            out += &form.paragraph(&sentence, 0);
        }
        out.push('\n');
        let left = rows_of(own, Side::Left, source);
        let right = rows_of(own, Side::Right, source);
        let mut rows = vec![["What arrives", "left line", "right line"].map(String::from)];
        let each = left.into_iter().zip(right);
        rows.extend(each.map(|((name, left), (_, right))| [name.into(), left, right]));
        out += &form.texts(&rows, [27, 27, 27]);
    }
    out
}
