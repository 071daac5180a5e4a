//! What a line check found.

use crate::line_check::signal::plan::Mode;
use crate::line_check::trust::{Answer, Estimate, Trust};
use crate::routing::feed::{Ending, Feed, FeedId, Side, SumLaw};
use crate::routing::line::{Line, Polarity};

/// Whether a line arrives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Arrival {
    /// It does.
    Yes,
    /// It doesn't: it would have been seen at this level below the other one, dB.
    No {
        /// Decibels below the other line from which on it would have gone unseen.
        below_db: f64,
    },
    /// Too noisy to say: it may be there, but lower than this below the other one, dB.
    Unknown {
        /// Decibels below the other line from which on it would have gone unseen.
        below_db: f64,
    },
}

/// What was found of one line.
#[derive(Clone, Debug, PartialEq)]
pub struct LineFinding {
    /// Whether it arrives.
    pub arrival: Arrival,
    /// Signal to noise of its response, dB: the median over the bands in use. `None` when it doesn't arrive.
    pub clearness_db: Option<f64>,
    /// Polarity from the file to the recording, where the path shows it.
    pub absolute: Option<Estimate<Polarity>>,
}

impl LineFinding {
    /// Whether it stands at least so far out of the noise, dB.
    #[must_use]
    pub fn is_clear(&self, by_db: f64) -> bool {
        self.clearness_db
            .is_some_and(|clearness_db| clearness_db >= by_db)
    }
}

/// What was found of the right line against the left one.
#[derive(Clone, Debug, PartialEq)]
pub struct PairFinding {
    /// Flipped: one arrives as the other's negative.
    pub polarity: Answer<Polarity>,
    /// How much later the right line is, seconds.
    pub delay_s: Answer<f64>,
    /// Right over left above the corners, dB.
    pub level_db: Answer<f64>,
    /// Corner of a first-order high-pass in left and right that the other one hasn't, Hz; 0: none seen. Corners that both have
    /// alike fall out of a comparison.
    pub corners_hz: Answer<[f64; 2]>,
}

/// What the place of the recording does with the two lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reception {
    /// Adds them.
    Sum,
    /// Gets one minus the other: one line is flipped on its way into a sum, or a stereo jack is in a balanced mono input.
    Difference,
    /// One line arrives there, the other doesn't.
    One(Side),
    /// Keeps them apart, on two channels.
    Apart,
}

/// Which feed that is.
#[derive(Clone, Debug, PartialEq)]
pub struct Feeding {
    /// What is done with the lines.
    pub heard: Answer<Reception>,
    /// The built-in feeds it can be, the likeliest first; a recording can't tell them apart. Empty when none can be named.
    pub feeds: Vec<FeedId>,
    /// The line with the fault, where such a feed has one and the recording shows which.
    pub faulty: Option<Side>,
}

/// What else is to be said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Notice {
    /// The marker at the beginning isn't in the recording.
    StartMissing,
    /// The marker at the end isn't in the recording.
    EndMissing,
    /// No two sounds of one line are in it, so the clocks were taken as equal.
    ClockUnknown,
    /// Loud and soft parts were treated differently: an automatic gain, or clipping. The level was taken from the parts in which both
    /// lines sound at once.
    GainMoved,
    /// The same, and nothing to set them right by: the level isn't known.
    GainUnknown,
    /// Noise hides whether they were: the level was taken from the parts in which both lines sound at once, as far as those say it.
    GainUnheard,
    /// More than a tenth of the sound is harmonics: clipping, or an amplifier model in the preset.
    Distorted,
    /// The lines arrive by different ways: two loudspeakers, sound from elsewhere, or a reverb that is on.
    DifferentWays,
    /// The parts of the signal don't follow from each other, though they come in time: a chorus, or strong noise suppression.
    Changing,
    /// The same by so little that what is told still stands.
    Unsteady,
    /// The phone moved by so little, as in a hand, that what is told still stands.
    Swayed,
    /// The phone was moved while it recorded.
    Moved,
    /// Sounds come earlier or later than they should: something is missing or comes twice, or the phone was put elsewhere.
    Cut,
    /// The parts of the signal contradict each other.
    Contradiction,
    /// One mono source, and all three passes sound alike.
    NothingPulled,
    /// Both lines arrive so much alike that a player that mixes its channels to one would sound the same.
    PerhapsMono,
    /// The signal is far below the noise.
    Faint,
    /// The two channels of the recording have the lines the other way round.
    Swapped,
    /// Only the low end arrives.
    LowEndOnly,
    /// It runs at another rate than the file says, or was played at one.
    OtherRate,
    /// It's the signal for the other way to send it.
    OtherMode,
    /// Its sweeps or pauses have another length than was said.
    OtherLength,
    /// There's more than one signal in the recording: this is the last whole one.
    SeveralSignals,
}

