//! The card's contents: every sentence, before layout.

use sumproof_core::routing::boxes::{
    Candidate, Choice, Gig, InUse, Isolation, Kind, Peaks, Phantom, Whose, rank,
};
use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_core::score::outcome::Outcome;
use sumproof_wording::numbers::signed;
use sumproof_wording::{Name, boxes};

use super::presets::{AtRisk, Preset, at_risk, better_line, fault_counts};
use super::typeset::Type;
use crate::rig::file::{RigFile, RigLine};
use crate::rig::lines::{box_name, corner, delay, ohms};

/// The first line.
pub const FIRST: &str = "If the wedge is all reverb, press the polarity switch on one of my two channels.";

/// A blank to be filled in by hand.
const BLANK: &str = "__________";
/// Stands for what only the player knows.
const ASK: &str = "ask me";

/// Labels of the rows that hold the player's own texts.
pub(super) const OWN_ROWS: [&str; 2] = ["name", "connector"];

/// The contents of a card.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Card {
    /// The player; may be empty.
    pub player: String,
    /// Player, show and date: a label and a text each, with a blank for a missing one.
    pub who: Vec<[String; 2]>,
    /// What is sent, and what to do with only one channel.
    pub send: String,
    /// Instruments and processors; may be empty.
    pub rig: String,
    /// The input list: a label, the left line, the right line.
    pub rows: Vec<[String; 3]>,
    /// Monitor wish, position, contact: a label and a text each.
    pub stage: Vec<[String; 2]>,
    /// Differences between the lines; empty when there are none.
    pub differs: String,
    /// What to do when only one line fits.
    pub one_line: String,
    /// What must not be summed: the symptom, the cause, the remedy.
    pub never: Vec<[&'static str; 3]>,
    /// How many presets each fault affects; may be empty.
    pub faults: String,
    /// Presets at risk, the worst first.
    pub at_risk: Vec<AtRisk>,
    /// The steps of the test at the sound check.
    pub test: Vec<String>,
    /// Further notes for the engineer.
    pub notes: Vec<String>,
    /// The cautions.
    pub cautions: Vec<String>,
    /// Number of characters of the player's texts that the typeface lacks; each is printed as a question mark.
    pub missing_characters: usize,
}

/// Longest name of a preset in the test, characters.
const LONGEST_PLAYED: usize = 24;
/// The cause of 'all reverb' where a preset can cause it by itself.
const FLIPPED_OR_PRESET: &str = "One line is flipped; or a preset at risk is played";

/// What must not be summed, and how it sounds if it is.
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
        "Match the levels; check pads and plugs",
    ],
    [
        "Thin, hardly any guitar",
        "A stereo plug in a mono input takes left minus right",
        "Two inputs, or one line alone",
    ],
    [
        "Hum",
        "A ground loop; normal with separate supplies",
        "Isolated DIs, or lift the audio shield at the box; never a mains earth",
    ],
];

impl Card {
    /// The card of a rig, with the known outcomes of its presets.
    #[must_use]
    pub(super) fn new(file: &RigFile, presets: &[Preset], set: &Type) -> Self {
        let mut missing_characters = 0;
        let mut own = |text: &str| {
            let (text, missing) = set.settable(text);
            missing_characters += missing;
            text
        };
        let texts = &file.card;
        let names = [own(&texts.left), own(&texts.right)];
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
        let mut labelled = |label: &str, text: &str| [label.to_string(), or_blank(&own(text))];
        let who = vec![
            labelled("Player", &texts.player),
            labelled("Show", &texts.show),
            labelled("Date", &texts.date),
        ];
        let stage = vec![
            labelled("Monitor wish", &texts.monitor),
            labelled("Stage position", &texts.position),
            labelled("Contact", &texts.contact),
        ];
        let played = own(playable(presets));
        let rig = own(&texts.rig);
        let connector = own(&texts.connector);
        let notes: Vec<String> = texts.notes.iter().map(|note| own(note)).collect();
        let ways = [&file.left, &file.right].map(|line| Way::new(line, file));
        let side = recommended(&ways, texts.one_line, presets);
        let player = who[0][1].clone();
        Self {
            player: if player == BLANK { String::new() } else { player },
            who,
            send: send(&ways, side),
            rig,
            rows: rows(&ways, &names, &connector, texts.boxes),
            stage,
            differs: differs(file),
            one_line: one_line(side, presets),
            never: never(presets),
            faults: fault_counts(presets),
            at_risk: risks,
            test: test(side, &played),
            notes,
            cautions: cautions(&ways),
            missing_characters,
        }
    }
}

/// A text, or a blank to be filled in.
fn or_blank(text: &str) -> String {
    if text.is_empty() { BLANK } else { text }.into()
}

/// The line to use where only one fits: the one that is plugged in, the player's choice, or the one on which more
/// presets hold; `None` for either.
fn recommended(ways: &[Way; 2], said: Option<Side>, presets: &[Preset]) -> Option<Side> {
    match (ways[0].line.unplugged, ways[1].line.unplugged) {
        (true, false) => Some(Side::Right),
        (false, true) => Some(Side::Left),
        _ => said.or_else(|| {
            let (side, [left, right]) = better_line(presets)?;
            (left != right).then_some(side)
        }),
    }
}

