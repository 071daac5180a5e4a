//! The true peak of a long sound, without interpolating all of it.
//!
//! The true peak between samples can exceed them, but by no more than the interpolation filter's absolute sum. So a
//! stretch whose samples stay that far below the highest peak found so far can't contain a higher one, and is skipped.
//! The `ebur128` crate interpolates the rest; the result is the one it would give for all of it.

use std::f64::consts::PI;

use ebur128::{EbuR128, Mode};
use sumproof_core::dsp::numbers::to_single;

/// Length of a stretch, frames: short, because only stretches near a peak have to be interpolated.
const STRETCH: usize = 64;

/// Number of taps of the longest interpolation filter's phase.
const LONGEST: usize = 24;

/// The crate's interpolation at a sample rate: its filter has 48 taps at any rate, a quarter of them for each of four
/// phases, or half of them for each of two from 96 kHz on.
#[derive(Clone, Copy)]
struct Interpolation {
    /// Taps of a phase: the number of earlier samples that affect a stretch.
    taps: usize,
    /// The largest sum of a phase's absolute coefficients, plus a thousandth for the filter's single precision.
    rise: f32,
}

impl Interpolation {
    fn at(rate: u32) -> Self {
        let taps = if rate < 96_000 { LONGEST / 2 } else { LONGEST };
        // The phase half-way between samples, with equally many taps on either side: `sinc(x)·cos²(πx/taps)` at x = ½,
        // 1½, … (the filter is a sinc under a Hann window). The other phases' sums are smaller.
        let coefficients = (0..taps / 2).map(|n| {
            let x = n as f64 + 0.5;
            (PI * x / taps as f64).cos().powi(2) / (PI * x)
        });
        Self {
            taps,
            rise: 1.001 * 2.0 * to_single(coefficients.sum::<f64>()),
        }
    }
}

/// Finds the highest true peak of several channels.
pub(crate) struct TruePeak {
    channels: Vec<Channel>,
    interpolation: Interpolation,
    /// The highest peak so far, full scale 1.
    highest: f64,
}

struct Channel {
    meter: EbuR128,
    /// The latest frames.
    before: [f32; LONGEST],
    /// Whether these have been interpolated.
    heard: bool,
}

impl TruePeak {
    /// A detector for a sample rate, Hz. `None` for a rate at which the crate can't measure.
    pub(crate) fn new(rate: u32, channels: usize) -> Option<Self> {
        let channel = || {
            Some(Channel {
                meter: EbuR128::new(1, rate, Mode::TRUE_PEAK).ok()?,
                before: [0.0; LONGEST],
                heard: true,
            })
        };
        Some(Self {
            channels: (0..channels).map(|_| channel()).collect::<Option<_>>()?,
            interpolation: Interpolation::at(rate),
            highest: 0.0,
        })
    }

    /// Takes frames of all channels.
    pub(crate) fn push(&mut self, channels: &[&[f32]]) {
        for (channel, samples) in self.channels.iter_mut().zip(channels) {
            // Most of a sound is far below its peak: the whole chunk is checked first, and only then every stretch.
            if !channel.may_exceed(samples, self.interpolation, self.highest) {
                channel.leave_out(samples);
                continue;
            }
            for stretch in samples.chunks(STRETCH) {
                if channel.may_exceed(stretch, self.interpolation, self.highest) {
                    let peak = channel.interpolate(stretch, self.interpolation);
                    self.highest = self.highest.max(peak);
                } else {
                    channel.leave_out(stretch);
                }
            }
        }
    }

    /// The highest peak of all channels, full scale 1.
    pub(crate) fn read(&self) -> f64 {
        self.highest
    }
}

impl Channel {
    /// Whether a peak in these samples may be higher than `highest`.
    fn may_exceed(&self, samples: &[f32], interpolation: Interpolation, highest: f64) -> bool {
        let before = &self.before[LONGEST - interpolation.taps..];
        f64::from(interpolation.rise * peak(before).max(peak(samples))) > highest
    }

    fn leave_out(&mut self, samples: &[f32]) {
        self.heard = false;
        self.remember(samples);
    }

