//! A dry and a wet pass of one part, one after the other, become a take whose dry and wet are known.

use sumproof_core::take::{Pass, Take};
use sumproof_core::twopass;

/// The passes that wait for their other half.
#[derive(Debug, Default)]
pub struct Pairing {
    /// The last dry or wet pass that has no other half yet.
    half: Option<Take>,
    /// The last full pass since the last pair: the same part as it is.
    full: Option<Take>,
}

impl Pairing {
    /// Takes note of a pass that has just been stored. With its other half at hand, gives the take of both, or the line that
    /// says why there's none; either way the halves are used up, so that no later pass of another part is laid against them.
    ///
    /// A full pass recorded since the last pair gives the total, and its name.
    pub fn heard(&mut self, take: &Take) -> Option<Result<Take, String>> {
        if take.pass == Pass::Full {
            self.full = Some(take.clone());
            return None;
        }
        let Some(other) = self.half.take_if(|half| half.pass != take.pass) else {
            self.half = Some(take.clone());
            return None;
        };
        let (dry, wet) = if take.pass == Pass::Dry {
            (take, &other)
        } else {
            (&other, take)
        };
        let full = self.full.take().filter(|full| full.rate_hz == dry.rate_hz);
        let part = full.as_ref().map_or(&dry.name, |full| &full.name);
        let name = format!("{part}, dry and wet");
        Some(twopass::of_takes(name, dry, wet, full.as_ref()).map_err(|error| {
            format!(
                "\u{2018}{}\u{2019} and \u{2018}{}\u{2019} give no split: {error}",
                dry.name, wet.name
            )
        }))
    }
}

#[cfg(test)]
mod tests {
    use sumproof_core::monitor::Monitor;
    use sumproof_core::split::Method;

    use super::*;

    fn take(pass: Pass, name: &str, gain: f32) -> Take {
        let mut monitor = Monitor::new(48_000.0);
        monitor.start_take();
        let tone: Vec<f32> = (0..24_000).map(|n| gain * (n as f32 * 0.05).sin()).collect();
        monitor.push(&tone, &tone);
        monitor
            .finish_take(name.into(), pass)
            .expect("frames were pushed")
    }

    #[test]
    fn halves_meet_once_and_in_either_order() {
        let mut pairing = Pairing::default();
        let (dry, wet) = (take(Pass::Dry, "a", 0.2), take(Pass::Wet, "b", 0.1));
        assert!(pairing.heard(&dry).is_none());
        let pair = pairing.heard(&wet).expect("both are there").expect("and fit");
        assert_eq!(
            (pair.name.as_str(), pair.method()),
            ("a, dry and wet", Method::TwoPass)
        );
        // Half the amplitude is 6.02 dB down.
        assert!((pair.split.wet_over_dry_db().expect("there is sound") + 6.02).abs() < 0.01);
        // The halves are used up; the next wet waits for a dry of its own.
        assert!(pairing.heard(&wet).is_none());
        assert!(pairing.heard(&wet).is_none());
        assert!(pairing.heard(&dry).expect("both are there").is_ok());
    }

    #[test]
    fn a_full_pass_gives_the_name_and_serves_one_pair() {
        let mut pairing = Pairing::default();
        let (dry, wet) = (take(Pass::Dry, "a", 0.2), take(Pass::Wet, "b", 0.1));
        assert!(pairing.heard(&take(Pass::Full, "lead", 0.3)).is_none());
        assert!(pairing.heard(&wet).is_none());
        let pair = pairing.heard(&dry).expect("both are there").expect("and fit");
        assert_eq!(pair.name, "lead, dry and wet");
        pairing.heard(&wet);
        let pair = pairing.heard(&dry).expect("both are there").expect("and fit");
        assert_eq!(pair.name, "a, dry and wet");
    }

    #[test]
    fn a_silent_half_is_said_and_not_kept() {
        let mut pairing = Pairing::default();
        pairing.heard(&take(Pass::Dry, "a", 0.2));
        let line = pairing
            .heard(&take(Pass::Wet, "b", 0.0))
            .expect("both are there")
            .expect_err("one is silent");
        assert!(line.contains("the wet pass is silent"), "{line}");
        assert!(pairing.heard(&take(Pass::Wet, "c", 0.1)).is_none());
    }
}
