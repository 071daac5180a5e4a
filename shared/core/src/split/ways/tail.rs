//! A muted ending: the strings are stopped, and only wet rings on.
//!
//! It shows the wet's direction in the pair, which nothing else does. It is recognised by a sudden fall of the sound
//! along the dry's direction that is much deeper than across it, a decay of both from then on, and no onset in it.

use super::Ways;
use super::bands::GROUPS;
use super::sums::{Covariance, Moments};

/// Least length of a tail, moments: 0.6 s.
const SHORTEST: usize = 14;
/// Moments after a stop that are left out because strings may still be ringing: 85 ms.
const STOPPING: usize = 2;
/// Largest change of along over across from the first third of a tail to the last, as a ratio of powers (3 dB): with
/// more it is not wet alone.
const STEADY: f64 = 2.0;
/// Lowest power of a tail against the loudest: 55 dB down.
const FAINTEST: f64 = 3.16e-6;
/// Moments compared before and after a stop, without the one in which the strings are being stopped.
const AROUND: usize = 2;
/// Largest power after a stop over that before: a fall of 3 dB.
const FALL: f64 = 0.5;
/// The same along the dry's direction against that across: 3 dB more fall.
const MORE_FALL: f64 = 0.5;
/// Largest rise of the power within a tail from one moment to the next (beating partials, echoes): 6 dB.
const RISE: f64 = 4.0;

/// The wet's direction in the pair, per octave.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tail {
    /// Normalised Stokes parameters of the tail per octave; `None` where it was too faint.
    pub stokes: [Option<[f64; 3]>; GROUPS],
    /// One standard error of each.
    pub error: [[f64; 3]; GROUPS],
    /// Total length of all tails, seconds.
    pub seconds: f64,
}

/// Sums over an octave's moments, each scaled to equal power.
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
    /// No tail.
    pub(super) const NOTHING: Self = Self {
        stokes: [None; GROUPS],
        error: [[1.0; 3]; GROUPS],
        seconds: 0.0,
    };

    /// Finds the tails in the moments kept; `None` if there are none.
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
                // Neighbouring moments are not independent (they overlap by half a frame, and sound rings on): two
                // count as one.
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

/// Whether no sound follows: it's an ending, not a rest.
fn is_last(ways: &Ways, end: usize, floor: f64) -> bool {
    (end..ways.moment_count()).all(|n| whole(ways.moment(n)).trace() <= floor)
}

/// Whether the sound has the same direction at the beginning and at the end of a tail.
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

/// Number of moments from there on that decay.
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
