//! What is played when.

use core::f64::consts::{PI, TAU};

use crate::dsp::db;

/// Ranges of what can be set.
pub mod limits {
    /// Ends of the sweep's band, Hz.
    pub const BAND_HZ: core::ops::RangeInclusive<f64> = 10.0..=22_000.0;
    /// The least the band must span, octaves.
    pub const OCTAVES: f64 = 3.0;
    /// Length of each of the main sweeps, seconds.
    pub const SWEEP_S: core::ops::RangeInclusive<f64> = 1.0..=10.0;
    /// Level, dBFS.
    pub const LEVEL_DBFS: core::ops::RangeInclusive<f64> = -60.0..=-1.0;
    /// Pause to unplug a line, seconds.
    pub const PAUSE_S: core::ops::RangeInclusive<f64> = 2.0..=60.0;
}

/// How the signal reaches the lines.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Mode {
    /// Left and right of the file go to the left and the right line.
    Stereo,
    /// One signal reaches both lines alike; it comes three times, and in the pauses lines are unplugged by hand: first both
    /// lines, then the left one alone, then the right one alone.
    Mono {
        /// Time to change the plugs, seconds.
        pause_s: f64,
    },
}

/// What can be set. The reader must be given the same, but for the level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SignalSettings {
    /// How the signal reaches the lines.
    pub mode: Mode,
    /// Where the sweeps begin, Hz.
    pub low_hz: f64,
    /// Where they end, Hz.
    pub high_hz: f64,
    /// Length of each main sweep, seconds.
    pub sweep_s: f64,
    /// Peak level of a sweep in one line, dBFS.
    pub level_dbfs: f64,
}

impl Default for SignalSettings {
    fn default() -> Self {
        Self {
            mode: Mode::Stereo,
            low_hz: 20.0,
            high_hz: 20_000.0,
            sweep_s: 2.0,
            level_dbfs: -20.0,
        }
    }
}

impl SignalSettings {
    /// The same for one mono source, with eight seconds for each change of plugs.
    #[must_use]
    pub fn mono() -> Self {
        Self {
            mode: Mode::Mono { pause_s: 8.0 },
            ..Self::default()
        }
    }
}

/// A setting that makes no signal. Its text is one line.
#[derive(Clone, Debug, PartialEq)]
pub enum PlanError {
    /// A setting out of its range, or not a number.
    Range {
        /// Its name.
        what: &'static str,
        /// What was asked for.
        value: f64,
        /// From.
        low: f64,
        /// To.
        high: f64,
    },
    /// The band is too narrow, or upside down.
    Band {
        /// Its low end, Hz.
        low_hz: f64,
        /// Its high end, Hz.
        high_hz: f64,
    },
}

impl std::fmt::Display for PlanError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Range {
                what,
                value,
                low,
                high,
            } => {
                write!(f, "{what} is {value}; give {low} to {high}")
            }
            Self::Band { low_hz, high_hz } => write!(
                f,
                "a band from {low_hz} to {high_hz} Hz is too narrow; give at least {} octaves, low end first",
                limits::OCTAVES
            ),
        }
    }
}

impl std::error::Error for PlanError {}

/// A sweep whose frequency grows exponentially: `sin(2π·f1·L·(e^(t/L) − 1))`, `L = T/ln(f2/f1)` (Farina 2000), with fades.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Sweep {
    pub low_hz: f64,
    pub high_hz: f64,
    pub seconds: f64,
}

/// Share of the highest frequency a rate can carry up to which a sweep isn't faded.
const FULL_TO: f64 = 0.92;

impl Sweep {
    /// `L` of the formula, seconds: the `k`-th harmonic's response comes `L·ln k` early.
    pub fn pace_s(&self) -> f64 {
        self.seconds / (self.high_hz / self.low_hz).ln()
    }

