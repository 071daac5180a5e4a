//! What the card says: every sentence, before it is set.

use sumproof_core::routing::boxes::{Candidate, Choice, Gig, InUse, Phantom, Source, rank};
use sumproof_core::routing::feed::Side;
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_wording::Name;
use sumproof_wording::scores;

use super::presets::{AtRisk, Preset, at_risk, better_line, fault_counts};
use super::typeset::Type;
use crate::rig::file::{RigFile, RigLine};
use crate::rig::lines::{box_name, corner, delay, ohms};

/// The first line.
pub const FIRST: &str = "If the wedge is all reverb, press the polarity switch on one of my two channels.";

/// Everything on a card.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Card {
    /// Who plays; may be empty.
    pub player: String,
    /// What on; may be empty.
    pub rig: String,
    /// The lines: a label, the left one, the right one.
    pub rows: Vec<[String; 3]>,
    /// What differs between the lines; empty when nothing does.
    pub differs: String,
    /// What to do when only one line fits.
    pub one_line: String,
    /// What must not be summed: what is heard, why, what to do.
    pub never: Vec<[&'static str; 3]>,
    /// How many presets each fault takes; may be empty.
    pub faults: String,
    /// Presets at risk, the worst first.
    pub at_risk: Vec<AtRisk>,
    /// The test at the sound check, step by step.
    pub test: Vec<String>,
    /// What else the player wants him to know.
    pub notes: Vec<String>,
    /// The cautions.
    pub cautions: Vec<String>,
    /// How many characters of the player's texts the typeface lacks; each is a question mark.
    pub missing_characters: usize,
}

/// What must not be summed, and how it sounds when it happens.
const NEVER: [[&str; 3]; 5] = [
    [
        "All reverb, guitar far away",
        "One line is flipped",
        "Polarity on one channel, not on both",
    ],
    [
        "Hollow, as if through a pipe",
        "One line is late: radio, insert or digital box on one only",
        "Both lines the same way; no insert on one alone",
    ],
    [
        "Lopsided, some effects gone",
        "One line is padded, or down",
        "Same pad, same gain; check both plugs",
    ],
    [
        "Thin, hardly any guitar",
        "A stereo plug in a mono input takes left minus right",
        "Two inputs, or one line alone",
    ],
    [
        "Hum",
        "Two grounds are joined",
        "Lift the audio shield at the box, never a mains earth",
    ],
];

impl Card {
    /// The card of a rig, with the presets that are known of it.
    #[must_use]
    pub(super) fn new(file: &RigFile, presets: &[Preset], set: &Type) -> Self {
        let mut missing_characters = 0;
        let mut own = |text: &str| {
            let (text, missing) = set.settable(text);
            missing_characters += missing;
            text
        };
        let texts = &file.card;
        let carries = [own(&texts.left), own(&texts.right)];
        let mut risks: Vec<AtRisk> = texts
            .at_risk
            .iter()
            .map(|text| AtRisk {
                outcome: None,
                text: text.clone(),
            })
            .chain(at_risk(presets))
            .collect();
        for risk in &mut risks {
            risk.text = own(&risk.text);
        }
        let (player, rig) = (own(&texts.player), own(&texts.rig));
        let notes: Vec<String> = texts.notes.iter().map(|note| own(note)).collect();
        let ways = [&file.left, &file.right].map(|line| Way::new(line, &file.source));
        // A line that isn't plugged is no choice.
        let plugged = match (ways[0].line.unplugged, ways[1].line.unplugged) {
            (true, false) => Some(Side::Right),
            (false, true) => Some(Side::Left),
            _ => None,
        };
        let side = plugged
            .or(texts.one_line)
            .or_else(|| better_line(presets).map(|(side, _)| side))
            .unwrap_or(Side::Left);
        Self {
            player,
            rig,
            rows: rows(&ways, &carries),
            differs: differs(file),
            one_line: one_line(side, presets),
            never: NEVER.to_vec(),
            faults: fault_counts(presets),
            at_risk: risks,
            test: test(side),
            notes,
            cautions: cautions(&ways),
            missing_characters,
        }
    }
}

