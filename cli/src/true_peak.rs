//! The true peak of a long sound without interpolating all of it.
//!
//! Between samples a sound can rise above them, but by no more than the interpolation filter's absolute sum. So a stretch
//! whose samples stay that far below the highest peak found so far can't hold a higher one, and is left out. The `ebur128`
//! crate interpolates the rest; the result is the one it would give for all of it.

use ebur128::{EbuR128, Mode};

/// As many samples before a stretch as the longest interpolation filter reaches back: 24 taps at twice the rate.
const REACH: usize = 24;

/// Stretches are this long, frames.
const STRETCH: usize = 256;

/// The largest sum of a phase's absolute coefficients. The filters are windowed sines over their argument, and no window
/// exceeds 1: half way between samples, with twelve taps to either side, `(2/π)·2·Σ 1/(2k+1)` is 2.88.
const RISE: f32 = 2.9;

/// Finds the highest true peak of `N` channels.
pub(crate) struct TruePeak<const N: usize> {
    meter: EbuR128,
    /// The last frames that were taken.
    before: [[f32; REACH]; N],
    /// The highest sample in them.
    before_peak: f32,
    /// They have been interpolated.
    heard: bool,
    /// The highest peak so far.
    highest: f32,
}

impl<const N: usize> TruePeak<N> {
    /// `None` for a rate that nothing can be measured at.
    pub(crate) fn new(rate: u32) -> Option<Self> {
        Some(Self {
            meter: EbuR128::new(N as u32, rate, Mode::TRUE_PEAK).ok()?,
            before: [[0.0; REACH]; N],
            before_peak: 0.0,
            heard: true,
            highest: 0.0,
        })
    }

    /// Takes frames.
    pub(crate) fn push(&mut self, channels: [&[f32]; N]) {
        let len = channels.iter().map(|channel| channel.len()).min().unwrap_or(0);
        for begin in (0..len).step_by(STRETCH) {
            let end = (begin + STRETCH).min(len);
            self.stretch(channels.map(|channel| &channel[begin..end]));
        }
    }

    fn stretch(&mut self, channels: [&[f32]; N]) {
        let peak = channels.iter().map(|channel| peak(channel)).fold(0.0, f32::max);
        if RISE * peak.max(self.before_peak) > self.highest {
            if !self.heard {
                // What lies between was too low to matter, so whatever the filter makes of the seam is too.
                let before: [&[f32]; N] = core::array::from_fn(|channel| &self.before[channel][..]);
                let _ = self.meter.add_frames_planar_f32(&before);
            }
            let _ = self.meter.add_frames_planar_f32(&channels);
            self.heard = true;
            self.highest = self.read() as f32;
        } else {
            self.heard = false;
        }
        self.remember(channels);
    }

    fn remember(&mut self, channels: [&[f32]; N]) {
        self.before_peak = 0.0;
        for (before, channel) in self.before.iter_mut().zip(channels) {
            let new = channel.len().min(REACH);
            before.copy_within(new.., 0);
            before[REACH - new..].copy_from_slice(&channel[channel.len() - new..]);
            self.before_peak = self.before_peak.max(peak(before));
        }
    }

    /// The highest peak, full scale 1.
    pub(crate) fn read(&self) -> f64 {
        (0..N as u32)
            .filter_map(|channel| self.meter.true_peak(channel).ok())
            .fold(0.0, f64::max)
    }
}

/// The largest magnitude. Compared in lanes, which is what lets the compiler use them.
fn peak(samples: &[f32]) -> f32 {
    let mut lanes = [0.0f32; 16];
    let (whole, rest) = samples.as_chunks::<16>();
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

    /// Bursts of noise and tones of very different levels, with steps and silence between.
    fn sound(seed: u64, len: usize) -> Vec<f32> {
        let mut rng = Rng::stream(seed, 7);
        let mut sound = Vec::with_capacity(len);
        while sound.len() < len {
            let stretch = 20 + (3000.0 * rng.uniform()) as usize;
            let level = 10f64.powf(-3.0 * rng.uniform());
            let alternating = rng.uniform() > 0.5;
            for n in 0..stretch {
                let sample = if alternating {
                    // The highest between samples of all: signs that follow the filter's.
                    if (n / 2) % 2 == 0 { 1.0 } else { -1.0 }
                } else {
                    2.0 * rng.uniform() - 1.0
                };
                sound.push((level * sample) as f32);
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
                let mut whole = EbuR128::new(2, rate, Mode::TRUE_PEAK).expect("a stereo meter");
                whole
                    .add_frames_planar_f32(&[&left, &right])
                    .expect("two channels");
                let expected = (0..2)
                    .map(|channel| whole.true_peak(channel).expect("it measures peaks"))
                    .fold(0.0, f64::max);
                let mut gated = TruePeak::<2>::new(rate).expect("a stereo meter");
                for (left, right) in left.chunks(1777).zip(right.chunks(1777)) {
                    gated.push([left, right]);
                }
                assert_eq!(gated.read(), expected, "{rate} Hz, seed {seed}");
            }
        }
    }
}
