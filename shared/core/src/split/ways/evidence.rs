//! A sound's evidence of its dry and wet, independent of the stated kind of preset: plain data, from which a split
//! follows.

use super::bands::BANDS;
use super::increments::OnsetIncrements;
use super::measured::{Beginning, WetAlong};
use super::modes::{MOST_MODES, Mode, Modes};
use super::sums::Covariance;
use super::tail::Tail;
use super::{Ways, wet};
use crate::alignment::delay::ChannelDelay;
use crate::dsp::numbers::{to_index, to_single};
use crate::routing::line::Polarity;

/// A sound's evidence of its dry and wet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// How much later the right channel is, seconds; all other fields are of the lined-up channels.
    pub delay_s: f64,
    /// Length of the sound, seconds.
    pub seconds: f64,
    /// The directions of the onset increments.
    pub modes: Modes,
    /// Mean covariance per band.
    pub means: [Covariance; BANDS],
    /// The onset increments per band.
    pub begins: [Beginning; BANDS],
    /// The onset increments over all bands, weighted by their power.
    pub begins_all: Beginning,
    /// Bounds of the wet along each mode, and last along the middle.
    pub wets: [WetAlong; MOST_MODES + 1],
    /// Without a single direction: share of each band's power that is dry if the increments are all of the dry, at
    /// least and at most.
    pub dry_share: [[f64; 2]; BANDS],
    /// Power across the direction of the first mode over all power; at 0 dry and wet can't be separated.
    pub across: f64,
    /// The wet's direction in the pair, from a muted ending.
    pub tail: Option<Tail>,
}

impl Evidence {
    /// Reads the evidence of the sound so far. Does not allocate.
    #[must_use]
    pub fn of(ways: &Ways, rate_hz: f64) -> Self {
        let means = ways.means();
        let modes = ways.modes();
        let (begins, begins_all) = beginnings(ways.increments(), &means, modes.place);
        let along = |mode: &Mode| wet::along(ways, &means, mode.angle_rad);
        let centre = Mode {
            angle_rad: core::f64::consts::FRAC_PI_4,
            share: 0.0,
        };
        let mut wets = [WetAlong::UNKNOWN; MOST_MODES + 1];
        for (wet, mode) in wets.iter_mut().zip(&modes.modes[..modes.count]) {
            *wet = along(mode);
        }
        wets[MOST_MODES] = along(&centre);
        let first = modes.modes[0].angle_rad;
        let all: f64 = means.iter().map(Covariance::trace).sum();
        let across: f64 = means.iter().map(|mean| mean.along(first).across).sum();
        Self {
            delay_s: ways.delay_samples() / rate_hz,
            seconds: ways.moment_count() as f64 * ways.moment_s(),
            dry_share: wet::dry_share(ways, &means, &begins),
            begins,
            begins_all,
            wets,
            across: if all > 0.0 { across.max(0.0) / all } else { 0.0 },
            tail: Tail::find(ways, first),
            modes,
            means,
        }
    }
}

impl Evidence {
    /// The evidence as plain numbers for storing; [`Self::from_numbers`] reads them.
    #[must_use]
    pub fn numbers(&self) -> Vec<f32> {
        let mut numbers = Vec::new();
        let mut evidence = *self;
        let tail = evidence.tail.unwrap_or(Tail::NOTHING);
        for whole in [
            evidence.modes.count,
            evidence.modes.onsets.min(1 << 20),
            evidence.modes.place,
            usize::from(evidence.tail.is_some()),
        ] {
            numbers.push(whole as f32);
        }
        evidence.tail = Some(tail);
        evidence.each(&mut |number| numbers.push(to_single(*number)));
        numbers
    }

    /// Reads stored numbers; `None` where they are damaged or too few.
    #[must_use]
    pub fn from_numbers(numbers: &[f32]) -> Option<Self> {
        let (head, rest) = numbers.split_at_checked(4)?;
        let whole = |number: f32| {
            (0.0..=1_048_576.0)
                .contains(&number)
                .then_some(to_index(f64::from(number)))
        };
        let mut evidence = Self::NOTHING;
        evidence.tail = Some(Tail::NOTHING);
        let mut rest = rest.iter();
        let mut missing = false;
        evidence.each(&mut |number| match rest.next() {
            Some(&stored) => *number = f64::from(stored),
            None => missing = true,
        });
        evidence.modes.count = whole(head[0])?;
        evidence.modes.onsets = whole(head[1])?;
        evidence.modes.place = whole(head[2])?;
        if head[3] == 0.0 {
            evidence.tail = None;
        }
        (!missing && rest.next().is_none() && evidence.is_possible()).then_some(evidence)
    }

    /// The evidence of no sound.
    pub const NOTHING: Self = Self {
        delay_s: 0.0,
        seconds: 0.0,
        modes: Modes::NONE,
        means: [Covariance::NONE; BANDS],
        begins: [Beginning::NONE; BANDS],
        begins_all: Beginning::NONE,
        wets: [WetAlong::UNKNOWN; MOST_MODES + 1],
        dry_share: [[0.0, 1.0]; BANDS],
        across: 0.0,
        tail: None,
    };