    /// Its value, ±1, at a time since its start; nothing above `limit_hz`.
    pub fn value(&self, t: f64, limit_hz: f64) -> f64 {
        if !(0.0..self.seconds).contains(&t) {
            return 0.0;
        }
        let pace = self.pace_s();
        let growth = (t / pace).exp();
        let hz = self.low_hz * growth;
        if hz >= limit_hz {
            return 0.0;
        }
        let fade_in = raised((t / (0.04 * self.seconds).min(0.08)).min(1.0));
        let fade_out = raised(((self.seconds - t) / 0.01).min(1.0));
        let top = raised(((limit_hz - hz) / (limit_hz * (1.0 - FULL_TO))).min(1.0));
        (TAU * self.low_hz * pace * (growth - 1.0)).sin() * fade_in * fade_out * top
    }
}

/// From 0 to 1 without a corner.
fn raised(x: f64) -> f64 {
    0.5 - 0.5 * (PI * x).cos()
}

/// The highest frequency that a sample rate is asked to carry, Hz.
pub(crate) fn limit_hz(rate_hz: f64) -> f64 {
    0.47 * rate_hz
}

/// What sounds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Sound {
    /// A steady tone of this frequency (Hz), to bring the fader up.
    Tone(f64),
    /// A short sweep at either end (stereo) or before every pass (mono).
    Marker,
    /// The pulse train.
    Pulses,
    /// A main sweep.
    Sweep,
}

/// One sound at its time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Piece {
    pub sound: Sound,
    /// Since the beginning of the file, seconds.
    pub start_s: f64,
    /// Gains with which it is on the left and right channel of the file.
    pub channels: [f64; 2],
    /// Gains with which it reaches the left and right line, as far as they're plugged.
    pub lines: [f64; 2],
}

/// One-sided raised-cosine pulses.
pub(crate) const PULSES: usize = 5;
/// Width of a pulse, seconds.
pub(crate) const PULSE_S: f64 = 0.005;
/// From pulse to pulse, seconds.
pub(crate) const PULSE_PITCH_S: f64 = 0.050;

/// Long enough to bring a fader up.
const TONE_S: f64 = 4.0;
const TONE_FADE_S: f64 = 0.25;
/// On the left and the right line: unlike each other, so that no feed cancels them. Common practice, no source: where every small loudspeaker
/// sounds.
const TONES_HZ: [f64; 2] = [400.0, 500.0];
/// Of the level: soft, and both together still below a sweep.
const SOFT: f64 = 0.25;
/// Silence behind the tone, seconds.
const PAUSE_BEHIND_TONE_S: f64 = 0.6;
/// From a marker's first sweep to its second, on the other line, seconds. The longer, the more an automatic gain bends between the
/// two (by its square); the shorter, the wider a band must be to tell them apart.
pub(crate) const MARKER_PITCH_S: f64 = 0.12;
const MARKER_S: f64 = 1.0;
/// Both lines sound at once: each at half, so that no sum is louder than one line alone.
const HALF: f64 = 0.5;
/// From the start of a pulse train to the sweep behind it, seconds.
const SWEEP_AFTER_PULSES_S: f64 = 0.5;
/// Silence behind a sweep for its room, seconds.
const TAIL_S: f64 = 0.75;
/// What each distance between parts is longer than the one before, so that all distances differ, seconds.
const STRETCH_S: f64 = 0.25;

/// A part of the signal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// When it begins, seconds.
    pub start_s: f64,
    /// What it is, in words.
    pub name: &'static str,
}

/// The signal: what sounds when.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    settings: SignalSettings,
    pub(crate) pieces: Vec<Piece>,
    pub(crate) marker: Sweep,
    pub(crate) sweep: Sweep,
    amplitude: f64,
    seconds: f64,
}

