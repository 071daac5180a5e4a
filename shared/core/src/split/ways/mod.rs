//! The dry's direction in the pair, from the onsets: short-time covariances of both channels, the increment at each
//! onset, and the course of the sound between them.
//!
//! In: runs of frames. Out: [`Evidence`] of dry and wet, and the [`Bounds`] that follow. A dry's direction shows in the
//! *increment* of the covariance over an onset: sound that rang before is in both frames and cancels. A line fitted
//! through all the sound, or the eigenvectors of summed increments, are ten times worse.

mod bands;
mod bounds;
mod evidence;
mod frames;
mod increments;
mod measured;
mod modes;
mod sums;
mod tail;
mod wet;

pub use bands::{BANDS, GROUPS, band_position};
pub use bounds::{BandDry, Bounds, Closed, Resolved, Way, WetWay};
pub use evidence::Evidence;
pub use increments::OnsetIncrements;
pub use measured::{Beginning, WetAlong};
pub use modes::{MOST_MODES, Mode, Modes};
pub use sums::{Along, Covariance, Moments};
pub use tail::Tail;

use crate::dsp::samples::Run;
use bands::BandEdges;
use frames::ShortFrames;
use sums::LongTerm;

/// How much of a stream counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Memory {
    /// Number of last onsets.
    pub onsets: usize,
    /// Number of last [`Moments`] of 43 ms.
    pub moments: usize,
    /// Time constant of the long-term sums, seconds; `None` weights everything equally.
    pub forget_s: Option<f64>,
}

impl Memory {
    /// Of a take: every frame counts alike; the last 256 onsets and six minutes.
    pub const TAKE: Self = Self {
        onsets: 256,
        moments: 8192,
        forget_s: None,
    };
    /// Of a phrase: every frame of the last half minute counts alike, in pieces ([`Ways::next_piece`]).
    pub const PHRASE: Self = Self {
        onsets: 256,
        moments: 1024,
        forget_s: None,
    };
    /// Of a live reading.
    pub const LIVE: Self = Self {
        onsets: 48,
        moments: 256,
        forget_s: Some(3.0),
    };
}

/// Follows a pair of channels, one of which may be delayed to line up with the other. Pushing doesn't allocate.
#[derive(Debug)]
pub struct Ways {
    frames: ShortFrames,
    increments: OnsetIncrements,
    sums: LongTerm,
}

impl Ways {
    /// Creates one for a sample rate, Hz.
    #[must_use]
    pub fn new(rate_hz: f64, memory: Memory) -> Self {
        let edges = BandEdges::new(rate_hz);
        let frames = ShortFrames::new(rate_hz, edges);
        let hop_s = frames.hop() as f64 / rate_hz;
        Self {
            increments: OnsetIncrements::new(&memory, hop_s),
            sums: LongTerm::new(&memory, hop_s),
            frames,
        }
    }

    /// Clears everything, and lines the channels up from now on: the right one is late by `delay_samples` (the left
    /// one, if negative). Clamped to 45 ms.
    pub fn restart(&mut self, delay_samples: f64) {
        self.frames.restart(delay_samples);
        self.increments.reset();
        self.sums.reset();
    }

    /// Clears everything and sets how much counts from now on, at most what was allocated.
    pub fn set_memory(&mut self, memory: &Memory) {
        let hop_s = self.sums.moment_s() / sums::PER_MOMENT as f64;
        self.increments.set_memory(memory, hop_s);
        self.sums.set_memory(memory, hop_s);
    }

    /// Ends a piece of a long sound; the last three pieces count, older ones are dropped.
    pub fn next_piece(&mut self) {
        self.increments.next_piece();
        self.sums.next_piece();
    }

    /// The delay that is taken out, samples; positive where the right channel is the later one.
    #[must_use]
    pub fn delay_samples(&self) -> f64 {
        self.frames.delay_samples()
    }

    /// Number of transforms made and their length, for benchmarks.
    #[must_use]
    pub fn transforms(&self) -> (u64, usize) {
        self.frames.transforms()
    }

    /// Takes frames.
    pub fn push(&mut self, run: &Run<'_>) {
        let (increments, sums) = (&mut self.increments, &mut self.sums);
        self.frames.push(run, |bands, believed| {
            sums.add(bands);
            increments.add(bands, believed);
        });
    }