/// What is sent on how many channels.
fn send(ways: &[Way; 2], side: Option<Side>) -> String {
    if let Some(side) = side.filter(|_| ways.iter().any(|way| way.line.unplugged)) {
        return format!("I send: one line, the {} one. Pan it to the centre.", side.name());
    }
    let one = match side {
        Some(side) => format!("the {} line", side.name()),
        None => "either line".into(),
    };
    format!("I send: stereo, two channels, pan hard left and right. If you have one channel: {one}, centred.")
}

/// One line to the desk.
struct Way {
    line: Line,
    one: Option<InUse>,
    /// Source impedance, ohm, for a box whose low end depends on it.
    driven_ohm: Option<f64>,
    /// Level of loud playing at the desk, dBu rms; `None` where it was not given.
    level_dbu: Option<f64>,
    /// The highest peaks there; `None` where neither they nor the level were given.
    peaks: Option<Peaks>,
}

impl Way {
    fn new(rig_line: &RigLine, file: &RigFile) -> Self {
        let line = rig_line.line(&file.source);
        let plugged = !line.unplugged;
        // Without a box the loss on the way is unknown.
        let known = plugged && rig_line.kind.is_some();
        let level_known = known && file.level_known;
        let peaks_known = known && (file.level_known || file.source.peak_dbu.is_some());
        Self {
            line,
            one: rig_line.in_use(),
            driven_ohm: (rig_line.kind == Some(Kind::PassiveDirectBox) && rig_line.high_pass_hz.is_none())
                .then_some(file.source.impedance_ohm),
            level_dbu: level_known.then_some(file.source.level_dbu + line.gain_db),
            peaks: peaks_known.then(|| file.source.peaks().through(line.gain_db)),
        }
    }

    fn of_box(&self, cell: impl Fn(&InUse) -> String) -> String {
        self.one.as_ref().map_or_else(|| ASK.into(), cell)
    }

    /// Whether the input needs its pad.
    fn pad(&self) -> String {
        self.of_box(|one| boxes::pad(one.spec().input, self.peaks))
    }

    /// The low-end roll-off. A passive DI's depends on its source impedance, which is low here.
    fn roll_off(&self) -> String {
        self.of_box(|_| {
            let at = corner(self.line.high_pass_hz[0]);
            match self.driven_ohm {
                Some(ohm) => format!("{at}, driven from {}", ohms(ohm)),
                None => at,
            }
        })
    }

    fn level(&self) -> String {
        if self.line.unplugged {
            return "not plugged".into();
        }
        let dbu = |value: Option<f64>| {
            value.map_or_else(
                || format!("{} dBu", &BLANK[..4]),
                |value| format!("{} dBu", signed(value, 0)),
            )
        };
        let said = self.peaks.filter(|peaks| !peaks.assumed).map(|peaks| peaks.dbu);
        format!("{} rms, {} peak", dbu(self.level_dbu), dbu(said))
    }
}

/// The input list; a value that both lines share is in both cells.
fn rows(ways: &[Way; 2], names: &[String; 2], connector: &str, whose: Option<Whose>) -> Vec<[String; 3]> {
    let mut rows = Vec::new();
    let mut row = |label: &str, cells: [String; 2]| {
        let [left, right] = cells;
        rows.push([label.to_string(), left, right]);
    };
    let each = |cell: &dyn Fn(&Way) -> String| [cell(&ways[0]), cell(&ways[1])];
    // A different blank, so that there is one for each line.
    row("channel at the desk", [BLANK.into(), format!("{BLANK} ")]);
    let each_blank = |name: &str, blank: &str| {
        if name.is_empty() {
            blank.into()
        } else {
            name.into()
        }
    };
    row(
        OWN_ROWS[0],
        [
            each_blank(&names[0], BLANK),
            each_blank(&names[1], &format!("{BLANK} ")),
        ],
    );
    row(OWN_ROWS[1], [or_blank(connector), or_blank(connector)]);
    row(
        "DI",
        each(&|way| {
            way.of_box(|one| {
                let whose = match whose {
                    Some(Whose::Mine) => "mine: ".into(),
                    Some(Whose::Yours) => "yours, please: ".into(),
                    None => format!("mine or yours {}: ", &BLANK[..6]),
                };
                format!("{whose}{}, into a {}", box_name(one), one.spec().input.name())
            })
        }),
    );
    row("pad", each(&Way::pad));
    row(
        "48 V",
        each(&|way| way.of_box(|one| phantom(one.spec().phantom).into())),
    );
    row(
        "ground",
        each(&|way| way.of_box(|one| ground(one.spec().isolation).into())),
    );
    row("polarity", each(&|way| polarity(way)));
    row("loud playing, at the desk", each(&Way::level));
    if ways
        .iter()
        .any(|way| way.one.is_some() && way.line.high_pass_hz[0] > 0.0)
    {
        row("low-end roll-off", each(&Way::roll_off));
    }
    if ways.iter().any(|way| way.line.delay_s > 0.0) {
        row("delay", each(&|way| delay(way.line.delay_s)));
    }
    rows
}