    /// The channel's highest peak with these samples.
    fn interpolate(&mut self, samples: &[f32], interpolation: Interpolation) -> f64 {
        // The meter has one channel and gets one; nothing else can fail.
        if !self.heard {
            // The skipped samples were too low to matter, and so is the filter's output at the seam.
            let before = &self.before[LONGEST - interpolation.taps..];
            let _ = self.meter.add_frames_planar_f32(&[before]);
        }
        let _ = self.meter.add_frames_planar_f32(&[samples]);
        self.heard = true;
        self.remember(samples);
        self.meter.true_peak(0).unwrap_or(0.0)
    }

    fn remember(&mut self, samples: &[f32]) {
        let new = samples.len().min(LONGEST);
        self.before.copy_within(new.., 0);
        self.before[LONGEST - new..].copy_from_slice(&samples[samples.len() - new..]);
    }
}

/// The largest magnitude, compared in lanes so that the compiler can vectorise it.
fn peak(samples: &[f32]) -> f32 {
    let mut lanes = [0.0f32; 8];
    let (whole, rest) = samples.as_chunks::<8>();
    for chunk in whole {
        for (lane, sample) in lanes.iter_mut().zip(chunk) {
            *lane = if sample.abs() > *lane { sample.abs() } else { *lane };
        }
    }
    rest.iter()
        .map(|sample| sample.abs())
        .chain(lanes)
        .fold(0.0, f32::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use sumproof_signals::Rng;

    /// Samples of equal magnitude whose signs follow the filter's half-way phase: the worst case, no higher peak is
    /// possible.
    fn worst(len: usize) -> Vec<f32> {
        let sign = |distance: usize| if distance.is_multiple_of(2) { 1.0 } else { -1.0 };
        (0..len)
            .map(|n| {
                if n < len / 2 {
                    sign(len / 2 - 1 - n)
                } else {
                    sign(n - len / 2)
                }
            })
            .collect()
    }

    fn whole(rate: u32, channels: &[&[f32]]) -> f64 {
        let mut meter = EbuR128::new(channels.len() as u32, rate, Mode::TRUE_PEAK).expect("a meter");
        meter.add_frames_planar_f32(channels).expect("as many channels");
        (0..channels.len() as u32)
            .map(|channel| meter.true_peak(channel).expect("it measures peaks"))
            .fold(0.0, f64::max)
    }

    #[test]
    fn a_peak_rises_as_far_above_its_samples_as_is_taken_into_account() {
        for rate in [44_100, 48_000, 96_000, 176_400] {
            let rise = f64::from(Interpolation::at(rate).rise);
            let highest = whole(rate, &[&worst(200)]);
            assert!(
                highest <= rise && highest > 0.998 * rise,
                "{rate}: {highest} {rise}"
            );
        }
    }

    /// Bursts of noise and tones of very different levels, with steps and silence between.
    fn sound(seed: u64, len: usize) -> Vec<f32> {
        let mut rng = Rng::stream(seed, 7);
        let mut sound = Vec::with_capacity(len);
        while sound.len() < len {
            let stretch = 20 + (3000.0 * rng.uniform()) as usize;
            let level = 10f64.powf(-3.0 * rng.uniform());
            if rng.uniform() > 0.5 {
                sound.extend(worst(stretch).iter().map(|sample| level as f32 * sample));
            } else {
                sound.extend((0..stretch).map(|_| (level * (2.0 * rng.uniform() - 1.0)) as f32));
            }
        }
        sound.truncate(len);
        sound
    }

    #[test]
    fn what_is_left_out_could_not_have_been_the_peak() {
        for rate in [44_100, 48_000, 96_000, 192_000] {
            for seed in 0..20 {
                let (left, right) = (sound(seed, 60_000), sound(seed + 100, 60_000));
                let expected = whole(rate, &[&left, &right]);
                let mut gated = TruePeak::new(rate, 2).expect("a stereo meter");
                for (left, right) in left.chunks(1777).zip(right.chunks(1777)) {
                    gated.push(&[left, right]);
                }
                assert_eq!(gated.read(), expected, "{rate} Hz, seed {seed}");
            }
        }
    }
}