impl Plan {
    /// Lays out the signal.
    ///
    /// # Errors
    /// [`PlanError`] names the setting that is out of its range.
    pub fn new(settings: SignalSettings) -> Result<Self, PlanError> {
        check(&settings)?;
        let sweep = Sweep {
            low_hz: settings.low_hz,
            high_hz: settings.high_hz,
            seconds: settings.sweep_s,
        };
        // Loudspeakers carry this, and it leaves each octave more time. A narrow band is kept as it is.
        let (low, high) = (settings.low_hz.max(100.0), settings.high_hz.min(12_000.0));
        let wide = high >= low * 8.0;
        let marker = Sweep {
            low_hz: if wide { low } else { settings.low_hz },
            high_hz: if wide { high } else { settings.high_hz },
            seconds: MARKER_S,
        };
        let mut plan = Self {
            settings,
            pieces: Vec::new(),
            marker,
            sweep,
            amplitude: db::to_amplitude(settings.level_dbfs),
            seconds: 0.0,
        };
        match settings.mode {
            Mode::Stereo => plan.lay_out_stereo(),
            Mode::Mono { pause_s } => plan.lay_out_mono(pause_s),
        }
        Ok(plan)
    }

    fn tones_hz(&self) -> [f64; 2] {
        TONES_HZ.map(|hz| hz.clamp(1.2 * self.settings.low_hz, self.settings.high_hz / 1.2))
    }

    fn lay_out_stereo(&mut self) {
        let [left_hz, right_hz] = self.tones_hz();
        self.add(Sound::Tone(left_hz), 0.0, [SOFT, 0.0]);
        self.add(Sound::Tone(right_hz), 0.0, [0.0, SOFT]);
        let mut t = TONE_S + PAUSE_BEHIND_TONE_S;
        self.add(Sound::Marker, t, [HALF, 0.0]);
        self.add(Sound::Marker, t + MARKER_PITCH_S, [0.0, HALF]);
        t += MARKER_PITCH_S + MARKER_S + 0.5;
        let parts = [[1.0, 0.0], [0.0, 1.0], [HALF, HALF], [HALF, -HALF]];
        for (index, lines) in parts.into_iter().enumerate() {
            self.add(Sound::Pulses, t, lines);
            self.add(Sound::Sweep, t + SWEEP_AFTER_PULSES_S, lines);
            t += SWEEP_AFTER_PULSES_S + self.sweep.seconds + TAIL_S;
            if index < 3 {
                t += STRETCH_S * index as f64;
            }
        }
        // The other line first: a gain that drifts over a marker then errs the other way round.
        self.add(Sound::Marker, t, [0.0, HALF]);
        self.add(Sound::Marker, t + MARKER_PITCH_S, [HALF, 0.0]);
        self.seconds = t + MARKER_PITCH_S + MARKER_S + 0.5;
    }

    fn lay_out_mono(&mut self, pause_s: f64) {
        let [hz, _] = self.tones_hz();
        self.add(Sound::Tone(hz), 0.0, [SOFT; 2]);
        let mut t = TONE_S + PAUSE_BEHIND_TONE_S;
        for (index, plugged) in [[1.0, 1.0], [1.0, 0.0], [0.0, 1.0]].into_iter().enumerate() {
            let mut add = |sound, start_s, gain: f64| {
                self.pieces.push(Piece {
                    sound,
                    start_s,
                    channels: [gain; 2],
                    lines: plugged.map(|line: f64| line * gain),
                });
            };
            add(Sound::Marker, t, HALF);
            add(Sound::Pulses, t + MARKER_S + 0.5, 1.0);
            add(Sound::Sweep, t + MARKER_S + 0.5 + SWEEP_AFTER_PULSES_S, 1.0);
            t += MARKER_S + 0.5 + SWEEP_AFTER_PULSES_S + self.sweep.seconds + TAIL_S;
            if index < 2 {
                t += pause_s + STRETCH_S * index as f64;
            }
        }
        self.seconds = t;
    }

    fn add(&mut self, sound: Sound, start_s: f64, lines: [f64; 2]) {
        self.pieces.push(Piece {
            sound,
            start_s,
            channels: lines,
            lines,
        });
    }

