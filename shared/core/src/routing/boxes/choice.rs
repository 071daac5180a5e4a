//! Which boxes to take: every choice with what speaks for and against it at a gig.
//!
//! The order is by points of trouble. The points are common practice, no source; what they stand for is printed beside them.

use crate::routing::line::Line;

use super::pair::PairOfLines;
use super::spec::{Coupling, DeskInput, Phantom, Spec};
use super::{Arrival, InUse, Kind, Peaks, Source};

/// Whether the rig and the desk hang on the same supply.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Mains {
    /// The same: their grounds are at one potential.
    Same,
    /// Different ones: their grounds differ, and the difference hums.
    Separate,
    /// Nobody has said.
    #[default]
    Unknown,
}

/// What the desk or stage box has free.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Offered {
    /// Whatever the box wants.
    #[default]
    Either,
    /// Microphone inputs only.
    MicOnly,
    /// Line inputs only.
    LineOnly,
}

/// What is known of a gig.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Gig {
    /// The supplies.
    pub mains: Mains,
    /// The inputs.
    pub offered: Offered,
    /// Whether phantom power is on at those inputs; `None`: not known, or not to be relied on.
    pub phantom: Option<bool>,
}

/// Two boxes that are there to be taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    /// On the left line.
    pub left: InUse,
    /// On the right line.
    pub right: InUse,
    /// Both lines, boxes and all.
    pub lines: [Line; 2],
}

impl Candidate {
    /// The same kind on both lines, as it usually is, with nothing else on the way.
    #[must_use]
    pub fn usual(kind: Kind, source: &Source, gig: &Gig) -> Self {
        let mut one = InUse::usual(kind);
        one.input = match gig.offered {
            Offered::Either => None,
            Offered::MicOnly => Some(DeskInput::Mic),
            Offered::LineOnly => Some(DeskInput::Line),
        };
        Self {
            left: one,
            right: one,
            lines: [one.line(source); 2],
        }
    }
}

/// What speaks against a choice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trouble {
    /// Phantom power is on and reaches the player's outputs.
    PhantomOnOutputs,
    /// It would, if it were on.
    PhantomUnknown,
    /// The box needs it and it's off.
    PhantomMissing,
    /// The box needs it; ask for it.
    PhantomToAsk,
    /// Two supplies and a shield that joins them.
    Hum,
    /// The same, if the supplies should differ.
    HumPossible,
    /// The lines differ, so what both carry is hurt where they are added.
    LinesDiffer,
    /// One line is flipped.
    Flipped,
    /// A line is unplugged.
    Unplugged,
    /// A mic level in a line input.
    TooQuiet {
        /// Level, dBu.
        level_dbu: f64,
    },
    /// Peaks too high for a mic input.
    NeedsPad {
        /// As they arrive.
        peaks: Peaks,
    },
    /// Hiss.
    Noise {
        /// Loud playing over noise, dB.
        over_noise_db: f64,
    },
    /// The low end is thinned.
    LowEnd {
        /// Corner, Hz.
        corner_hz: f64,
    },
    /// Both lines arrive late.
    Late {
        /// By so much, seconds.
        delay_s: f64,
    },
    /// It needs free radio channels and full batteries.
    Radio,
}

impl Trouble {
    /// How much it weighs.
    fn points(self) -> f64 {
        match self {
            Self::PhantomOnOutputs | Self::PhantomMissing | Self::Unplugged => 100.0,
            Self::Flipped => 80.0,
            Self::Hum => 60.0,
            Self::LinesDiffer => 50.0,
            Self::TooQuiet { .. } => 20.0,
            Self::HumPossible => 15.0,
            Self::PhantomUnknown => 10.0,
            Self::Radio => 6.0,
            Self::PhantomToAsk => 5.0,
            Self::NeedsPad { .. } => 2.0,
            Self::Noise { over_noise_db } => ((NOISE_FREE_DB - over_noise_db) / 5.0).max(0.0),
            Self::LowEnd { corner_hz } => corner_hz / 10.0,
            Self::Late { delay_s } => delay_s * 2000.0,
        }
    }
}

/// What speaks for a choice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Merit {
    /// A ground difference stays out of the sound.
    Isolates,
    /// Phantom power can't reach the player's outputs.
    BlocksPhantom,
    /// It needs no power of its own or the desk's.
    NoSupply,
    /// Both lines are alike.
    Alike,
    /// Nothing of the low end is lost.
    FullLowEnd,
    /// Level enough for the line inputs it goes into.
    LineLevel,
}

/// A choice, judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// What was judged.
    pub candidate: Candidate,
    /// What arrives on the left and the right line.
    pub arrivals: [Arrival; 2],
    /// What differs between the lines.
    pub pair: PairOfLines,
    /// Against it, the worst first.
    pub troubles: Vec<Trouble>,
    /// For it.
    pub merits: Vec<Merit>,
    /// The troubles' points together; the choice with the fewest is the best.
    pub points: f64,
}

/// Loud playing that far over the noise leaves none to hear, dB.
const NOISE_FREE_DB: f64 = 90.0;
/// A corner below this takes nothing from a guitar, Hz.
const LOW_END_HZ: f64 = 15.0;
/// Less than this is mic level, dBu.
const QUIET_DBU: f64 = -15.0;