/// One line on its way to the desk.
struct Way {
    line: Line,
    one: Option<InUse>,
    level_dbu: f64,
    preamp_gain_db: f64,
}

impl Way {
    fn new(rig_line: &RigLine, source: &Source) -> Self {
        let (line, one) = (rig_line.line(source), rig_line.in_use());
        let level_dbu = if line.unplugged {
            f64::NEG_INFINITY
        } else {
            source.level_dbu + line.gain_db
        };
        Self {
            line,
            one,
            level_dbu,
            preamp_gain_db: one.map_or(f64::NAN, |one| {
                one.arrival(source)
                    .on_line(&line, &one.spec(), one.load_ohm(), source)
                    .preamp_gain_db
            }),
        }
    }

    fn of_box(&self, cell: impl Fn(&InUse) -> String) -> String {
        self.one.as_ref().map_or_else(|| "ask me".into(), cell)
    }
}

fn with_unit(value: f64, unit: &str) -> String {
    match scores::number(value, 0) {
        // A hyphen is no minus.
        Ok(number) => format!("{} {unit}", number.replace('-', "−")),
        Err(_) => scores::NOTHING_ARRIVES.into(),
    }
}

fn rows(ways: &[Way; 2], carries: &[String; 2]) -> Vec<[String; 3]> {
    let mut rows = Vec::new();
    let mut row = |label: &str, cells: [String; 2]| {
        let [left, right] = cells;
        rows.push([label.to_string(), left, right]);
    };
    let each = |cell: &dyn Fn(&Way) -> String| [cell(&ways[0]), cell(&ways[1])];
    if carries.iter().any(|text| !text.is_empty()) {
        row(
            "carries",
            carries
                .clone()
                .map(|text| if text.is_empty() { "–".into() } else { text }),
        );
    }
    row("box", each(&|way| way.of_box(box_name)));
    row(
        "goes into",
        each(&|way| {
            way.of_box(|one| {
                format!(
                    "{}, {}",
                    one.spec().input.name(),
                    ohms(one.load_ohm()).replace("ohm", "Ω")
                )
            })
        }),
    );
    row(
        "loud playing arrives at",
        each(&|way| {
            if way.line.unplugged {
                "nothing arrives: unplugged".into()
            } else {
                with_unit(way.level_dbu, "dBu")
            }
        }),
    );
    row(
        "gain wanted there",
        each(&|way| match way.preamp_gain_db {
            gain if gain.is_nan() => "ask me".into(),
            gain if !gain.is_finite() => "–".into(),
            gain => with_unit(gain, "dB"),
        }),
    );
    row(
        "lost on the way",
        each(&|way| {
            if way.line.unplugged {
                "all".into()
            } else if way.line.gain_db < -0.05 {
                format!("{:.1} dB", -way.line.gain_db)
            } else if way.line.gain_db > 0.05 {
                format!("none; {:.1} dB gained", way.line.gain_db)
            } else {
                "none".into()
            }
        }),
    );
    row("low-end corner", each(&|way| corner(way.line.high_pass_hz[0])));
    row(
        "polarity",
        each(&|way| match way.line.polarity {
            Polarity::Normal => "normal, pin 2 positive".into(),
            Polarity::Flipped => "FLIPPED: press the switch on this one".into(),
        }),
    );
    if ways.iter().any(|way| way.line.delay_s > 0.0) {
        row("delay", each(&|way| delay(way.line.delay_s)));
    }
    row(
        "ground",
        each(&|way| {
            way.of_box(|one| {
                match one.spec().isolation {
                    sumproof_core::routing::boxes::Isolation::None => "joined to yours, not isolated",
                    sumproof_core::routing::boxes::Isolation::Transformer => "isolated by a transformer",
                    sumproof_core::routing::boxes::Isolation::NoWire => "isolated, no wire",
                }
                .into()
            })
        }),
    );
    row(
        "phantom power",
        each(&|way| way.of_box(|one| phantom(one.spec().phantom).into())),
    );
    rows
}

