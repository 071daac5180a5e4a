//! The presets.

use crate::delay::delayed;
use crate::effects::{Chorus, PingPong, Room};
use crate::guitar::{Amplifier, Player, amplifier_of_channel, riff};
use crate::numbers::to_index;
use crate::{Rng, Stereo, amplitude, mean_power, power_db, tones};

/// What a preset has in its two channels.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PresetKind {
    /// Equal dry, reverb without correlation: what most presets are.
    EqualDry,
    /// Equal dry, a reverb whose channels correlate by one half.
    HalfCorrelatedReverb,
    /// Equal dry, a reverb widened until its channels oppose each other. A trap: with enough of it (from about 1.5 dB
    /// above the dry) the whole looks like a flipped dry, though nothing is flipped.
    AntiPhaseReverb,
    /// Equal dry, ping-pong echoes.
    PingPong,
    /// Equal dry, a modulated delay in each channel, in opposite directions.
    StereoChorus,
    /// `EqualDry` with the right channel, dry and wet, 0.3 ms late.
    LateChannel300Us,
    /// `EqualDry` with the right channel, dry and wet, 12 ms late.
    LateChannel12Ms,
    /// A different amplifier and cabinet in each channel, the right one 0.4 ms farther away, in one room. The two share
    /// their drive and differ in linear ways, so each channel's dry is a fixed filter of the reference.
    TwoAmplifiers,
    /// `EqualDry` with the dry 6 dB louder in the left channel.
    DryOffset6Db,
    /// `EqualDry` with the right channel, dry and wet, flipped.
    FlippedChannel,
    /// Two performances of one part, left and right, in one room.
    DoubleTracked,
    /// Equal dry, the same reverb in both channels.
    MonoReverb,
    /// Equal dry and nothing else; `wet_db` is ignored.
    DryOnly,
    /// The reverb of `EqualDry` and nothing else; `wet_db` is ignored.
    WetOnly,
}

impl PresetKind {
    /// Every kind, in the order of this enum.
    pub const ALL: [Self; 14] = [
        Self::EqualDry,
        Self::HalfCorrelatedReverb,
        Self::AntiPhaseReverb,
        Self::PingPong,
        Self::StereoChorus,
        Self::LateChannel300Us,
        Self::LateChannel12Ms,
        Self::TwoAmplifiers,
        Self::DryOffset6Db,
        Self::FlippedChannel,
        Self::DoubleTracked,
        Self::MonoReverb,
        Self::DryOnly,
        Self::WetOnly,
    ];

    /// A stable name for files and tables.
    pub fn id(self) -> &'static str {
        match self {
            Self::EqualDry => "equal-dry",
            Self::HalfCorrelatedReverb => "half-correlated-reverb",
            Self::AntiPhaseReverb => "anti-phase-reverb",
            Self::PingPong => "ping-pong",
            Self::StereoChorus => "stereo-chorus",
            Self::LateChannel300Us => "late-channel-300-us",
            Self::LateChannel12Ms => "late-channel-12-ms",
            Self::TwoAmplifiers => "two-amplifiers",
            Self::DryOffset6Db => "dry-offset-6-db",
            Self::FlippedChannel => "flipped-channel",
            Self::DoubleTracked => "double-tracked",
            Self::MonoReverb => "mono-reverb",
            Self::DryOnly => "dry-only",
            Self::WetOnly => "wet-only",
        }
    }

    /// A description in one sentence.
    pub fn description(self) -> &'static str {
        match self {
            Self::EqualDry => "Equal dry in both channels with a wide, uncorrelated reverb.",
            Self::HalfCorrelatedReverb => "Equal dry with a reverb that is half alike in both channels.",
            Self::AntiPhaseReverb => {
                "Equal dry with a reverb so wide that its channels work against each other."
            }
            Self::PingPong => "Equal dry with echoes that jump from side to side.",
            Self::StereoChorus => "Equal dry with a chorus that moves in opposite directions left and right.",
            Self::LateChannel300Us => "The whole right channel arrives 0.3 ms late.",
            Self::LateChannel12Ms => "The whole right channel arrives 12 ms late.",
            Self::TwoAmplifiers => "A different amplifier and cabinet in each channel, 0.4 ms apart.",
            Self::DryOffset6Db => "The dry is 6 dB louder in the left channel.",
            Self::FlippedChannel => "The whole right channel has its polarity flipped.",
            Self::DoubleTracked => "Two performances of the same part, one in each channel.",
            Self::MonoReverb => "Equal dry with the same reverb in both channels.",
            Self::DryOnly => "Equal dry in both channels and no effect at all.",
            Self::WetOnly => "A wide, uncorrelated reverb and no dry at all.",
        }
    }

    /// The range of the wet's correlation over the whole signal. Both ends are equal where it is set exactly (to
    /// rounding); a range where it follows from the effect; `None` without wet.
    pub fn wet_correlation_range(self) -> Option<(f64, f64)> {
        match self {
            Self::HalfCorrelatedReverb => Some((0.5, 0.5)),
            Self::AntiPhaseReverb => Some((-0.7, -0.7)),
            Self::PingPong | Self::LateChannel300Us | Self::LateChannel12Ms => Some((-0.4, 0.4)),
            Self::StereoChorus => Some((-0.4, 0.5)),
            Self::MonoReverb => Some((1.0, 1.0)),
            Self::DryOnly => None,
            Self::EqualDry
            | Self::TwoAmplifiers
            | Self::DryOffset6Db
            | Self::FlippedChannel
            | Self::DoubleTracked
            | Self::WetOnly => Some((0.0, 0.0)),
        }
    }

    /// Whether dry and wet are fixed linear filters of the reference (of the stereo one, if there is one).
    pub fn is_time_invariant(self) -> bool {
        self != Self::StereoChorus
    }

    /// Earliest wet in either channel after the reference, seconds. 25 ms, except for the chorus, whose wet follows
    /// within milliseconds.
    pub fn wet_begins_s(self) -> f64 {
        if self == Self::StereoChorus { 0.003 } else { 0.025 }
    }

    /// Delay of the right channel's dry, seconds.
    pub fn channel_delay_s(self) -> f64 {
        match self {
            Self::LateChannel300Us => 0.000_3,
            Self::LateChannel12Ms => 0.012,
            Self::TwoAmplifiers => 0.000_4,
            _ => 0.0,
        }
    }

    fn has_dry(self) -> bool {
        self != Self::WetOnly
    }

    fn has_wet(self) -> bool {
        self != Self::DryOnly
    }
}

