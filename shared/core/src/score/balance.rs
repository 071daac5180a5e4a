//! How much wetter or drier a feed is, on a scale of four.

use crate::score::outcome::{HYSTERESIS_DB, Limits};
use crate::score::verdict::Verdict;
use crate::split::interval::Interval;

/// How much wetter or drier a feed is than the preset in stereo. Ordered from dry to wet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Balance {
    /// The wet has practically vanished while the dry is there.
    EffectGone,
    /// Less wet against the dry than in stereo.
    Drier,
    /// As mixed.
    AsMixed,
    /// More wet against the dry than in stereo; also where only the wet is left.
    Wetter,
}

impl Balance {
    /// The balance of a known shift (wet change less dry change, dB).
    #[must_use]
    pub fn word(shift_db: f64, limits: &Limits) -> Self {
        Self::of(shift_db, limits, None)
    }

    /// The balance of a shift (wet change less dry change), dB; `shown` is the one shown so far.
    fn of(shift_db: f64, limits: &Limits, shown: Option<Self>) -> Self {
        // Hysteresis in favour of the balance shown before, on both sides.
        let slack = |at_or_above: Self| match shown {
            None => 0.0,
            Some(shown) if shown >= at_or_above => -HYSTERESIS_DB,
            Some(_) => HYSTERESIS_DB,
        };
        if shift_db > limits.wetter_db + slack(Self::Wetter) {
            Self::Wetter
        } else if shift_db >= limits.drier_db + slack(Self::AsMixed) {
            Self::AsMixed
        } else if shift_db > limits.effect_gone_db + slack(Self::Drier) {
            Self::Drier
        } else {
            Self::EffectGone
        }
    }
}

/// The balance in a feed from the shift's interval. `before` is what was shown so far, for a live reading: a figure
/// must cross a limit by [`HYSTERESIS_DB`] to change it.
#[must_use]
pub fn judge_balance(
    shift: &Interval,
    limits: &Limits,
    before: Option<Verdict<Balance>>,
) -> Verdict<Balance> {
    let shown = before.and_then(Verdict::word);
    let word = |shift_db| Balance::of(shift_db, limits, shown);
    Verdict::between(
        word(shift.low),
        word(shift.likely),
        word(shift.high),
        |low, high| high as usize - low as usize,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::split::interval::Known;

    fn judged(low: f64, likely: f64, high: f64) -> Verdict<Balance> {
        let shift = Interval::new(low, likely, high, Known::Bounded);
        judge_balance(&shift, &Limits::default(), None)
    }

    #[test]
    fn a_balance_is_plain_only_where_the_whole_interval_gives_it() {
        assert_eq!(judged(-3.0, -3.0, 0.0), Verdict::Plain(Balance::AsMixed));
        assert_eq!(
            judged(-7.0, -3.0, 0.0),
            Verdict::Likely {
                word: Balance::AsMixed,
                other: Balance::Drier
            }
        );
        assert_eq!(judged(f64::NEG_INFINITY, -3.0, 0.0), Verdict::CannotTell);
        assert_eq!(
            judged(f64::NEG_INFINITY, -40.0, -30.0),
            Verdict::Plain(Balance::EffectGone)
        );
        assert_eq!(judged(3.5, 9.0, f64::INFINITY), Verdict::Plain(Balance::Wetter));
    }

    #[test]
    fn a_live_balance_does_not_flicker() {
        let mut shown = None;
        let mut changes = 0;
        for i in 0..100 {
            let shift = Interval::measured(3.0 + if i % 2 == 0 { 0.3 } else { -0.3 });
            let now = judge_balance(&shift, &Limits::default(), shown);
            changes += usize::from(shown.is_some_and(|before| before != now));
            shown = Some(now);
        }
        assert_eq!(changes, 0);
    }
}