/// Judges every candidate, the best first; of equal ones the earlier stays first.
#[must_use]
pub fn rank(candidates: &[Candidate], source: &Source, gig: &Gig) -> Vec<Choice> {
    let mut choices: Vec<Choice> = candidates
        .iter()
        .map(|candidate| judge(candidate, source, gig))
        .collect();
    choices.sort_by(|a, b| a.points.total_cmp(&b.points));
    choices
}

fn judge(candidate: &Candidate, source: &Source, gig: &Gig) -> Choice {
    let boxes = [candidate.left, candidate.right];
    let arrivals = [0, 1].map(|side| {
        let (one, line) = (&boxes[side], &candidate.lines[side]);
        one.arrival(source)
            .on_line(line, &one.spec(), one.load_ohm(), source)
    });
    let pair = PairOfLines::new(&candidate.lines[0], &candidate.lines[1]);
    let mut troubles: Vec<Trouble> = Vec::new();
    for (one, arrival) in boxes.iter().zip(&arrivals) {
        // What is said of the box counts even while it's unplugged; its level doesn't.
        of_box(&one.spec(), one.kind, arrival, source, gig, &mut troubles);
    }
    if candidate.lines.iter().any(|line| line.unplugged) {
        troubles.push(Trouble::Unplugged);
    } else if pair.one_flipped {
        troubles.push(Trouble::Flipped);
    } else if !pair.alike() {
        troubles.push(Trouble::LinesDiffer);
    }
    troubles.sort_by(|a, b| b.points().total_cmp(&a.points()));
    // What both lines have in common is said once, with the worse figure.
    let mut kinds = Vec::new();
    troubles.retain(|trouble| {
        let kind = core::mem::discriminant(trouble);
        let new = !kinds.contains(&kind);
        kinds.push(kind);
        new
    });
    let points = troubles.iter().map(|trouble| trouble.points()).sum();
    Choice {
        merits: merits(&boxes, &arrivals, &pair),
        candidate: *candidate,
        arrivals,
        pair,
        troubles,
        points,
    }
}

fn of_box(
    spec: &Spec,
    kind: Kind,
    arrival: &Arrival,
    source: &Source,
    gig: &Gig,
    troubles: &mut Vec<Trouble>,
) {
    match (spec.phantom, gig.phantom) {
        (Phantom::Needed, Some(false)) => troubles.push(Trouble::PhantomMissing),
        (Phantom::Needed, None) => troubles.push(Trouble::PhantomToAsk),
        // A line input has none.
        (Phantom::MustBeOff, Some(true)) if spec.input == DeskInput::Mic => {
            troubles.push(Trouble::PhantomOnOutputs);
        }
        (Phantom::MustBeOff, None) if spec.input == DeskInput::Mic => troubles.push(Trouble::PhantomUnknown),
        _ => {}
    }
    if !spec.isolation.isolates() {
        match gig.mains {
            Mains::Separate => troubles.push(Trouble::Hum),
            Mains::Unknown => troubles.push(Trouble::HumPossible),
            Mains::Same => {}
        }
    }
    let level_dbu = arrival.level_dbu;
    if level_dbu == f64::NEG_INFINITY {
        return;
    }
    if spec.input == DeskInput::Line && level_dbu < QUIET_DBU {
        troubles.push(Trouble::TooQuiet { level_dbu });
    }
    let peaks = source.peaks().through(arrival.gain_db);
    if spec.input == DeskInput::Mic && peaks.want_pad() {
        troubles.push(Trouble::NeedsPad { peaks });
    }
    if arrival.over_noise_db() < NOISE_FREE_DB {
        troubles.push(Trouble::Noise {
            over_noise_db: arrival.over_noise_db(),
        });
    }
    if arrival.high_pass_hz > LOW_END_HZ {
        troubles.push(Trouble::LowEnd {
            corner_hz: arrival.high_pass_hz,
        });
    }
    if arrival.delay_s > 0.0 {
        troubles.push(Trouble::Late {
            delay_s: arrival.delay_s,
        });
    }
    if kind == Kind::Wireless {
        troubles.push(Trouble::Radio);
    }
}

fn merits(boxes: &[InUse; 2], arrivals: &[Arrival; 2], pair: &PairOfLines) -> Vec<Merit> {
    let specs = boxes.map(|one| one.spec());
    let all = |is: fn(&Spec) -> bool| specs.iter().all(is);
    let mut merits = Vec::new();
    let mut say = |merit, is: bool| {
        if is {
            merits.push(merit);
        }
    };
    say(Merit::Isolates, all(|spec| spec.isolation.isolates()));
    say(Merit::BlocksPhantom, all(|spec| spec.blocks_phantom));
    say(Merit::Alike, pair.alike());
    say(
        Merit::FullLowEnd,
        arrivals.iter().all(|arrival| arrival.high_pass_hz <= LOW_END_HZ),
    );
    say(
        Merit::LineLevel,
        all(|spec| spec.input == DeskInput::Line)
            && arrivals.iter().all(|arrival| arrival.level_dbu >= QUIET_DBU),
    );
    say(
        Merit::NoSupply,
        all(|spec| !matches!(spec.coupling, Coupling::Buffer { .. })),
    );
    merits
}
