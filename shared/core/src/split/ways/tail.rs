//! A muted ending: the strings are stopped, and what rings on is wet alone.
//!
//! It tells how the wet lies in the pair, which nothing else does. What gives it away is that the sound along the dry's direction
//! falls much faster than the sound across it, at once, that both die away from then on, and that nothing begins in it.

use super::Ways;
use super::bands::GROUPS;
use super::sums::{Covariance, Moments};

/// A tail lasts at least so many moments: 0.6 s.
const SHORTEST: usize = 14;
/// The first so many after a stop may still hold a string that is being stopped: 85 ms.
const STOPPING: usize = 2;
/// Along over across stays the same from the first third of a tail to the last, give or take this as a ratio of powers (3 dB): what still
/// changes is not wet alone.
const STEADY: f64 = 2.0;
/// It is heard as long as it is within this of the loudest, as a power: 55 dB.
const FAINTEST: f64 = 3.16e-6;
/// So many moments before and after a stop are compared, one in which the strings are being stopped left out.
const AROUND: usize = 2;
/// The sound falls by at least this there, as a power: 3 dB.
const FALL: f64 = 0.5;
/// And along the dry's direction by at least so much more than across, as a ratio of powers: 3 dB.
const MORE_FALL: f64 = 0.5;
/// Within a tail the power may rise by this from one moment to the next (beating partials, echoes): 6 dB.
const RISE: f64 = 4.0;

/// How the wet lies in the pair, per octave.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tail {
    /// Normalised Stokes parameters of the tail per octave; nothing where it was too faint.
    pub stokes: [Option<[f64; 3]>; GROUPS],
    /// One standard error of each.
    pub error: [[f64; 3]; GROUPS],
    /// How long all tails are together, seconds.
    pub seconds: f64,
}

/// Sums of an octave's moments, each scaled to equal power.
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    stokes: [f64; 3],
    squares: [f64; 3],
    count: f64,
}

impl Sum {
    fn add(&mut self, pair: &Covariance) {
        for (n, x) in pair.stokes().into_iter().enumerate() {
            self.stokes[n] += x;
            self.squares[n] += x * x;
        }
        self.count += 1.0;
    }
}

fn whole(moment: &Moments) -> Covariance {
    (0..GROUPS).fold(Covariance::default(), |sum, group| sum.plus(&moment.group(group)))
}

impl Tail {
    /// Nothing is known.
    pub(super) const NOTHING: Self = Self {
        stokes: [None; GROUPS],
        error: [[1.0; 3]; GROUPS],
        seconds: 0.0,
    };

    /// The tails in what is kept, if there are any.
    pub(super) fn find(ways: &Ways, angle_rad: f64) -> Option<Self> {
        let count = ways.moment_count();
        let loudest = ways
            .moments()
            .map(|moment| whole(moment).trace())
            .fold(0.0, f64::max);
        let mut octaves = [0.0f64; GROUPS];
        for moment in ways.moments() {
            for (group, loudest) in octaves.iter_mut().enumerate() {
                *loudest = loudest.max(moment.group(group).trace());
            }
        }
        let mut sums = [Sum::default(); GROUPS];
        let mut moments = 0;
        let mut stop = AROUND;
        while stop + 1 + AROUND < count {
            let begin = stop + 1 + STOPPING;
            let len = if is_stop(ways, stop, angle_rad) {
                length(ways, begin, loudest * FAINTEST)
            } else {
                0
            };
            if len < SHORTEST
                || !is_last(ways, begin + len, loudest * FAINTEST)
                || !is_steady(ways, begin, len, angle_rad)
            {
                stop += 1;
                continue;
            }
            for n in begin..begin + len {
                for group in 0..GROUPS {
                    let pair = ways.moment(n).group(group);
                    if pair.trace() > octaves[group] * FAINTEST {
                        sums[group].add(&pair);
                    }
                }
            }
            moments += len;
            stop = begin + len;
        }
        (moments > 0).then(|| Self::of(&sums, moments as f64 * ways.moment_s()))
    }

    fn of(sums: &[Sum; GROUPS], seconds: f64) -> Self {
        let mut tail = Self {
            stokes: [None; GROUPS],
            error: [[1.0; 3]; GROUPS],
            seconds,
        };
        for (group, sum) in sums.iter().enumerate() {
            if sum.count < SHORTEST as f64 {
                continue;
            }
            let mean = sum.stokes.map(|x| x / sum.count);
            tail.stokes[group] = Some(mean);
            for (error, (square, mean)) in tail.error[group].iter_mut().zip(sum.squares.iter().zip(mean)) {
                let variance = (square / sum.count - mean * mean).max(0.0);
                // Neighbouring moments overlap by half a frame and ring on: two count as one.
                *error = (2.0 * variance / sum.count).sqrt();
            }
        }
        tail
    }
}

/// Whether the strings are stopped at a moment.
fn is_stop(ways: &Ways, stop: usize, angle_rad: f64) -> bool {
    let sum = |from: usize| {
        (from..from + AROUND).fold(Covariance::default(), |sum, n| sum.plus(&whole(ways.moment(n))))
    };
    let (before, after) = (sum(stop - AROUND), sum(stop + 1));
    if after.trace() <= 0.0 || after.trace() > FALL * before.trace() {
        return false;
    }
    let (before, after) = (before.along(angle_rad), after.along(angle_rad));
    let (along, across) = (after.along.max(0.0) / before.along, after.across / before.across);
    before.across > 0.0 && along < MORE_FALL * across
}

/// Whether nothing comes after: it's an ending, not a rest.
fn is_last(ways: &Ways, end: usize, floor: f64) -> bool {
    (end..ways.moment_count()).all(|n| whole(ways.moment(n)).trace() <= floor)
}

/// Whether the sound lies in the pair in the same way at the beginning and at the end of a tail.
fn is_steady(ways: &Ways, begin: usize, len: usize, angle_rad: f64) -> bool {
    let part = |from: usize| {
        let mut sums = [0.0; 2];
        for n in from..from + len / 3 {
            let pair = whole(ways.moment(n));
            if pair.trace() > 0.0 {
                let seen = pair.along(angle_rad);
                sums[0] += seen.along.max(0.0) / pair.trace();
                sums[1] += seen.across.max(0.0) / pair.trace();
            }
        }
        sums[0] / sums[1]
    };
    let (first, last) = (part(begin), part(begin + len - len / 3));
    first <= STEADY * last && last <= STEADY * first
}

/// How many moments from there on die away.
fn length(ways: &Ways, from: usize, floor: f64) -> usize {
    let mut least = f64::INFINITY;
    (from..ways.moment_count())
        .map(|n| whole(ways.moment(n)).trace())
        .take_while(|&power| {
            let dies = power > floor && power <= RISE * least;
            least = least.min(power);
            dies
        })
        .count()
}
