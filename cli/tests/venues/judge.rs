//! The reading of a venue compared with the truth.

use sumproof_core::line_check::{Answer, Findings, Notice, ReadFailure, Reception, Trust};
use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::routing::line::Polarity;
use sumproof_signals::LineFault;
use sumproof_signals::venue::{Drawn, End, Room, Situation, Venue};

use super::Coding;

/// Required accuracy of a delay (s) and a level (dB).
const DELAY_S: f64 = 1e-4;
const LEVEL_DB: f64 = 0.5;

/// A graded answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Graded {
    Right(Trust),
    Wrong(Trust),
    Unknown,
    /// There is nothing to grade.
    NotAsked,
}

impl Graded {
    fn of<T: Copy>(answer: Option<Answer<T>>, is_right: impl Fn(T, f64) -> bool) -> Self {
        match answer.and_then(|answer| answer.known()) {
            Some(told) if is_right(told.value, told.within) => Self::Right(told.trust),
            Some(told) => Self::Wrong(told.trust),
            None => Self::Unknown,
        }
    }

    pub fn is_wrong(self) -> bool {
        matches!(self, Self::Wrong(_))
    }
}

/// A figure's error, and its own stated uncertainty.
#[derive(Clone, Copy, Debug)]
pub struct Off {
    pub by: f64,
    pub within: f64,
}

/// The grades for one venue.
pub struct Outcome {
    pub number: u64,
    pub situation: Situation,
    pub venue: Venue,
    pub coding: Coding,
    pub result: Result<Findings, ReadFailure>,
    pub reading_s: f64,
    pub polarity: Graded,
    pub feed: Graded,
    pub delay: Graded,
    pub level: Graded,
    pub delay_off_s: Option<Off>,
    pub level_off_db: Option<Off>,
    pub corner: Graded,
    pub absolute: Graded,
    /// Whether the situation is named; `None` where it is an ordinary one.
    pub named: Option<bool>,
}

/// The right line relative to the left at the place of recording.
struct Truth {
    flipped: bool,
    delay_s: f64,
    level_db: f64,
    heard: Vec<Reception>,
}

fn truth(drawn: &Drawn) -> Truth {
    let venue = &drawn.venue;
    let two_loudspeakers = drawn.situation == Situation::TwoLoudspeakers;
    let mut truth = Truth {
        flipped: (venue.left.flip != venue.right.flip) != (venue.end == End::Difference && !two_loudspeakers),
        delay_s: venue.right.delay_s - venue.left.delay_s,
        level_db: venue.right.gain_db - venue.left.gain_db,
        heard: Vec::new(),
    };
    if drawn.situation == Situation::MixedToMono {
        // Whatever the lines do, both channels of the file pass through the same.
        (truth.flipped, truth.delay_s, truth.level_db) = (false, 0.0, 0.0);
    }
    truth.heard = match venue.end {
        // Neither a sum nor a single line.
        _ if two_loudspeakers => Vec::new(),
        End::Left => vec![Reception::One(Side::Left)],
        End::Right => vec![Reception::One(Side::Right)],
        _ if truth.flipped => vec![Reception::Difference],
        _ => vec![Reception::Sum],
    };
    truth
}

/// Whether the situation is named.
fn is_named(situation: Situation, result: &Result<Findings, ReadFailure>) -> Option<bool> {
    let wanted: &[Notice] = match situation {
        Situation::AtRest | Situation::Mono => return None,
        // The notice about a cut covers these too: they can't be told apart.
        Situation::HandHeld | Situation::PutElsewhere => &[Notice::Moved, Notice::Swayed, Notice::Cut],
        Situation::Gap | Situation::Repeat => &[Notice::Cut],
        Situation::TwoLoudspeakers | Situation::Elsewhere | Situation::Reverb => &[Notice::DifferentWays],
        Situation::Chorus => &[Notice::Changing, Notice::Unsteady, Notice::DifferentWays],
        Situation::OtherRate => &[Notice::OtherRate],
        Situation::Twice => &[Notice::SeveralSignals],
        Situation::OtherLength => &[Notice::OtherLength],
        Situation::OtherMode => &[Notice::OtherMode],
        Situation::NothingPulled => &[Notice::NothingPulled],
        Situation::MixedToMono => &[Notice::PerhapsMono],
        Situation::Faint => &[Notice::Faint],
    };
    Some(match result {
        Ok(findings) => wanted.iter().any(|notice| findings.notices.contains(notice)),
        Err(failure) => situation == Situation::Faint && *failure == ReadFailure::Faint,
    })
}

impl Outcome {
    pub fn new(
        number: u64,
        drawn: Drawn,
        coding: Coding,
        result: Result<Findings, ReadFailure>,
        reading_s: f64,
    ) -> Self {
        let truth = truth(&drawn);
        let Drawn { situation, venue } = drawn;
        let both = !matches!(venue.end, End::Left | End::Right) || situation == Situation::TwoLoudspeakers;
        let asked = |graded| match graded {
            Graded::Unknown if !both => Graded::NotAsked,
            graded => graded,
        };
        let found = result.as_ref().ok();
        let pair = found.and_then(|findings| findings.pair.as_ref());
        let polarity = Graded::of(pair.map(|pair| pair.polarity), |polarity, _| {
            (polarity == Polarity::Flipped) == truth.flipped
        });
        let delay = Graded::of(pair.map(|pair| pair.delay_s), |delay_s, within_s| {
            (delay_s - truth.delay_s).abs() <= DELAY_S.max(within_s)
        });
        let level = Graded::of(pair.map(|pair| pair.level_db), |level_db, within_db| {
            (level_db - truth.level_db).abs() <= LEVEL_DB.max(within_db)
        });
        let heard = found.map(|findings| findings.feeding.heard);
        let feed = Graded::of(heard, |heard, _| {
            truth.heard.contains(&heard)
                && found.is_some_and(|findings| feeds_fit(heard, &findings.feeding.feeds))
        });
        let off = |answer: Option<Answer<f64>>, truth: f64| {
            answer.and_then(|answer| answer.known()).map(|told| Off {
                by: told.value - truth,
                within: told.within,
            })
        };
        let (delay_off_s, level_off_db) = (
            off(pair.map(|pair| pair.delay_s), truth.delay_s),
            off(pair.map(|pair| pair.level_db), truth.level_db),
        );
        let (corner, absolute) = (
            corner(&venue, situation, found),
            absolute(&venue, situation, found),
        );
        Self {
            number,
            situation,
            coding,
            reading_s,
            polarity: asked(polarity),
            feed,
            delay: asked(delay),
            level: asked(level),
            delay_off_s,
            level_off_db,
            corner,
            absolute,
            named: is_named(situation, &result),
            venue,
            result,
        }
    }

