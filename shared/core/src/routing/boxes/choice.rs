//! Which boxes to take: every choice with its merits and troubles at a gig.
//!
//! The order is by points of trouble. The points are common practice, no source; what they stand for is printed beside
//! them.

use crate::routing::line::Line;

use super::pair::PairOfLines;
use super::spec::{Coupling, DeskInput, Phantom, Spec};
use super::{Arrival, InUse, Kind, Peaks, Source};

/// Whether the rig and the desk are on the same mains supply.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Mains {
    /// The same: their grounds are at one potential.
    Same,
    /// Different ones: their grounds differ, and the difference hums.
    Separate,
    /// Not said.
    #[default]
    Unknown,
}

/// The inputs that the desk or stage box has free.
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

/// A pair of boxes to choose from.
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
    /// The same kind on both lines, with its usual figures and nothing else on the way.
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

/// A point against a choice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trouble {
    /// Phantom power is on and reaches the player's outputs.
    PhantomOnOutputs,
    /// Phantom power would reach the player's outputs; it isn't known whether it is on.
    PhantomUnknown,
    /// The box needs phantom power and it's off.
    PhantomMissing,
    /// The box needs phantom power, and it isn't known whether it is on: ask for it.
    PhantomToAsk,
    /// Two supplies and a shield that joins them.
    Hum,
    /// The same, if the supplies should differ.
    HumPossible,
    /// The lines differ, which harms what both carry when they are added.
    LinesDiffer,
    /// One line is flipped.
    Flipped,
    /// A line is unplugged.
    Unplugged,
    /// A mic level into a line input.
    TooQuiet {
        /// Level, dBu.
        level_dbu: f64,
    },
    /// Peaks too high for a mic input.
    NeedsPad {
        /// The peaks as they arrive.
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
        /// Delay, seconds.
        delay_s: f64,
    },
    /// It needs free radio channels and full batteries.
    Radio,
}

impl Trouble {
    /// Its weight in the ranking.
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

/// A point in favour of a choice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Merit {
    /// A ground difference stays out of the sound.
    Isolates,
    /// Phantom power can't reach the player's outputs.
    BlocksPhantom,
    /// It needs neither its own supply nor phantom power.
    NoSupply,
    /// Both lines are alike.
    Alike,
    /// Nothing of the low end is lost.
    FullLowEnd,
    /// Loud enough for the line inputs it goes into.
    LineLevel,
}

/// A choice, judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// The boxes judged.
    pub candidate: Candidate,
    /// What arrives on the left and the right line.
    pub arrivals: [Arrival; 2],
    /// The differences between the lines.
    pub pair: PairOfLines,
    /// Points against it, the worst first.
    pub troubles: Vec<Trouble>,
    /// Points in its favour.
    pub merits: Vec<Merit>,
    /// Sum of the troubles' points; the choice with the fewest is the best.
    pub points: f64,
}

/// Loud playing this far over the noise makes it inaudible, dB.
const NOISE_FREE_DB: f64 = 90.0;
/// A corner below this takes nothing from a guitar, Hz.
const LOW_END_HZ: f64 = 15.0;
/// Levels below this are mic level, dBu.
const QUIET_DBU: f64 = -15.0;

/// Judges every candidate and sorts them, best first; equal ones keep their order.
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
        // The box's own troubles count even while it's unplugged; its level doesn't.
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
    // A trouble of both lines is listed once, with the worse figure.
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
        // Line inputs have no phantom power.
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