    /// What it was made from.
    #[must_use]
    pub fn settings(&self) -> &SignalSettings {
        &self.settings
    }

    /// How long it is, seconds.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.seconds
    }

    /// When each pause to change plugs begins, seconds; empty in stereo. The first is for unplugging the right line, the
    /// second for plugging it again and unplugging the left one.
    #[must_use]
    pub fn pauses_s(&self) -> Vec<f64> {
        if self.settings.mode == Mode::Stereo {
            return Vec::new();
        }
        let ends = self
            .pieces
            .iter()
            .filter(|piece| piece.sound == Sound::Sweep)
            .map(|piece| piece.start_s + self.sweep.seconds + TAIL_S);
        ends.take(2).collect()
    }

    /// What sounds when, for whoever watches it go out: parts in their order, each until the next one begins.
    #[must_use]
    pub fn parts(&self) -> Vec<Part> {
        let names: &[&'static str] = match self.settings.mode {
            Mode::Stereo => &["left line", "right line", "both equal", "both opposite"],
            Mode::Mono { .. } => &["both lines", "left line alone", "right line alone"],
        };
        let pauses = [
            "pause: unplug the right line",
            "pause: plug the right line again, unplug the left one",
        ];
        let mut names = names.iter();
        let mut pauses = pauses.iter().zip(self.pauses_s());
        let mut parts = vec![Part {
            start_s: 0.0,
            name: "a soft tone: bring the fader up",
        }];
        for piece in &self.pieces {
            match piece.sound {
                Sound::Pulses => parts.extend(names.next().map(|&name| Part {
                    start_s: piece.start_s,
                    name,
                })),
                Sound::Marker if parts.last().is_some_and(|part| part.name != "marker") => {
                    if parts.len() > 1 {
                        parts.extend(pauses.next().map(|(&name, start_s)| Part { start_s, name }));
                    }
                    parts.push(Part {
                        start_s: piece.start_s,
                        name: "marker",
                    });
                }
                Sound::Marker | Sound::Sweep | Sound::Tone(_) => {}
            }
        }
        parts
    }

    pub(crate) fn shape(&self, sound: Sound) -> Sweep {
        match sound {
            Sound::Marker => self.marker,
            Sound::Sweep | Sound::Pulses | Sound::Tone(_) => self.sweep,
        }
    }

    /// Left and right at a time, for a sample rate. Does not allocate.
    #[must_use]
    pub fn frame(&self, t: f64, rate_hz: f64) -> [f64; 2] {
        let mut frame = [0.0; 2];
        for piece in &self.pieces {
            let since = t - piece.start_s;
            if since < 0.0 {
                continue;
            }
            let value = match piece.sound {
                Sound::Pulses => pulses(since),
                Sound::Tone(hz) => tone(since, hz),
                sound => self.shape(sound).value(since, limit_hz(rate_hz)),
            };
            for (out, gain) in frame.iter_mut().zip(piece.channels) {
                *out += gain * value;
            }
        }
        frame.map(|x| x * self.amplitude)
    }
}

/// A steady tone at a time since its start, ±1.
fn tone(t: f64, hz: f64) -> f64 {
    if !(0.0..TONE_S).contains(&t) {
        return 0.0;
    }
    raised((t.min(TONE_S - t) / TONE_FADE_S).min(1.0)) * (TAU * hz * t).sin()
}

/// The pulse train at a time since its start, 0 to 1.
pub(crate) fn pulses(t: f64) -> f64 {
    let index = (t / PULSE_PITCH_S).floor();
    let within = t - index * PULSE_PITCH_S;
    if index < 0.0 || index >= PULSES as f64 || within >= PULSE_S {
        return 0.0;
    }
    0.5 - 0.5 * (TAU * within / PULSE_S).cos()
}