/// A curve over time (ms) or frequency (Hz).
pub type Curve = Vec<(f64, f64)>;

/// What there is to draw.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pictures {
    /// Impulse responses of left and right: ms since the first arrival, full scale 1 is the larger one's peak.
    pub impulses: [Curve; 2],
    /// Responses of left and right, Hz and dB (0 dB: the loudest band), where they stand out of the noise.
    pub responses: [Curve; 2],
    /// Right over left, Hz and dB.
    pub difference_db: Curve,
    /// Phase of right over left without the delay and the polarity, Hz and degrees.
    pub difference_degrees: Curve,
}

/// Everything a recording says.
#[derive(Clone, Debug, PartialEq)]
pub struct Findings {
    /// Which signal it is a recording of.
    pub mode: Mode,
    /// Length of its main sweeps, seconds.
    pub sweep_s: f64,
    /// The rate it was recorded at over the rate that the file says; 1 unless [`Notice::OtherRate`].
    pub speed: f64,
    /// Length of the recording, seconds.
    pub seconds: f64,
    /// Its sample rate, Hz: the true one.
    pub rate_hz: f64,
    /// Its channels.
    pub channels: usize,
    /// When the signal begins in it, seconds; negative when the recording began later.
    pub start_s: f64,
    /// How much faster than the player's clock the recorder's runs, parts per million.
    pub drift_ppm: Option<f64>,
    /// Left and right.
    pub lines: [LineFinding; 2],
    /// Right against left; `None` unless both arrive.
    pub pair: Option<PairFinding>,
    /// Where they end.
    pub feeding: Feeding,
    /// Noise against a sweep, dB (negative: softer).
    pub noise_db: f64,
    /// Second and third harmonic against the sweep, dB; what noise there is counts in.
    pub distortion_db: f64,
    /// What else is to be said.
    pub notices: Vec<Notice>,
    /// What there is to draw.
    pub pictures: Pictures,
}

impl Findings {
    /// The least that polarity, delay, level and low end of both lines are to be trusted; `None` where one of them can't be told, or
    /// both lines don't arrive.
    #[must_use]
    pub fn pair_trust(&self) -> Option<Trust> {
        let pair = self.pair.as_ref()?;
        let each = [
            self.feeding.heard.trust(),
            pair.polarity.trust(),
            pair.delay_s.trust(),
            pair.level_db.trust(),
            pair.corners_hz.trust(),
        ];
        each.into_iter()
            .collect::<Option<Vec<Trust>>>()?
            .into_iter()
            .min()
    }

    /// How far [`Findings::own_feed`] is to be trusted: it is no better than the least of what it's made of.
    #[must_use]
    pub fn feed_trust(&self) -> Option<Trust> {
        match self.feeding.heard.known()? {
            Estimate {
                value: Reception::One(_),
                trust,
                ..
            } => Some(trust),
            _ => self.pair_trust(),
        }
    }

    /// What was found as a feed of the user's own, or `None` where too little is known. The louder line has 0 dB, the earlier
    /// one no delay, and of two that differ in polarity the right one is called flipped.
    #[must_use]
    pub fn own_feed(&self) -> Option<Feed> {
        let heard = self.feeding.heard.value()?;
        let ending = match heard {
            Reception::Sum | Reception::Difference => Ending::Sum(SumLaw::Average),
            Reception::One(side) => return Some(Feed::straight(Ending::One(side))),
            Reception::Apart => Ending::Stereo,
        };
        let pair = self.pair.as_ref()?;
        // All of it is told, or nothing is kept.
        let polarity = pair.polarity.value()?;
        let delay_s = pair.delay_s.value()?;
        let level_db = pair.level_db.value()?;
        let corners = pair.corners_hz.value()?;
        let line = |gain_db: f64, delay_s: f64, corner_hz: f64, polarity| {
            Line {
                polarity,
                gain_db: gain_db.min(0.0),
                delay_s: delay_s.max(0.0),
                high_pass_hz: [corner_hz, 0.0],
                unplugged: false,
            }
            .clamped()
        };
        Some(Feed {
            left: line(-level_db, -delay_s, corners[0], Polarity::Normal),
            right: line(level_db, delay_s, corners[1], polarity),
            ending,
            low_pass_hz: self
                .notices
                .contains(&Notice::LowEndOnly)
                .then_some(crate::routing::feed::SUB_CORNER_HZ),
        })
    }
}