    /// Visits every number in order; those of a tail only if there is one.
    fn each(&mut self, visit: &mut dyn FnMut(&mut f64)) {
        let modes = &mut self.modes;
        for number in [
            &mut self.delay_s,
            &mut self.seconds,
            &mut self.across,
            &mut modes.purity,
            &mut modes.leak,
        ] {
            visit(number);
        }
        for mode in &mut modes.modes {
            visit(&mut mode.angle_rad);
            visit(&mut mode.share);
        }
        for mean in &mut self.means {
            [&mut mean.ll, &mut mean.rr, &mut mean.re, &mut mean.im]
                .into_iter()
                .for_each(&mut *visit);
        }
        for begin in self.begins.iter_mut().chain([&mut self.begins_all]) {
            begin
                .stokes
                .iter_mut()
                .chain(&mut begin.error)
                .for_each(&mut *visit);
            visit(&mut begin.weight);
        }
        for wet in &mut self.wets {
            visit(&mut wet.angle_rad);
            wet.least.iter_mut().chain(&mut wet.most).for_each(&mut *visit);
        }
        self.dry_share.iter_mut().flatten().for_each(&mut *visit);
        if let Some(tail) = &mut self.tail {
            visit(&mut tail.seconds);
            tail.error.iter_mut().flatten().for_each(&mut *visit);
            for stokes in &mut tail.stokes {
                // An absent octave is stored as impossible Stokes parameters.
                let mut numbers = stokes.unwrap_or([9.0; 3]);
                numbers.iter_mut().for_each(&mut *visit);
                *stokes = (numbers[0] < 8.0).then_some(numbers);
            }
        }
    }

    /// Whether all of it is finite and in range: stored data may be damaged.
    #[must_use]
    pub fn is_possible(&self) -> bool {
        let finite = |values: &[f64]| values.iter().all(|value| value.is_finite() && value.abs() < 1e12);
        let begins = self.begins.iter().chain([&self.begins_all]);
        self.delay_s.abs() <= 1.0
            && finite(&[self.seconds, self.across, self.modes.purity, self.modes.leak])
            && self.modes.count <= MOST_MODES
            && self
                .modes
                .modes
                .iter()
                .all(|mode| finite(&[mode.angle_rad, mode.share]))
            && self
                .means
                .iter()
                .all(|mean| mean.ll >= 0.0 && mean.rr >= 0.0 && finite(&[mean.ll, mean.rr, mean.re, mean.im]))
            && begins
                .clone()
                .all(|begin| finite(&begin.stokes) && finite(&begin.error) && begin.weight.is_finite())
            && self
                .wets
                .iter()
                .all(|wet| wet.angle_rad.is_finite() && finite(&wet.least) && finite(&wet.most))
            && self
                .dry_share
                .iter()
                .all(|[low, high]| 0.0 <= *low && low <= high && *high <= 1.0)
            && self.tail.is_none_or(|tail| {
                tail.stokes.iter().flatten().all(|stokes| finite(stokes))
                    && tail.error.iter().all(|error| finite(error))
            })
    }

    /// The delay that was taken out, as a delay between the channels; `None` without one. Lined-up evidence is only
    /// chosen where the delay explains the pair.
    #[must_use]
    pub fn delay(&self) -> Option<ChannelDelay> {
        let first = self.modes.modes[0];
        let angle = if first.share > 0.0 {
            first.angle_rad
        } else {
            self.main_angle()
        };
        (self.delay_s != 0.0).then_some(ChannelDelay {
            delay_s: self.delay_s,
            polarity: if angle < 0.0 {
                Polarity::Flipped
            } else {
                Polarity::Normal
            },
            confidence: first.share,
        })
    }
}

/// Number of groups of onsets for the jackknife errors.
const FOLDS: usize = 8;

/// The onset increments per band and over all, with jackknife errors over groups of onsets.
fn beginnings(
    increments: &OnsetIncrements,
    means: &[Covariance; BANDS],
    place: usize,
) -> ([Beginning; BANDS], Beginning) {
    let mut folds = [[Covariance::default(); BANDS]; FOLDS];
    let mut count = 0;
    for (n, onset) in increments.onsets().enumerate() {
        count += 1;
        for (sum, new) in folds[n % FOLDS].iter_mut().zip(&onset.new[place]) {
            *sum = sum.plus(new);
        }
    }
    let used = count.min(FOLDS);
    let whole = |band: usize| {
        folds
            .iter()
            .fold(Covariance::default(), |sum, fold| sum.plus(&fold[band]))
    };
    let jackknife = |all: &Covariance, fold: &dyn Fn(usize) -> Covariance, power: f64| {
        let stokes = all.stokes();
        let mut squares = [0.0; 3];
        let mut left = 0.0;
        for n in 0..used {
            let without = all.minus(&fold(n));
            if without.trace() <= 0.0 {
                continue;
            }
            left += 1.0;
            for (square, (a, b)) in squares.iter_mut().zip(without.stokes().iter().zip(&stokes)) {
                *square += (a - b).powi(2);
            }
        }
        Beginning {
            stokes,
            // With fewer than two groups the error is unknown.
            error: if left < 2.0 {
                [1.0; 3]
            } else {
                squares.map(|square| (square * (left - 1.0) / left).sqrt().min(1.0))
            },
            weight: if power > 0.0 { all.trace() / power } else { 0.0 },
        }
    };
    let bands =
        core::array::from_fn(|band| jackknife(&whole(band), &|n| folds[n][band], means[band].trace()));
    let sum_of = |part: &dyn Fn(usize) -> Covariance| {
        (0..BANDS).fold(Covariance::default(), |sum, band| sum.plus(&part(band)))
    };
    let all = jackknife(
        &sum_of(&whole),
        &|n| sum_of(&|band| folds[n][band]),
        means.iter().map(Covariance::trace).sum(),
    );
    (bands, all)
}
