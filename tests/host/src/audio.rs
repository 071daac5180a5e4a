//! The input of a run: the recording, block sizes, buffers, transport and parameter changes.

use crate::looped::Loop;
use crate::plugin::ParamId;
use std::path::Path;

/// Two channels of equal length with their sample rate.
#[derive(Clone, Debug, PartialEq)]
pub struct Stereo {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Left channel.
    pub left: Vec<f32>,
    /// Right channel.
    pub right: Vec<f32>,
}

impl Stereo {
    /// Pairs two channels. The longer one is cut to the length of the shorter one.
    #[must_use]
    pub fn new(rate_hz: f64, mut left: Vec<f32>, mut right: Vec<f32>) -> Self {
        let length = left.len().min(right.len());
        left.truncate(length);
        right.truncate(length);
        Self { rate_hz, left, right }
    }

    /// Number of samples in each channel.
    #[must_use]
    pub fn len_samples(&self) -> usize {
        self.left.len()
    }

    /// Length in seconds.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.len_samples() as f64 / self.rate_hz
    }

    /// Writes a 32-bit float WAV: to a temporary file beside `path` first, then renamed into place.
    ///
    /// # Errors
    /// A failure of the file system.
    pub fn write_wav(&self, path: &Path) -> Result<(), hound::Error> {
        let spec = hound::WavSpec {
            channels: 2,
            sample_rate: self.rate_hz.round() as u32,
            bits_per_sample: 32,
            sample_format: hound::SampleFormat::Float,
        };
        let partial = path.with_extension("wav.part");
        let mut writer = hound::WavWriter::create(&partial, spec)?;
        for (left, right) in self.left.iter().zip(&self.right) {
            writer.write_sample(*left)?;
            writer.write_sample(*right)?;
        }
        writer.finalize()?;
        std::fs::rename(&partial, path)?;
        Ok(())
    }
}

/// How a recording is cut into calls of the plugin's `process`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Blocks {
    /// Every block has this many samples, the last one the rest.
    Fixed(u32),
    /// Random sizes from 1 to `max`; the same seed gives the same blocks.
    Random {
        /// Seed of the generator.
        seed: u64,
        /// Largest block.
        max: u32,
    },
}

impl Blocks {
    /// The largest block size, which the plugin is activated with. At least 1.
    #[must_use]
    pub fn max_samples(self) -> u32 {
        match self {
            Self::Fixed(size) | Self::Random { max: size, .. } => size.max(1),
        }
    }

    /// An endless sequence of block sizes, each from 1 to [`Self::max_samples`].
    pub fn sizes(self) -> impl Iterator<Item = usize> {
        let max = self.max_samples();
        let mut state = match self {
            Self::Fixed(_) => None,
            Self::Random { seed, .. } => Some(seed),
        };
        std::iter::from_fn(move || {
            let Some(state) = state.as_mut() else {
                return Some(max as usize);
            };
            // SplitMix64 (Steele, Lea & Flood 2014): well mixed from any seed, zero included.
            *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
            let mut mixed = *state;
            mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            Some(1 + ((mixed ^ (mixed >> 31)) % u64::from(max)) as usize)
        })
    }
}

/// The buffers of the plugin's output.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Buffers {
    /// Separate output buffers, filled with a marker value before each block, which shows samples that the plugin does
    /// not write.
    #[default]
    Separate,
    /// Input and output are the same memory.
    InPlace,
}

/// The transport as the DAW reports it. The song position follows the samples played, at 120 beats per minute.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Transport {
    /// The song is running.
    pub playing: bool,
    /// A track is being recorded.
    pub recording: bool,
}

/// One parameter change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ParamEvent {
    /// Sample, counted from the first one played, at which the change is due.
    pub at_sample: usize,
    /// The parameter.
    pub param: ParamId,
    /// Its new value: 0 to 1 along the range of a continuous parameter, the step's number for a stepped one.
    pub value: f64,
}

impl ParamEvent {
    /// Sets a stepped parameter (string id, step number; a switch is 0 or 1) from the first sample on.
    #[must_use]
    pub fn step(param: &str, value: u32) -> Self {
        Self {
            at_sample: 0,
            param: ParamId::from_key(param),
            value: value.into(),
        }
    }
}

/// A message on the plugin's MIDI input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Midi {
    /// Sample, counted from the first one played, at which it arrives.
    pub at_sample: usize,
    /// Status and data; the second byte of data is 0 where the message has none.
    pub bytes: [u8; 3],
}

/// How a recording is played. `Play::default()` is real-time mode, blocks of 512, separate buffers, a transport that
/// plays, no parameter changes.
#[derive(Clone, Debug)]
pub struct Play {
    /// Block sizes.
    pub blocks: Blocks,
    /// Buffer layout.
    pub buffers: Buffers,
    /// Whether the plugin is told that it renders offline.
    pub offline: bool,
    /// The transport, or none (a host need not have one).
    pub transport: Option<Transport>,
    /// Parameter changes; any order.
    pub events: Vec<ParamEvent>,
    /// MIDI messages; any order.
    pub midi: Vec<Midi>,
    /// Whether blocks are also cut where a parameter changes, as many DAWs do. Otherwise a change in the middle of a
    /// block is passed with its offset, and the plugin decides when to apply it.
    pub cut_at_events: bool,
    /// The signal of the plugin's second input, if it has one: one or two channels beside the recording. Without any,
    /// and after their end, the host sends silence.
    pub side_chain: Vec<Vec<f32>>,
    /// Whether a system call of the plugin during processing ends the process with [`super::CAUGHT`]. One plugin at a
    /// time.
    pub no_system_calls: bool,
    /// Number of channels of the main port's buffers: 2, or fewer for a non-conforming host. Missing channels come out
    /// as silence.
    pub channels: usize,
    /// Real-time playing only: the output returns to the input, in place of the recording.
    pub looped: Option<Loop>,
}

impl Default for Play {
    fn default() -> Self {
        Self {
            blocks: Blocks::Fixed(512),
            buffers: Buffers::Separate,
            offline: false,
            transport: Some(Transport {
                playing: true,
                recording: false,
            }),
            events: Vec::new(),
            midi: Vec::new(),
            cut_at_events: false,
            side_chain: Vec::new(),
            no_system_calls: false,
            channels: 2,
            looped: None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fixed_blocks_stay_fixed_and_zero_becomes_one() {
        assert_eq!(
            Blocks::Fixed(64).sizes().take(3).collect::<Vec<_>>(),
            [64, 64, 64]
        );
        assert_eq!(Blocks::Fixed(0).sizes().next(), Some(1));
    }

    #[test]
    fn random_blocks_repeat_with_the_seed_and_cover_their_range() {
        let draw = |seed| {
            Blocks::Random { seed, max: 8 }
                .sizes()
                .take(400)
                .collect::<Vec<_>>()
        };
        assert_eq!(draw(1), draw(1));
        assert_ne!(draw(1), draw(2));
        for size in 1..=8 {
            assert!(draw(1).contains(&size), "no block of {size} in 400");
        }
        assert!(draw(1).iter().all(|size| (1..=8).contains(size)));
    }

    #[test]
    fn channels_of_unequal_length_are_cut_to_the_shorter() {
        let audio = Stereo::new(48_000.0, vec![0.0; 10], vec![0.0; 7]);
        assert_eq!((audio.left.len(), audio.right.len()), (7, 7));
    }
}
