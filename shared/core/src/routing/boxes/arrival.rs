//! The signal of one output, through one box, as it arrives at the desk.

use crate::dsp::db;
use crate::routing::line::{Line, Polarity};

use super::formulas::{common_mode_rejection_db, corner_hz, parallel_ohm, power_sum_db, thermal_noise_dbu};
use super::spec::{Coupling, Legs, Spec};
use super::{Drive, Source};

/// Nominal level of a desk, dBu: +4 dBu, 1.228 V.
const WANTED_DBU: f64 = 4.0;
/// Noise of a desk behind its preamps, dBu. Common practice, no source.
const DESK_NOISE_DBU: f64 = -95.0;
/// Source resistance for which data sheets state equivalent input noise, ohm.
const DATA_SHEET_OHM: f64 = 150.0;
/// Half of a symmetric output's swing, dB.
const HALF_SWING_DB: f64 = -6.020_599_913_279_624;

/// Rejection of hum that is alike on both legs, against the sound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rejection {
    /// With the sound on both legs, dB.
    pub symmetric_db: f64,
    /// With the sound on one leg and the same impedance on the other, dB: the legs are as well balanced, but the swing
    /// is half where the box passes the legs on as they are.
    pub single_ended_db: f64,
}

/// A signal as it arrives at the desk.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrival {
    /// Gain from the open output to the loaded input, dB; −∞ when nothing arrives.
    pub gain_db: f64,
    /// Level of loud playing there, dBu.
    pub level_dbu: f64,
    /// Corner of the first-order high-pass, Hz; 0 for none.
    pub high_pass_hz: f64,
    /// Delay, seconds.
    pub delay_s: f64,
    /// Polarity.
    pub polarity: Polarity,
    /// Impedance the desk sees, ohm.
    pub output_ohm: f64,
    /// Hum against sound.
    pub rejection: Rejection,
    /// Gain that brings loud playing to +4 dBu, dB; a negative one is a pad.
    pub preamp_gain_db: f64,
    /// All noise referred to the desk's input, 20 Hz to 20 kHz, dBu: of the line's resistance, the box's electronics,
    /// the preamp (at that gain) and the desk behind it.
    pub input_noise_dbu: f64,
}

impl Arrival {
    /// Computes it for an output through a box into a load of `load_ohm`.
    #[must_use]
    pub fn new(spec: &Spec, load_ohm: f64, source: &Source) -> Self {
        // A box that takes the tip alone gets half the swing of a symmetric output, through one leg's impedance.
        let (taken_db, source_ohm) = match (spec.takes_both_legs, source.drive) {
            (true, _) => (0.0, 2.0 * source.impedance_ohm),
            (false, Drive::SingleEnded) => (0.0, source.impedance_ohm),
            (false, Drive::Symmetric) => (HALF_SWING_DB, source.impedance_ohm),
        };
        let (amplitude, high_pass_hz, output_ohm) = through(&spec.coupling, source_ohm, load_ohm);
        Self {
            high_pass_hz,
            delay_s: spec.delay_s,
            polarity: spec.polarity,
            output_ohm,
            rejection: rejection(spec, source),
            ..Self::EMPTY
        }
        .with_gain(taken_db + db::from_amplitude(amplitude), spec, load_ohm, source)
    }

    /// The same for a line with more in it than the box: gain, delay, polarity and corners are the line's.
    #[must_use]
    pub fn on_line(&self, line: &Line, spec: &Spec, load_ohm: f64, source: &Source) -> Self {
        Self {
            high_pass_hz: line.high_pass_hz[0],
            delay_s: line.delay_s,
            polarity: line.polarity,
            ..*self
        }
        .with_gain(db::from_amplitude(line.amplitude()), spec, load_ohm, source)
    }

