//! The closed forms that boxes are computed with. Circuit theory: each is a divider, a ratio or a definition.

use crate::dsp::db;

/// 0 dBu: the voltage that puts 1 mW into 600 ohm, √0.6 V.
const DBU_VOLTS: f64 = 0.774_596_669_241_483_4;
/// Boltzmann's constant, J/K (exact in the SI of 2019).
const BOLTZMANN: f64 = 1.380_649e-23;
/// Room temperature, K.
const ROOM_K: f64 = 293.15;
/// Bandwidth of noise figures, Hz: as on data sheets, 20 Hz to 20 kHz.
const NOISE_BAND_HZ: f64 = 19_980.0;

/// Voltage of a level, V rms.
#[must_use]
pub fn volts_of_dbu(level_dbu: f64) -> f64 {
    DBU_VOLTS * db::to_amplitude(level_dbu)
}

/// Level of a voltage, dBu; −∞ for none.
#[must_use]
pub fn dbu_of_volts(volts: f64) -> f64 {
    db::from_amplitude(volts / DBU_VOLTS)
}

/// Voltage gain of an unloaded transformer with `ratio` turns on the primary for one on the secondary: `−20·log10
/// ratio`, dB.
#[must_use]
pub fn turns_gain_db(ratio: f64) -> f64 {
    -db::from_amplitude(ratio)
}

/// A load on the secondary as seen from the primary, `ratio²·load`, ohm.
#[must_use]
pub fn reflected_ohm(ratio: f64, load_ohm: f64) -> f64 {
    ratio * ratio * load_ohm
}

/// Corner of the first-order high-pass of an inductance fed through a resistance, `R/(2πL)`, Hz.
#[must_use]
pub fn corner_hz(ohm: f64, henry: f64) -> f64 {
    ohm / (core::f64::consts::TAU * henry)
}

/// Phase lead of a first-order high-pass at a frequency, `atan(corner/f)`, degrees.
#[must_use]
pub fn phase_lead_deg(corner_hz: f64, frequency_hz: f64) -> f64 {
    corner_hz.atan2(frequency_hz).to_degrees()
}

/// Common-mode rejection of an input with `common_mode_ohm` to ground, when the legs' impedances differ by
/// `imbalance_ohm`: `20·log10(Zcm/ΔZ)`, dB. The impedances count, not whether both legs carry sound (B. Whitlock's
/// argument).
#[must_use]
pub fn common_mode_rejection_db(common_mode_ohm: f64, imbalance_ohm: f64) -> f64 {
    db::from_amplitude(common_mode_ohm / imbalance_ohm)
}

/// Johnson noise of a resistance, `√(4kTRB)` at 20 °C over 20 Hz to 20 kHz, dBu; −∞ for none.
#[must_use]
pub fn thermal_noise_dbu(ohm: f64) -> f64 {
    dbu_of_volts((4.0 * BOLTZMANN * ROOM_K * ohm * NOISE_BAND_HZ).sqrt())
}

/// Two resistances in parallel, ohm.
#[must_use]
pub(super) fn parallel_ohm(a: f64, b: f64) -> f64 {
    a * b / (a + b)
}

/// The level of the sum of unrelated noises, dBu.
#[must_use]
pub(super) fn power_sum_db(levels_db: &[f64]) -> f64 {
    db::from_power(levels_db.iter().map(|&level| db::to_power(level)).sum())
}