/// The source of a preset.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Source {
    /// A riff on plucked strings through drive and a cabinet.
    Guitar,
    /// Stationary white noise.
    WhiteNoise,
    /// Stationary pink noise.
    PinkNoise,
}

/// Everything that decides what a preset sounds like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PresetSpec {
    /// The kind of preset.
    pub kind: PresetKind,
    /// The source.
    pub source: Source,
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Length, seconds.
    pub seconds: f64,
    /// Power of the wet over that of the dry, in stereo (both channels summed) and over the whole length, dB.
    pub wet_db: f64,
    /// Seed of riff, amplifier and room.
    pub seed: u64,
}

impl PresetSpec {
    /// 8 s of guitar at 48 kHz, wet 6 dB below dry, seed 1.
    pub fn new(kind: PresetKind) -> Self {
        Self {
            kind,
            source: Source::Guitar,
            rate_hz: 48_000.0,
            seconds: 8.0,
            wet_db: -6.0,
            seed: 1,
        }
    }
}

/// A rendered preset: `dry + wet` is its sound.
#[derive(Debug, Clone, PartialEq)]
pub struct Preset {
    /// For tables and window titles.
    pub name: String,
    /// The kind of preset.
    pub kind: PresetKind,
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// The direct sound in both channels.
    pub dry: Stereo,
    /// The effects in both channels.
    pub wet: Stereo,
    /// The dry sound before it was placed in the channels: after the amplifier, before time effects and channel faults;
    /// the side-chain's signal. Where the dry is equal, each of its channels is this, bit for bit. For two performances
    /// it is their average.
    pub reference: Vec<f64>,
    /// A stereo side-chain's signal, where it differs from `reference` in both channels: both performances.
    pub stereo_reference: Option<Stereo>,
}

impl Preset {
    /// Dry and wet together.
    pub fn full(&self) -> Stereo {
        self.dry.plus(&self.wet)
    }

    /// Power of the wet over that of the dry in stereo, dB; ±∞ if one is missing.
    pub fn true_wet_dry_db(&self) -> f64 {
        power_db(self.wet.power() / self.dry.power())
    }

    /// Length in frames.
    pub fn len(&self) -> usize {
        self.reference.len()
    }

    /// Whether there is no frame at all.
    pub fn is_empty(&self) -> bool {
        self.reference.is_empty()
    }

    /// Multiplies everything by the gain that makes the whole peak at `peak_dbfs`.
    pub(crate) fn normalised(mut self, peak_dbfs: f64) -> Self {
        let gain = amplitude(peak_dbfs) / self.full().peak();
        self.dry.scale(gain);
        self.wet.scale(gain);
        self.reference.iter_mut().for_each(|x| *x *= gain);
        if let Some(pair) = &mut self.stereo_reference {
            pair.scale(gain);
        }
        self
    }
}

/// Peak of every rendered preset, dBFS.
pub(crate) const PEAK_DBFS: f64 = -6.0;

/// Parts of a seed; see [`Rng::stream`].
mod part {
    pub const RIFF: u64 = 1;
    pub const PLAYER: u64 = 2;
    pub const SECOND_PLAYER: u64 = 3;
    pub const AMPLIFIER: u64 = 4;
    pub const EFFECT: u64 = 5;
}