fn check(settings: &SignalSettings) -> Result<(), PlanError> {
    let within = |what, value: f64, range: core::ops::RangeInclusive<f64>| {
        if range.contains(&value) {
            Ok(())
        } else {
            Err(PlanError::Range {
                what,
                value,
                low: *range.start(),
                high: *range.end(),
            })
        }
    };
    within("the low end of the band (Hz)", settings.low_hz, limits::BAND_HZ)?;
    within("the high end of the band (Hz)", settings.high_hz, limits::BAND_HZ)?;
    within("the length of a sweep (s)", settings.sweep_s, limits::SWEEP_S)?;
    within("the level (dBFS)", settings.level_dbfs, limits::LEVEL_DBFS)?;
    if let Mode::Mono { pause_s } = settings.mode {
        within("the pause (s)", pause_s, limits::PAUSE_S)?;
    }
    if settings.high_hz < settings.low_hz * limits::OCTAVES.exp2() {
        return Err(PlanError::Band {
            low_hz: settings.low_hz,
            high_hz: settings.high_hz,
        });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn harmonics_come_early_by_what_farina_says() {
        // CHECKS 8: f1 = 20, f2 = 20k, T = 5 s: L = 0.7238 s; 2nd .5017, 3rd .7952, 4th 1.0034, 5th 1.1650 s.
        let sweep = Sweep {
            low_hz: 20.0,
            high_hz: 20_000.0,
            seconds: 5.0,
        };
        assert!((sweep.pace_s() - 0.7238).abs() < 5e-5);
        for (harmonic, early_s) in [(2.0f64, 0.5017), (3.0, 0.7952), (4.0, 1.0034), (5.0, 1.1650)] {
            assert!((sweep.pace_s() * harmonic.ln() - early_s).abs() < 1e-4);
        }
    }

    #[test]
    fn the_file_is_short_and_its_parts_are_all_differently_far_apart() {
        for settings in [SignalSettings::default(), SignalSettings::mono()] {
            let plan = Plan::new(settings).unwrap();
            if settings.mode == Mode::Stereo {
                assert!(plan.seconds() < 24.0, "{}", plan.seconds());
            }
            let starts: Vec<f64> = plan
                .pieces
                .iter()
                .filter(|piece| piece.sound == Sound::Sweep)
                .map(|piece| piece.start_s)
                .collect();
            let mut distances: Vec<f64> = (0..starts.len())
                .flat_map(|i| (0..i).map(move |j| (i, j)))
                .map(|(i, j)| starts[i] - starts[j])
                .collect();
            distances.sort_by(f64::total_cmp);
            assert!(
                distances.windows(2).all(|pair| pair[1] - pair[0] > 0.1),
                "{distances:?}"
            );
        }
    }

    #[test]
    fn parts_are_told_in_their_order() {
        let named = |settings| {
            let parts = Plan::new(settings).unwrap().parts();
            assert!(parts.windows(2).all(|pair| pair[0].start_s < pair[1].start_s));
            parts.iter().map(|part| part.name).collect::<Vec<_>>().join(" | ")
        };
        assert_eq!(
            named(SignalSettings::default()),
            "a soft tone: bring the fader up | marker | left line | right line | both equal | both opposite | marker"
        );
        assert_eq!(
            named(SignalSettings::mono()),
            "a soft tone: bring the fader up | marker | both lines | pause: unplug the right line | marker | left line alone | pause: plug the right line \
             again, unplug the left one | marker | right line alone"
        );
    }

    #[test]
    fn settings_out_of_range_are_named() {
        let with = |change: fn(&mut SignalSettings)| {
            let mut settings = SignalSettings::default();
            change(&mut settings);
            Plan::new(settings).unwrap_err().to_string()
        };
        assert!(with(|s| s.level_dbfs = 3.0).contains("level"));
        assert!(with(|s| s.low_hz = f64::NAN).contains("low end"));
        assert!(with(|s| s.sweep_s = 0.1).contains("length"));
        assert!(with(|s| s.low_hz = 10_000.0).contains("octaves"));
        assert!(with(|s| s.mode = Mode::Mono { pause_s: 0.0 }).contains("pause"));
    }
}