    const EMPTY: Self = Self {
        gain_db: 0.0,
        level_dbu: 0.0,
        high_pass_hz: 0.0,
        delay_s: 0.0,
        polarity: Polarity::Normal,
        output_ohm: 0.0,
        rejection: Rejection {
            symmetric_db: 0.0,
            single_ended_db: 0.0,
        },
        preamp_gain_db: 0.0,
        input_noise_dbu: 0.0,
    };

    fn with_gain(self, gain_db: f64, spec: &Spec, load_ohm: f64, source: &Source) -> Self {
        let level_dbu = source.level_dbu + gain_db;
        let preamp_gain_db = WANTED_DBU - level_dbu;
        Self {
            gain_db,
            level_dbu,
            preamp_gain_db,
            input_noise_dbu: input_noise_dbu(spec, self.output_ohm, load_ohm, preamp_gain_db),
            ..self
        }
    }

    /// The noise referred to the player's output, dBu: a board quieter than this gains nothing.
    #[must_use]
    pub fn noise_at_source_dbu(&self) -> f64 {
        self.input_noise_dbu - self.gain_db
    }

    /// Loud playing over noise, dB.
    #[must_use]
    pub fn over_noise_db(&self) -> f64 {
        self.level_dbu - self.input_noise_dbu
    }

    /// As a line.
    #[must_use]
    pub fn line(&self) -> Line {
        Line {
            polarity: self.polarity,
            gain_db: self.gain_db,
            delay_s: self.delay_s,
            high_pass_hz: [self.high_pass_hz, 0.0],
            unplugged: false,
        }
    }
}

/// Amplitude, corner (Hz) and output impedance (ohm) of a source through a coupling.
fn through(coupling: &Coupling, source_ohm: f64, load_ohm: f64) -> (f64, f64, f64) {
    match *coupling {
        Coupling::Wire => (load_ohm / (source_ohm + load_ohm), 0.0, source_ohm),
        Coupling::Transformer {
            turns_ratio,
            primary_henry,
            primary_ohm,
            secondary_ohm,
        } => {
            let before = source_ohm + primary_ohm;
            let behind = turns_ratio * turns_ratio * (secondary_ohm + load_ohm);
            // The divider before the core, the ratio, the divider behind it.
            let amplitude =
                behind / (before + behind) / turns_ratio * (load_ohm / (secondary_ohm + load_ohm));
            (
                amplitude,
                corner_hz(parallel_ohm(before, behind), primary_henry),
                before / (turns_ratio * turns_ratio) + secondary_ohm,
            )
        }
        Coupling::Buffer {
            gain_db,
            input_ohm,
            output_ohm,
            corner_hz,
        } => (
            input_ohm / (source_ohm + input_ohm) * db::to_amplitude(gain_db) * load_ohm
                / (output_ohm + load_ohm),
            corner_hz,
            output_ohm,
        ),
    }
}

fn rejection(spec: &Spec, source: &Source) -> Rejection {
    let imbalance_ohm = match spec.legs {
        Legs::Differ(ohm) => ohm,
        Legs::ShareOfSource(share) => share * source.impedance_ohm,
    };
    let symmetric_db = common_mode_rejection_db(spec.common_mode_ohm, imbalance_ohm);
    let handed_on = spec.coupling == Coupling::Wire;
    Rejection {
        symmetric_db,
        single_ended_db: symmetric_db + if handed_on { HALF_SWING_DB } else { 0.0 },
    }
}

fn input_noise_dbu(spec: &Spec, output_ohm: f64, load_ohm: f64, preamp_gain_db: f64) -> f64 {
    // The data sheet's figure includes the noise of its 150 ohm source; it is replaced by this source's.
    let preamp = db::to_power(spec.input.input_noise_dbu()) - db::to_power(thermal_noise_dbu(DATA_SHEET_OHM));
    power_sum_db(&[
        thermal_noise_dbu(parallel_ohm(output_ohm, load_ohm)),
        spec.noise_dbu,
        db::from_power(preamp),
        // Gain lowers the weight of the noise behind the preamp; a pad, in front of it, raises it.
        DESK_NOISE_DBU - preamp_gain_db,
    ])
}
