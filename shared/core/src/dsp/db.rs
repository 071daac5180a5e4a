//! Decibels, and the level below which there is no reading.

/// Below this level of a channel pair (dBFS, mean power of both channels) there is no reading at all, not even a zero.
pub const NO_READING_DBFS: f64 = -80.0;

/// A power ratio in decibels; −∞ for zero and for anything negative (rounding may leave −1e-17).
#[must_use]
pub fn from_power(power: f64) -> f64 {
    if power > 0.0 {
        10.0 * power.log10()
    } else {
        f64::NEG_INFINITY
    }
}

/// An amplitude ratio in decibels; −∞ for zero. The sign of the amplitude is ignored.
#[must_use]
pub fn from_amplitude(amplitude: f64) -> f64 {
    from_power(amplitude * amplitude)
}

/// The power ratio of a level in decibels. −∞ gives 0.
#[must_use]
pub fn to_power(level_db: f64) -> f64 {
    10f64.powf(level_db / 10.0)
}

/// The amplitude ratio of a level in decibels. −∞ gives 0.
#[must_use]
pub fn to_amplitude(level_db: f64) -> f64 {
    10f64.powf(level_db / 20.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_there_and_back() {
        for level in [-120.0, -6.02, 0.0, 3.0103, 24.0] {
            assert!((from_power(to_power(level)) - level).abs() < 1e-12);
            assert!((from_amplitude(to_amplitude(level)) - level).abs() < 1e-12);
        }
        assert_eq!(from_power(0.0), f64::NEG_INFINITY);
        assert_eq!(from_power(-1e-17), f64::NEG_INFINITY);
        assert_eq!(to_power(f64::NEG_INFINITY), 0.0);
    }
}
