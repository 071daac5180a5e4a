//! Figures and notes as text: one formatter per unit.

use sumproof_core::dsp::numbers::to_integer;

/// The typographic minus sign.
pub const MINUS: char = '\u{2212}';

/// A change in dB with its sign and one decimal; `gone` for −∞, `only` for +∞.
#[must_use]
pub fn decibels(value: f64) -> String {
    if value.is_nan() {
        String::from("–")
    } else if value == f64::NEG_INFINITY {
        String::from("gone")
    } else if value == f64::INFINITY {
        String::from("only")
    } else {
        signed(value, 1)
    }
}

/// A number with its sign and `decimals` decimals; without a sign if it rounds to zero. `−∞` and `+∞` for infinities,
/// `–` for NaN.
#[must_use]
pub fn signed(value: f64, decimals: usize) -> String {
    if value.is_nan() {
        return String::from("–");
    }
    if value.is_infinite() {
        return String::from(if value < 0.0 { "−∞" } else { "+∞" });
    }
    let text = format!("{:.*}", decimals, value.abs());
    if text.bytes().all(|b| b == b'0' || b == b'.') {
        text
    } else if value < 0.0 {
        format!("{MINUS}{text}")
    } else {
        format!("+{text}")
    }
}

/// A correlation with its sign and two decimals.
#[must_use]
pub fn correlation(value: f64) -> String {
    signed(value, 2)
}

/// A frequency in whole hertz, and from 1 kHz on with three significant figures: `82 Hz`, `1.25 kHz`, `12.6 kHz`.
#[must_use]
pub fn hertz(hz: f64) -> String {
    if hz < 999.5 {
        return format!("{hz:.0} Hz");
    }
    let khz = hz / 1000.0;
    let decimals = match khz {
        ..9.995 => 2,
        ..99.95 => 1,
        _ => 0,
    };
    format!("{khz:.decimals$} kHz")
}

/// The nominal frequency of a band as the standard prints it: `31.5 Hz`, `1.25 kHz`, `16 kHz`.
#[must_use]
pub fn nominal_hertz(hz: f64) -> String {
    if hz < 1000.0 {
        format!("{hz} Hz")
    } else {
        format!("{} kHz", hz / 1000.0)
    }
}

/// A delay in milliseconds.
#[must_use]
pub fn milliseconds(seconds: f64) -> String {
    format!("{:.2} ms", seconds * 1000.0)
}

/// A length of time: `8.2 s`, `1:05`.
#[must_use]
pub fn duration(seconds: f64) -> String {
    if seconds < 59.95 {
        format!("{:.1} s", seconds.max(0.0))
    } else {
        let whole = seconds.round();
        format!("{:.0}:{:02.0}", (whole / 60.0).floor(), whole % 60.0)
    }
}

const NAMES: [&str; 12] = [
    "C",
    "C\u{266f}",
    "D",
    "E\u{266d}",
    "E",
    "F",
    "F\u{266f}",
    "G",
    "G\u{266f}",
    "A",
    "B\u{266d}",
    "B",
];

/// The nearest note of equal temperament at A4 = 440 Hz (ISO 16), in scientific pitch notation, and how far off it is
/// in cents. `None` below 16 Hz or for a non-finite frequency.
#[must_use]
pub fn note(hz: f64) -> Option<(String, i32)> {
    if !hz.is_finite() || hz < 16.0 {
        return None;
    }
    let semitones = 12.0 * (hz / 440.0).log2();
    let nearest = semitones.round();
    let cents = to_integer(((semitones - nearest) * 100.0).round());
    // A4 is the 57th semitone above C0.
    let number = to_integer(nearest) + 57;
    let name = NAMES[number.rem_euclid(12) as usize];
    Some((format!("{name}{}", number.div_euclid(12)), cents))
}

/// The open strings of a guitar in standard tuning: names and frequencies, Hz (equal temperament, A4 = 440 Hz, ISO 16).
pub const OPEN_STRINGS: [(&str, f64); 6] = [
    ("E2", 82.407),
    ("A2", 110.0),
    ("D3", 146.832),
    ("G3", 195.998),
    ("B3", 246.942),
    ("E4", 329.628),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_read_well() {
        assert_eq!(decibels(-0.04), "0.0");
        assert_eq!(decibels(0.05000001), "+0.1");
        assert_eq!(decibels(-3.01), "\u{2212}3.0");
        assert_eq!(decibels(f64::NEG_INFINITY), "gone");
        assert_eq!(decibels(f64::INFINITY), "only");
        assert_eq!(decibels(f64::NAN), "–");
        assert_eq!(correlation(1.0), "+1.00");
        assert_eq!(correlation(-0.004), "0.00");
        assert_eq!(hertz(82.4), "82 Hz");
        assert_eq!(hertz(1250.0), "1.25 kHz");
        assert_eq!(hertz(999.7), "1.00 kHz");
        assert_eq!(hertz(9996.0), "10.0 kHz");
        assert_eq!(hertz(12_560.0), "12.6 kHz");
        assert_eq!(nominal_hertz(31.5), "31.5 Hz");
        assert_eq!(nominal_hertz(12_500.0), "12.5 kHz");
        assert_eq!(signed(f64::NEG_INFINITY, 1), "\u{2212}∞");
        assert_eq!(duration(59.97), "1:00");
        assert_eq!(duration(65.0), "1:05");
        assert_eq!(milliseconds(0.012), "12.00 ms");
    }

    #[test]
    fn notes_are_those_of_the_open_strings() {
        for (name, hz) in OPEN_STRINGS {
            assert_eq!(note(hz), Some((String::from(name), 0)));
        }
        assert_eq!(note(440.0 * 2f64.powf(0.3 / 12.0)), Some(("A4".into(), 30)));
        assert_eq!(note(261.626), Some(("C4".into(), 0)));
        assert_eq!(note(f64::NAN), None);
        assert_eq!(note(1.0), None);
    }
}
