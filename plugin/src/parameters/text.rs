//! Names and parameter values as text and back. Hosts let users type anything: text that is no finite number is
//! refused, and the parameter keeps its value. Numbers are clamped to their range later ([`super::settings`]).

/// A text as a name: one line without control characters, cut to `longest` characters.
pub(crate) fn name(text: &str, longest: usize) -> String {
    let shown = text.trim().chars().filter(|c| !c.is_control());
    shown.take(longest).collect()
}

/// A gain in dB with its sign, one decimal: `+3.0`, `0.0`, `-20.0`.
pub(crate) fn gain(value_db: f32) -> String {
    if value_db.abs() < 0.05 {
        String::from("0.0")
    } else {
        format!("{value_db:+.1}")
    }
}

/// A delay in ms, with three decimals, or two where the third is zero.
pub(crate) fn delay(value_ms: f32) -> String {
    let thousandths = format!("{value_ms:.3}");
    match thousandths.strip_suffix('0') {
        Some(shorter) => String::from(shorter),
        None => thousandths,
    }
}

/// A transformer corner with its unit, or `none` for 0. The unit is part of the text because 'none Hz' says nothing.
pub(crate) fn corner(value_hz: f32) -> String {
    if value_hz < 0.05 {
        String::from("none")
    } else {
        format!("{value_hz:.1} Hz")
    }
}

/// Reads what [`corner`] writes, and plain numbers.
pub(crate) fn corner_from(typed: &str) -> Option<f32> {
    if typed.trim().eq_ignore_ascii_case("none") {
        return Some(0.0);
    }
    number(typed, "Hz")
}

/// A finite number, with or without its unit; a decimal comma and a typographic minus are accepted.
pub(crate) fn number(typed: &str, unit: &str) -> Option<f32> {
    let typed = typed.trim();
    let lower = typed.to_lowercase();
    let bare = lower.strip_suffix(&unit.to_lowercase()).unwrap_or(&lower);
    let plain = bare.trim().replace('\u{2212}', "-").replace(',', ".");
    plain.parse::<f32>().ok().filter(|value| value.is_finite())
}

/// A switch from its own two words, or from the usual ones. Anything else is refused rather than read as 'off'.
pub(crate) fn switch(typed: &str, on: &str, off: &str) -> Option<bool> {
    let typed = typed.trim();
    let is = |words: &[&str]| words.iter().any(|word| typed.eq_ignore_ascii_case(word));
    if is(&[on, "on", "true", "yes", "1"]) {
        Some(true)
    } else if is(&[off, "off", "false", "no", "0"]) {
        Some(false)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_back() {
        for value in [-40.0, -20.0, -0.1, 0.0, 3.0, 20.0] {
            assert_eq!(number(&format!("{} dB", gain(value)), "dB"), Some(value));
        }
        for value in [0.0, 0.021, 0.4, 1.0, 30.0] {
            assert_eq!(number(&format!("{} ms", delay(value)), "ms"), Some(value));
        }
        for value in [0.0, 30.0, 200.0] {
            assert_eq!(corner_from(&corner(value)), Some(value));
        }
        assert_eq!(delay(0.4), "0.40");
        assert_eq!(delay(0.021), "0.021");
    }

    #[test]
    fn what_is_no_finite_number_is_refused() {
        for typed in [
            "nan", "NaN", "inf", "-inf", "infinity", "1e40", "", " ", "dB", "loud", "1.0.0", "--3",
        ] {
            assert_eq!(number(typed, "dB"), None, "{typed:?}");
        }
        assert_eq!(number("\u{2212}3,5 DB", "dB"), Some(-3.5));
    }

    #[test]
    fn switches_are_never_guessed() {
        assert_eq!(switch("Unplugged", "Unplugged", "Plugged in"), Some(true));
        assert_eq!(switch("plugged IN", "Unplugged", "Plugged in"), Some(false));
        assert_eq!(switch("off", "On", "Off"), Some(false));
        assert_eq!(switch("maybe", "On", "Off"), None);
    }
}
