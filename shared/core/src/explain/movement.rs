//! Movement between the channels that a sum loses: a tremolo, auto-pan or rotary whose channels go against each other.
//!
//! Playing moves the levels of both channels alike; an effect between them moves one against the other, at one rate. So
//! the rate is where the level difference varies most, and the loss is how much less the sum's level varies at that
//! rate than a channel's.

use core::f64::consts::TAU;

use crate::Complex;
use crate::dsp::db;
use crate::split::ways::{GROUPS, Moments, Ways};

/// Rates examined, Hz: slower ones are swells, faster ones are sound (and half the rate of the moments is 11.7 Hz).
const RATES_HZ: core::ops::Range<f64> = 2.0..11.0;
/// The step between rates, periods over the whole stretch kept.
const STEP: f64 = 0.5;
/// Least moments for a reading: 2 s.
const ENOUGH: usize = 47;
/// Most moments examined: the last 15 s.
const MOST: usize = 350;
/// Octaves count down to this level against their loudest moment, dB.
const DEPTH_DB: f64 = -40.0;
/// Least variation of the level between the channels that is an effect, dB rms. The sum of channels of which one is
/// flipped or late doesn't show the movement.
const LEAST_DB: f64 = 1.0;
/// Least share of the variation at these rates that must lie at one rate.
const ONE_RATE: f64 = 0.5;
/// The sum must vary by less than this share of a channel's variation.
const LOST: f64 = 0.5;

/// A movement between the channels.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Movement {
    /// Its rate, Hz.
    pub rate_hz: f64,
    /// Variation of one channel's level against the other's at that rate, dB rms.
    pub channel_db: f64,
    /// Variation of the sum's level at that rate, dB rms.
    pub sum_db: f64,
    /// Share of the variation between the channels that lies at that rate, 0 to 1.
    pub one_rate: f64,
}

impl Movement {
    /// The movement in the moments kept. `None` where they are too few or nothing moves at all. Does not allocate.
    #[must_use]
    pub fn of(ways: &Ways) -> Option<Self> {
        let count = ways.moment_count();
        let first = count.saturating_sub(MOST);
        let moments = count - first;
        if moments < ENOUGH {
            return None;
        }
        let weights = Weights::of(ways, first);
        let mut levels = [[0.0; 2]; MOST];
        for (level, n) in levels.iter_mut().zip(first..count) {
            *level = weights.levels(ways.moment(n));
        }
        let levels = &mut levels[..moments];
        remove_means(levels);
        let duration_s = moments as f64 * ways.moment_s();
        let at = |rate_hz: f64| spectrum_at(levels, rate_hz * ways.moment_s());
        let step_hz = STEP / duration_s;
        let (mut best, mut all) = ((0.0, 0.0, 0.0), 0.0);
        let mut rate_hz = RATES_HZ.start;
        while rate_hz < RATES_HZ.end {
            let [between, sum] = at(rate_hz);
            all += between;
            if between > best.1 {
                best = (rate_hz, between, sum);
            }
            rate_hz += step_hz;
        }
        let (rate_hz, between, sum) = best;
        // The power that a Hann window spreads over its main lobe, two periods to each side.
        let lobe: f64 = (-4..=4).map(|n| at(rate_hz + f64::from(n) * step_hz)[0]).sum();
        (all > 0.0).then(|| Self {
            rate_hz,
            channel_db: 0.5 * between.sqrt(),
            sum_db: sum.sqrt(),
            one_rate: (lobe / all).min(1.0),
        })
    }

    /// Whether an effect moves between the channels and the sum loses it.
    #[must_use]
    pub fn is_lost(&self) -> bool {
        self.channel_db >= LEAST_DB && self.one_rate >= ONE_RATE && self.sum_db < LOST * self.channel_db
    }
}

/// How the octaves are weighted.
struct Weights {
    /// By the root of their power.
    weights: [f64; GROUPS],
    /// Powers below this count as silent.
    floors: [f64; GROUPS],
}

impl Weights {
    fn of(ways: &Ways, first: usize) -> Self {
        let (mut sums, mut loudest) = ([0.0; GROUPS], [0.0f64; GROUPS]);
        for n in first..ways.moment_count() {
            for group in 0..GROUPS {
                let power = ways.moment(n).group(group).trace();
                sums[group] += power;
                loudest[group] = loudest[group].max(power);
            }
        }
        let all: f64 = sums.iter().map(|sum| sum.sqrt()).sum();
        Self {
            weights: sums.map(|sum| if all > 0.0 { sum.sqrt() / all } else { 0.0 }),
            floors: loudest.map(|loudest| (loudest * db::to_power(DEPTH_DB)).max(f64::MIN_POSITIVE)),
        }
    }

    /// The level of the left channel over the right one's, and the level of the sum, dB, over all octaves.
    fn levels(&self, moment: &Moments) -> [f64; 2] {
        let mut levels = [0.0; 2];
        for group in 0..GROUPS {
            let pair = moment.group(group);
            let floor = self.floors[group];
            let level = |power: f64| db::from_power(power.max(floor));
            levels[0] += self.weights[group] * (level(pair.ll) - level(pair.rr));
            levels[1] += self.weights[group] * level(0.5 * pair.trace() + pair.re);
        }
        levels
    }
}

fn remove_means(levels: &mut [[f64; 2]]) {
    let count = levels.len() as f64;
    for part in 0..2 {
        let mean = levels.iter().map(|level| level[part]).sum::<f64>() / count;
        levels.iter_mut().for_each(|level| level[part] -= mean);
    }
}

/// The mean squares of the sine at `rate` (periods per moment) in both levels, under a Hann window.
fn spectrum_at(levels: &[[f64; 2]], rate: f64) -> [f64; 2] {
    let count = levels.len() as f64;
    let step = Complex::from_polar(1.0, -TAU * rate);
    let window_step = Complex::from_polar(1.0, TAU / count);
    let (mut turn, mut window) = (
        Complex::new(1.0, 0.0),
        Complex::from_polar(1.0, TAU * 0.5 / count),
    );
    let mut sums = [Complex::new(0.0, 0.0); 2];
    for level in levels {
        let weighted = turn * (1.0 - window.re);
        sums[0] += weighted * level[0];
        sums[1] += weighted * level[1];
        turn *= step;
        window *= window_step;
    }
    // A sine of amplitude a gives a sum of a·count/2; its mean square is a²/2.
    sums.map(|sum| 2.0 * (sum / count).norm_sqr())
}
