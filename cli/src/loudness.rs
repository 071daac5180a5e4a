//! Integrated loudness and true peak of a file, in stereo and in the mono wedge.
//!
//! The gated loudness of ITU-R BS.1770 is the `ebur128` crate's, with its whole history kept: 80 bytes a second, where the
//! crate's histogram would round every block to a tenth of a unit. The mono wedge is measured as one channel that counts
//! twice, for it is played by both loudspeakers.

use ebur128::{Channel, EbuR128, Mode};
use sumproof_core::audition::{AuditionSettings, Auditioner};
use sumproof_core::board::Rig;
use sumproof_core::db;
use sumproof_core::feed::{Feed, FeedId, Lines, Side};
use sumproof_report::Loudness;

use crate::true_peak::TruePeak;

/// Measures one sound, chunk by chunk.
pub struct LoudnessMeter {
    stereo: EbuR128,
    wedge: EbuR128,
    stereo_peak: TruePeak<2>,
    wedge_peak: TruePeak<1>,
    path: Path,
    sum: Vec<f32>,
}

/// How the mono wedge comes about.
enum Path {
    /// Straight lines: a factor on the sum of both channels.
    Factor(f32),
    /// Anything else, as it is auditioned; with room for a copy of both channels.
    Lines(Box<Auditioner>, [Vec<f32>; 2]),
}

impl LoudnessMeter {
    /// For a sound of `rate_hz` through the lines of a rig. `None` for a rate that is no positive whole number.
    #[must_use]
    pub fn new(rate_hz: f64, rig: &Rig) -> Option<Self> {
        let rate = rate_hz as u32;
        if rate == 0 || f64::from(rate) != rate_hz {
            return None;
        }
        let mut wedge = EbuR128::new(1, rate, Mode::I).ok()?;
        wedge.set_channel(0, Channel::DualMono).ok()?;
        Some(Self {
            stereo: EbuR128::new(2, rate, Mode::I).ok()?,
            wedge,
            stereo_peak: TruePeak::new(rate)?,
            wedge_peak: TruePeak::new(rate)?,
            path: if rig.lines == Lines::default() {
                Path::Factor(rig.law.factor() as f32)
            } else {
                Path::through(rig.feed(FeedId::MonoWedge, Side::Left), rate_hz)
            },
            sum: Vec::new(),
        })
    }

    /// Takes frames, as many of both channels. They must be finite.
    pub fn push(&mut self, left: &[f32], right: &[f32]) {
        self.sum.clear();
        match &mut self.path {
            Path::Factor(factor) => {
                self.sum
                    .extend(left.iter().zip(right).map(|(l, r)| *factor * (l + r)));
            }
            Path::Lines(auditioner, [l, r]) => {
                l.clear();
                l.extend_from_slice(left);
                r.clear();
                r.extend_from_slice(right);
                auditioner.process(l, r);
                self.sum.extend_from_slice(l);
            }
        }
        // Both meters have as many channels as they are given, which is all that could fail.
        let _ = self.stereo.add_frames_planar_f32(&[left, right]);
        let _ = self.wedge.add_frames_planar_f32(&[&self.sum]);
        self.stereo_peak.push([left, right]);
        self.wedge_peak.push([&self.sum]);
    }

    /// What was measured.
    #[must_use]
    pub fn read(&self) -> Loudness {
        let lufs = |meter: &EbuR128| meter.loudness_global().unwrap_or(f64::NEG_INFINITY);
        Loudness {
            stereo_lufs: lufs(&self.stereo),
            wedge_lufs: lufs(&self.wedge),
            stereo_peak_dbtp: db::from_amplitude(self.stereo_peak.read()),
            wedge_peak_dbtp: db::from_amplitude(self.wedge_peak.read()),
        }
    }
}

impl Path {
    fn through(feed: Feed, rate_hz: f64) -> Self {
        let mut auditioner = Auditioner::new(rate_hz);
        auditioner.set(&AuditionSettings {
            feed: Some(feed),
            match_db: None,
        });
        // It fades in over what was heard before: let that be silence.
        let len = (0.2 * rate_hz) as usize;
        let (mut left, mut right) = (vec![0.0; len], vec![0.0; len]);
        auditioner.process(&mut left, &mut right);
        Self::Lines(Box::new(auditioner), [Vec::new(), Vec::new()])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sumproof_core::line::{Line, Polarity};

    fn measure(rig: &Rig, left: &[f32], right: &[f32]) -> Loudness {
        let mut meter = LoudnessMeter::new(48_000.0, rig).expect("48 kHz is a rate");
        for (left, right) in left.chunks(1111).zip(right.chunks(1111)) {
            meter.push(left, right);
        }
        meter.read()
    }

    fn tone(amplitude: f64) -> Vec<f32> {
        (0..480_000)
            .map(|n| (amplitude * (core::f64::consts::TAU * n as f64 / 48.0).sin()) as f32)
            .collect()
    }

    #[test]
    fn the_wedge_counts_as_two_loudspeakers_and_hears_a_flip() {
        // 1 kHz at −23 dBFS in both channels: the wedge reads the same in phase and nothing inverted (EBU Tech 3341 case 1;
        // ITU-R BS.1770 sees no polarity, a sum does).
        let left = tone(10f64.powf(-23.0 / 20.0));
        let inverted: Vec<f32> = left.iter().map(|sample| -sample).collect();
        let alike = measure(&Rig::default(), &left, &left);
        assert!((alike.stereo_lufs + 23.0).abs() < 0.05, "{alike:?}");
        assert!((alike.wedge_lufs - alike.stereo_lufs).abs() < 1e-6, "{alike:?}");
        assert!((alike.wedge_peak_dbtp - alike.stereo_peak_dbtp).abs() < 1e-4);
        let opposite = measure(&Rig::default(), &left, &inverted);
        assert_eq!(opposite.wedge_lufs, f64::NEG_INFINITY);
        assert!((opposite.stereo_lufs - alike.stereo_lufs).abs() < 1e-9);
        // The same through a rig whose right line is flipped.
        let flip = Line {
            polarity: Polarity::Flipped,
            ..Line::STRAIGHT
        };
        let rig = Rig {
            lines: Lines {
                left: Line::STRAIGHT,
                right: flip,
            },
            ..Rig::default()
        };
        let turned_back = measure(&rig, &left, &inverted);
        assert!(
            (turned_back.wedge_lufs - alike.wedge_lufs).abs() < 0.01,
            "{turned_back:?}"
        );
    }
}