fn phantom(phantom: Phantom) -> &'static str {
    match phantom {
        Phantom::Needed => "ON, after plugging",
        Phantom::Harmless => "not needed",
        Phantom::MustBeOff => "OFF: it would reach my outputs",
    }
}

/// What differs between the lines, as the report of the lines says it.
fn differs(file: &RigFile) -> String {
    let (Some(left), Some(right)) = (file.left.in_use(), file.right.in_use()) else {
        return String::new();
    };
    let candidate = Candidate {
        left,
        right,
        lines: [file.left.line(&file.source), file.right.line(&file.source)],
    };
    let choices: Vec<Choice> = rank(&[candidate], &file.source, &Gig::default());
    match choices.first() {
        Some(choice) if !choice.pair.alike() => {
            let [left, right] = &candidate.lines;
            if left.unplugged || right.unplugged {
                return "Only one of the lines is plugged.".into();
            }
            let pair = &choice.pair;
            let mut said = Vec::new();
            if pair.level_difference_db.abs() > 0.5 {
                let (more, less) = if pair.level_difference_db > 0.0 {
                    ("left", "right")
                } else {
                    ("right", "left")
                };
                said.push(format!(
                    "give the {less} line {:.0} dB more gain than the {more}",
                    pair.level_difference_db.abs()
                ));
            }
            if pair.one_flipped {
                said.push("press polarity on the flipped one".into());
            }
            if pair.right_late_s.abs() > 1e-4 {
                let early = if pair.right_late_s > 0.0 { "left" } else { "right" };
                said.push(format!(
                    "delay the {early} line by {:.1} ms",
                    1000.0 * pair.right_late_s.abs()
                ));
            }
            if pair.low_e_phase_deg.abs() > 10.0 {
                said.push("their low-end corners differ, so listen to the lows where they are added".into());
            }
            format!("The lines are not alike: {}.", said.join("; "))
        }
        _ => String::new(),
    }
}

fn one_line(side: Side, presets: &[Preset]) -> String {
    let other = match side {
        Side::Left => Side::Right,
        Side::Right => Side::Left,
    };
    let mut said = format!(
        "Take the {} line and pan it to the centre. Leave the {} one unplugged; never join the two with an adapter.",
        side.name(),
        other.name()
    );
    if let Some((_, [left, right])) = better_line(presets) {
        let (held, of_other) = match side {
            Side::Left => (left, right),
            Side::Right => (right, left),
        };
        said.push_str(&format!(
            " {held} of my {} presets hold on it ({of_other} on the other).",
            presets.len()
        ));
    }
    said
}

fn test(side: Side) -> Vec<String> {
    vec![
        "Both channels to the centre. Mute one, then the other; match the gains.".into(),
        "Both on, I let a chord ring. Press polarity on one channel. Fuller? Leave it. Thinner, more reverb? Put it back."
            .into(),
        "Still hollow, as if through a pipe? One line is late: send both the same way.".into(),
        format!(
            "Pan them out again. The wedge gets both, or the {} one alone.",
            side.name()
        ),
    ]
}

fn cautions(ways: &[Way; 2]) -> Vec<String> {
    let needed = |way: &Way| way.one.is_some_and(|one| one.spec().phantom == Phantom::Needed);
    let first = match (needed(&ways[0]), needed(&ways[1])) {
        (false, false) => "Phantom power off before anything is plugged or an adapter is used.".to_string(),
        (true, true) => {
            "Phantom power off before anything is plugged or an adapter is used; on again after that, for both boxes."
                .into()
        }
        (left, _) => format!(
            "Phantom power off before anything is plugged or an adapter is used; on again after that, for the {} box only.",
            if left { "left" } else { "right" }
        ),
    };
    vec![
        first,
        "Never lift a mains protective earth. A ground lift is for the audio shield only.".into(),
        "A tingle, a hum that changes when you touch something, stage and house on different supplies: stop, and call the \
         venue's electrician. Local codes stand."
            .into(),
    ]
}