    /// The onset increments.
    #[must_use]
    pub fn increments(&self) -> &OnsetIncrements {
        &self.increments
    }

    /// Mean covariance per band over the whole sound.
    #[must_use]
    pub fn means(&self) -> [Covariance; BANDS] {
        self.sums.means()
    }

    /// The covariances of octave groups in pieces of 43 ms, oldest first.
    pub fn moments(&self) -> impl Iterator<Item = &Moments> {
        (0..self.moment_count()).map(|n| self.sums.moment(n))
    }

    /// Number of moments kept.
    #[must_use]
    pub fn moment_count(&self) -> usize {
        self.sums.moment_count()
    }

    /// Moment number `n`, the oldest being 0.
    ///
    /// # Panics
    /// If `n` isn't below [`Self::moment_count`].
    #[must_use]
    pub fn moment(&self, n: usize) -> &Moments {
        self.sums.moment(n)
    }

    /// Length of a moment, seconds.
    #[must_use]
    pub fn moment_s(&self) -> f64 {
        self.sums.moment_s()
    }

    /// The directions of the onset increments.
    #[must_use]
    pub fn modes(&self) -> Modes {
        Modes::find(&self.increments, &self.means())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::samples::Cleaner;
    use crate::split::kind::PresetKind;
    use sumproof_signals::{Preset, PresetSpec, render};

    fn heard(preset: &Preset, delay_s: f64) -> Evidence {
        let full = preset.full();
        let mut ways = Ways::new(preset.rate_hz, Memory::TAKE);
        ways.restart(delay_s * preset.rate_hz);
        Cleaner::default().runs(&full.left, &full.right, |run| ways.push(run));
        Evidence::of(&ways, preset.rate_hz)
    }

    fn preset(kind: sumproof_signals::PresetKind, wet_db: f64) -> Preset {
        render(&PresetSpec {
            wet_db,
            ..PresetSpec::new(kind)
        })
    }

    /// The direction follows from how each preset is made; the dry's share of the power from its wet level.
    #[test]
    fn the_dry_has_the_direction_it_was_made_with() {
        use sumproof_signals::PresetKind as Made;
        for (made, degrees) in [
            (Made::EqualDry, 45.0),
            (Made::HalfCorrelatedReverb, 45.0),
            (Made::AntiPhaseReverb, 45.0),
            (Made::StereoChorus, 45.0),
            (Made::FlippedChannel, -45.0),
            (Made::DryOffset6Db, (10f64.powf(-0.3)).atan().to_degrees()),
            (Made::LateChannel12Ms, 45.0),
            (Made::LateChannel300Us, 45.0),
            (Made::MonoReverb, 45.0),
        ] {
            for wet_db in [-6.0, 0.0] {
                let preset = preset(made, wet_db);
                let found = heard(&preset, made.channel_delay_s());
                let resolved = found.resolve(PresetKind::NotSaid);
                let bounds = resolved.bounds;
                assert!(bounds.one_direction, "{made:?} {wet_db}: {:?}", found.modes);
                let off = bounds.ways[0].angle_rad.to_degrees() - degrees;
                assert!(off.abs() < 1.0, "{made:?} {wet_db}: {off}");
                let (dry, wet) = (preset.dry.power(), preset.wet.power());
                let share = dry / (dry + wet);
                let [least, most] = bounds.dry_share;
                // A mono wet has the dry's direction: all of it may be dry, and counts as dry.
                assert!(
                    made == Made::MonoReverb || (least - 0.03 <= share && share <= most + 0.03),
                    "{made:?} {wet_db}: {share} in {least} to {most}"
                );
            }
        }
    }

    #[test]
    fn two_takes_and_two_amplifiers_have_no_one_direction() {
        use sumproof_signals::PresetKind as Made;
        for made in [Made::DoubleTracked, Made::TwoAmplifiers] {
            let found = heard(&preset(made, -6.0), 0.0);
            assert!(!found.is_one_direction(), "{made:?}: {:?}", found.modes);
        }
    }

    /// Echoes on alternating sides make two of three onsets seem to lie off the middle; an uneven dry makes nearly all of them.
    #[test]
    fn a_direction_off_the_middle_needs_nearly_all_onsets_unless_one_dry_is_said() {
        let mut found = heard(&preset(sumproof_signals::PresetKind::DryOffset6Db, -12.0), 0.0);
        assert!(found.is_one_direction(), "{:?}", found.modes);
        let off_middle = found.modes.modes[0].angle_rad;
        found.modes.modes[0].share = 0.7;
        found.modes.count = 1;
        assert!(!found.is_one_direction());
        assert!(!found.resolve(PresetKind::NotSaid).bounds.one_direction);
        let said = found.resolve(PresetKind::Centre).bounds;
        assert!(said.one_direction && (said.ways[0].angle_rad - off_middle).abs() < 0.05);
        // In the middle the same share is enough.
        found.modes.modes[0].angle_rad = core::f64::consts::FRAC_PI_4;
        assert!(found.is_one_direction());
    }

    /// A few onsets that look inverted don't make a dry that is said to be in the middle an inverted one.
    #[test]
    fn what_is_said_to_be_in_the_middle_is_inverted_only_where_the_onsets_show_it() {
        let mut found = heard(&preset(sumproof_signals::PresetKind::DoubleTracked, -12.0), 0.0);
        let mut resolved = |inverted: f64, middle: f64| {
            let [first, second, ..] = &mut found.modes.modes;
            (first.angle_rad, first.share) = (-core::f64::consts::FRAC_PI_4, inverted);
            (second.angle_rad, second.share) = (core::f64::consts::FRAC_PI_4, middle);
            found.modes.count = 2;
            found.modes.leak = 0.05;
            found.resolve(PresetKind::Centre).bounds
        };
        let angle = |bounds: Bounds| bounds.one_direction.then_some(bounds.ways[0].angle_rad > 0.0);
        assert_eq!(angle(resolved(0.5, 0.1)), Some(false));
        assert_eq!(angle(resolved(0.2, 0.1)), None);
        assert_eq!(angle(resolved(0.2, 0.3)), Some(true));
        // An effect on the side alone, louder than the dry and without delay, begins with it and looks inverted, but
        // not purely.
        found.modes.modes[0].share = 0.7;
        found.modes.count = 1;
        (found.modes.leak, found.begins_all.stokes) = (0.2, [0.0, -0.6, 0.0]);
        let bounds = found.resolve(PresetKind::Centre).bounds;
        let middle = |way: &Way| (way.angle_rad - core::f64::consts::FRAC_PI_4).abs() < 0.01;
        assert!(!bounds.one_direction && bounds.ways[..bounds.count].iter().any(middle));
        found.begins_all.stokes[1] = -0.95;
        assert_eq!(angle(found.resolve(PresetKind::Centre).bounds), Some(false));
    }

    /// A wet that lies more across the dry's direction than along it leaves a dry all the same.
    #[test]
    fn a_dry_is_left_where_the_wet_lies_across() {
        let mut found = heard(&preset(sumproof_signals::PresetKind::EqualDry, -12.0), 0.0);
        for mean in &mut found.means {
            mean.re = -0.3 * 0.5 * (mean.ll + mean.rr);
        }
        found.tail = None;
        found.wets = [WetAlong::UNKNOWN; MOST_MODES + 1];
        let bounds = found.resolve(PresetKind::Centre).bounds;
        assert!(bounds.one_direction && bounds.likely_share > 0.05, "{bounds:?}");
    }

    /// Few onsets between the middle and a side may be those of an auto-pan.
    #[test]
    fn a_direction_off_the_middle_needs_some_onsets() {
        let mut found = heard(&preset(sumproof_signals::PresetKind::DryOffset6Db, -12.0), 0.0);
        found.modes.onsets = 4;
        assert!(!found.is_one_direction());
    }

    #[test]
    fn silence_shows_nothing() {
        let mut ways = Ways::new(44_100.0, Memory::LIVE);
        let silence = vec![0.0f64; 44_100];
        Cleaner::default().runs(&silence, &silence, |run| ways.push(run));
        let found = Evidence::of(&ways, 44_100.0);
        assert_eq!(found.modes.onsets, 0);
        assert!(!found.is_one_direction() && !found.is_moving());
        let resolved = found.resolve(PresetKind::NotSaid);
        assert!(resolved.bands.iter().all(|band| band.share.is_finite()));
    }
}