    /// All grades.
    pub fn all(&self) -> [Graded; 4] {
        [self.polarity, self.feed, self.delay, self.level]
    }

    /// The venue and its reading, on one line.
    pub fn line(&self) -> String {
        let (venue, recorder) = (&self.venue, &self.venue.recorder);
        let room = match &venue.room {
            Room::None => String::from("no room"),
            Room::Synthetic { decay_s, .. } => format!("made-up room {decay_s:.1} s"),
            Room::Given(_) => String::from("recorded room"),
        };
        let off = |off: Option<Off>, scale: f64| {
            off.map_or_else(
                || "untold".into(),
                |off| format!("{:.2}±{:.2}", scale * off.by, scale * off.within),
            )
        };
        let said = match &self.result {
            Ok(findings) => format!(
                "{:?} {:?} {:.2} s from {:.2} s, noise {:.0} dB",
                findings.notices, findings.mode, findings.sweep_s, findings.start_s, findings.noise_db
            ),
            Err(failure) => failure.to_string(),
        };
        format!(
            "{}: {:?} {:?}, {room}, up to {:.0} Hz, {:.1} dB, {:.2} ms, noise {:.0} dB below, {:?}, clipped {:.1} dB, gain {}, \
             suppression {}: polarity {:?}, feed {:?}, delay {:?} ({} us), level {:?} ({} dB), named {:?}, {said}",
            self.number,
            self.situation,
            venue.end,
            venue.loudspeaker_hz.map_or(20_000.0, |band| band.1),
            venue.right.gain_db - venue.left.gain_db,
            1e3 * (venue.right.delay_s - venue.left.delay_s),
            venue.noise.map_or(99.0, |noise| noise.below_db),
            self.coding,
            recorder.clipped_db,
            recorder.gain.is_some(),
            recorder.suppression.is_some(),
            self.polarity,
            self.feed,
            self.delay,
            off(self.delay_off_s, 1e6),
            self.level,
            off(self.level_off_db, 1.0),
            self.named,
        )
    }
}

/// Whether the built-in feeds named match the reception.
fn feeds_fit(heard: Reception, named: &[FeedId]) -> bool {
    let sub = [FeedId::MonoSubs, FeedId::MonoSubsLineFlipped];
    match heard {
        Reception::One(Side::Left) => named.first() == Some(&FeedId::LeftLineOnly),
        Reception::One(Side::Right) => named.first() == Some(&FeedId::RightLineOnly),
        Reception::Difference => named.iter().all(|feed| {
            sub.contains(feed) || [FeedId::BalancedJackDifference, FeedId::WedgeLineFlipped].contains(feed)
        }),
        Reception::Sum => named.iter().all(|feed| {
            matches!(
                feed,
                FeedId::MonoWedge
                    | FeedId::WedgeLinePadded
                    | FeedId::WedgeLineLate
                    | FeedId::WedgeLineTransformer
                    | FeedId::MonoSubs
            )
        }),
        Reception::Apart => false,
    }
}

/// Grades the line with less low end, if one has much less, and its corner to within a fifth.
fn corner(venue: &Venue, situation: Situation, found: Option<&Findings>) -> Graded {
    let hz = |line: &LineFault| line.high_pass_hz.unwrap_or(0.0);
    let (left, right) = (hz(&venue.left), hz(&venue.right));
    let thinner = usize::from(right >= left);
    let (more, less) = (left.max(right), left.min(right));
    let pair = found.and_then(|findings| findings.pair.as_ref());
    let asked = more > 100.0 && more > 3.0 * less && situation == Situation::AtRest;
    if !asked || pair.is_none() {
        return Graded::NotAsked;
    }
    Graded::of(pair.map(|pair| pair.corners_hz), |corners, _| {
        (corners[thinner] / more).ln().abs() < 0.2
    })
}

fn absolute(venue: &Venue, situation: Situation, found: Option<&Findings>) -> Graded {
    let mut graded = Graded::NotAsked;
    if situation != Situation::AtRest {
        return graded;
    }
    let lines = found.map_or(&[][..], |findings| &findings.lines);
    for (side, (line, found)) in [&venue.left, &venue.right].into_iter().zip(lines).enumerate() {
        if let Some(absolute) = found.absolute {
            let turned = venue.end == End::Difference && side == 1;
            let flipped = (line.flip != venue.loudspeaker_flipped) != turned;
            if (absolute.value == Polarity::Flipped) != flipped {
                return Graded::Wrong(absolute.trust);
            }
            graded = Graded::Right(absolute.trust);
        }
    }
    graded
}