/// Renders a preset; one gain on everything makes the whole peak at −6 dBFS.
///
/// # Panics
/// If the rate is outside 8 to 192 kHz, the length outside 0.5 s to 10 min, or `wet_db` not finite or beyond ±100.
pub fn render(spec: &PresetSpec) -> Preset {
    let PresetSpec { kind, rate_hz, .. } = *spec;
    assert!(
        (8000.0..=192_000.0).contains(&rate_hz),
        "the rate must be 8000 to 192000 Hz, not {rate_hz}"
    );
    assert!(
        (0.5..=600.0).contains(&spec.seconds),
        "the length must be 0.5 to 600 s, not {}",
        spec.seconds
    );
    assert!(
        spec.wet_db.abs() <= 100.0,
        "wet_db must be -100 to 100, not {}",
        spec.wet_db
    );

    let (reference, stereo_reference) = play(spec);
    let mut dry = place(kind, &reference, stereo_reference.as_ref(), rate_hz);
    let mut wet = effect(spec, &reference);
    if let PresetKind::LateChannel300Us | PresetKind::LateChannel12Ms = kind {
        for channel in [&mut dry.right, &mut wet.right] {
            let len = channel.len();
            *channel = delayed(channel, kind.channel_delay_s() * rate_hz);
            channel.truncate(len);
        }
    }
    if kind == PresetKind::FlippedChannel {
        dry.scale_channels(1.0, -1.0);
        wet.scale_channels(1.0, -1.0);
    }
    wet.scale(amplitude(spec.wet_db) * (dry.power() / wet.power().max(f64::MIN_POSITIVE)).sqrt());
    if !kind.has_dry() {
        dry = Stereo::silence(dry.len());
    }
    Preset {
        name: name(spec),
        kind,
        rate_hz,
        dry,
        wet,
        reference,
        stereo_reference,
    }
    .normalised(PEAK_DBFS)
}

fn name(spec: &PresetSpec) -> String {
    let id = spec.kind.id();
    if spec.kind.has_dry() && spec.kind.has_wet() {
        format!("{id}, wet {:+} dB, seed {}", spec.wet_db, spec.seed)
    } else {
        format!("{id}, seed {}", spec.seed)
    }
}

/// The mono source, and both performances if there are two.
fn play(spec: &PresetSpec) -> (Vec<f64>, Option<Stereo>) {
    let len = to_index((spec.seconds * spec.rate_hz).round());
    let track = |player: u64| match spec.source {
        Source::WhiteNoise => tones::white_noise(len, 0.1, spec.seed.rotate_left(8) ^ player),
        Source::PinkNoise => tones::pink_noise(len, spec.rate_hz, 0.1, spec.seed.rotate_left(8) ^ player),
        Source::Guitar => {
            // The last chord rings out at the end: over a fifth of the length, at most 1.5 s.
            let until_s = spec.seconds - (0.2 * spec.seconds).min(1.5);
            let notes = riff(&mut Rng::stream(spec.seed, part::RIFF), until_s);
            let strings = Player::new(Rng::stream(spec.seed, player)).play(&notes, spec.rate_hz, len);
            let amplifier = Amplifier::drawn(&mut Rng::stream(spec.seed, part::AMPLIFIER));
            let mut sound = amplifier.run(&strings, spec.rate_hz);
            // Both performances must be equally loud.
            let gain = 0.1 / mean_power(&sound).sqrt();
            sound.iter_mut().for_each(|x| *x *= gain);
            sound
        }
    };
    let first = track(part::PLAYER);
    if spec.kind != PresetKind::DoubleTracked {
        return (first, None);
    }
    let both = Stereo::new(first, track(part::SECOND_PLAYER));
    (both.mid(), Some(both))
}

/// The dry in both channels, without channel faults.
fn place(kind: PresetKind, reference: &[f64], performances: Option<&Stereo>, rate_hz: f64) -> Stereo {
    if let Some(both) = performances {
        return both.clone();
    }
    match kind {
        PresetKind::TwoAmplifiers => {
            let channel = |which| amplifier_of_channel(which, reference, rate_hz, kind.channel_delay_s());
            let mut pair = Stereo::new(channel(0), channel(1));
            let balance = (mean_power(&pair.left) / mean_power(&pair.right)).sqrt();
            pair.scale_channels(1.0, balance);
            pair
        }
        PresetKind::DryOffset6Db => {
            let mut pair = Stereo::dual_mono(reference);
            pair.scale_channels(1.0, amplitude(-6.0));
            pair
        }
        _ => Stereo::dual_mono(reference),
    }
}

/// The wet before its level is set, without channel faults.
fn effect(spec: &PresetSpec, reference: &[f64]) -> Stereo {
    let mut rng = Rng::stream(spec.seed, part::EFFECT);
    match spec.kind {
        PresetKind::DryOnly => Stereo::silence(reference.len()),
        PresetKind::PingPong => PingPong::drawn(&mut rng).run(reference, spec.rate_hz),
        PresetKind::StereoChorus => Chorus::drawn(&mut rng).run(reference, spec.rate_hz),
        PresetKind::MonoReverb => {
            let room = Room::drawn(&mut rng);
            Stereo::dual_mono(&room.mono(&mut rng, reference, spec.rate_hz))
        }
        kind => {
            let correlation = match kind {
                PresetKind::HalfCorrelatedReverb => 0.5,
                PresetKind::AntiPhaseReverb => -0.7,
                _ => 0.0,
            };
            Room::drawn(&mut rng).stereo(&mut rng, reference, spec.rate_hz, correlation)
        }
    }
}