fn polarity(way: &Way) -> String {
    match way.line.polarity {
        Polarity::Normal => way.of_box(|_| "pin 2 hot".into()),
        Polarity::Flipped => "FLIPPED (pin 3 hot): press the switch on this one".into(),
    }
}

fn phantom(phantom: Phantom) -> &'static str {
    match phantom {
        Phantom::Needed => "YES, after plugging",
        Phantom::Harmless => "no",
        Phantom::MustBeOff => "NO: it would reach my outputs",
    }
}

fn ground(isolation: Isolation) -> &'static str {
    match isolation {
        Isolation::None => "joined to yours, not isolated",
        Isolation::Transformer => "isolated by a transformer",
        Isolation::NoWire => "isolated, no wire",
    }
}

/// Differences between the lines, as in the report of the lines.
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
                said.push(
                    "their low-end roll-offs differ, so listen to the lows where they are added".into(),
                );
            }
            format!("The lines are not alike: {}.", said.join("; "))
        }
        _ => String::new(),
    }
}

fn one_line(side: Option<Side>, presets: &[Preset]) -> String {
    let mut said = match side {
        Some(side) => format!(
            "Take the {} line and pan it to the centre. Leave the {} one unplugged; never join the two with a Y-cable.",
            side.name(),
            side.other().name()
        ),
        None => "Take either line and pan it to the centre. Leave the other one unplugged; never join the two with a Y-cable.".into(),
    };
    if let Some((_, [left, right])) = better_line(presets) {
        let count = presets.len();
        // Where the player prefers the other line he has his reasons, and a figure against it is of no use to the
        // engineer.
        said.push_str(&match side {
            Some(Side::Left) if left >= right => {
                format!(" {left} of my {count} presets hold on it ({right} on the other).")
            }
            Some(Side::Right) if right >= left => {
                format!(" {right} of my {count} presets hold on it ({left} on the other).")
            }
            Some(_) => String::new(),
            None => format!(" {left} of my {count} presets hold on the left one, {right} on the right one."),
        });
    }
    said
}

/// What must not be summed. A preset that drops out in a sum sounds like a flipped line.
fn never(presets: &[Preset]) -> Vec<[&'static str; 3]> {
    let mut never = NEVER.to_vec();
    if presets
        .iter()
        .any(|preset| preset.outcome(FeedId::MonoWedge) == Some(Outcome::DropsOut))
    {
        never[0][1] = FLIPPED_OR_PRESET;
    }
    never
}

/// The name of a preset with which a flipped line is surely audible: it holds in the wedge and drops out with one line
/// flipped. Empty where none is known.
fn playable(presets: &[Preset]) -> &str {
    let shows = |preset: &&Preset| {
        let plainly = |feed| preset.outcome(feed).filter(|_| !preset.likely.contains(&feed));
        preset.name.chars().count() <= LONGEST_PLAYED
            && plainly(FeedId::MonoWedge) == Some(Outcome::Holds)
            && plainly(FeedId::WedgeLineFlipped) == Some(Outcome::DropsOut)
    };
    presets.iter().find(shows).map_or("", |preset| &preset.name)
}

/// The steps of the test. `preset` is the name of the preset to play; empty where none is known.
fn test(side: Option<Side>, preset: &str) -> Vec<String> {
    let chord = if preset.is_empty() {
        "I let a chord ring".into()
    } else {
        format!("I let a chord ring on \u{2018}{preset}\u{2019}")
    };
    let alone = match side {
        Some(Side::Left) => "the left",
        Some(Side::Right) => "the right",
        None => "either",
    };
    vec![
        "Both channels to the centre. Mute one, then the other; match the levels.".into(),
        format!(
            "Both on, {chord}. Press polarity on one channel. Fuller? Leave it. Thinner, more reverb? Put it back."
        ),
        "Still hollow, as if through a pipe? One line is late: send both the same way.".into(),
        format!("Pan them out again. The wedge gets both, or {alone} one alone."),
    ]
}

fn cautions(ways: &[Way; 2]) -> Vec<String> {
    let needed = |way: &Way| way.one.is_some_and(|one| one.spec().phantom == Phantom::Needed);
    let first = match (needed(&ways[0]), needed(&ways[1])) {
        (false, false) => "48 V off before anything is plugged or an adapter is used.".to_string(),
        (true, true) => {
            "48 V off before anything is plugged or an adapter is used; on again after that, for both boxes."
                .into()
        }
        (left, _) => format!(
            "48 V off before anything is plugged or an adapter is used; on again after that, for the {} box only.",
            if left { "left" } else { "right" }
        ),
    };
    vec![
        first,
        "Never lift a mains protective earth. A ground lift is for the audio shield only.".into(),
        "A tingle, or a voltage measured between metal parts: stop, and call the venue's electrician. Local rules apply.".into(),
    ]
}
