//! The three outcomes of a feed, and the limits between them.

use crate::score::verdict::Verdict;
use crate::split::interval::Interval;

/// Holds, thins or drops out. Ordered from good to bad.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Outcome {
    /// The dry is there, with nearly the colour it has in stereo.
    Holds,
    /// Between the two.
    Thins,
    /// The dry is gone, or nothing arrives.
    DropsOut,
}

/// The limits between the outcomes. Common practice, no source: they keep clear of 0 and −3.01 dB, where ordinary
/// presets sit.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default, deny_unknown_fields))]
pub struct Limits {
    /// A feed holds only if its dry is not further down than this, dB.
    pub dry_holds_db: f64,
    /// A feed drops out when its dry is further down than this, dB.
    pub dry_drops_out_db: f64,
    /// The balance is 'drier' below this shift, dB.
    pub drier_db: f64,
    /// The balance is 'wetter' above this shift, dB.
    pub wetter_db: f64,
    /// A feed holds only if the tone change is not above this, dB rms.
    pub tone_db: f64,
    /// A feed holds only if the dry's partials change against each other by no more than this, dB rms.
    pub partials_db: f64,
    /// The effect is gone when the balance shift is below this, dB.
    pub effect_gone_db: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            dry_holds_db: -4.5,
            dry_drops_out_db: -10.0,
            drier_db: -6.0,
            wetter_db: 3.0,
            tone_db: 2.0,
            partials_db: 4.0,
            effect_gone_db: -15.0,
        }
    }
}

/// Ranges of the limits, dB.
pub mod ranges {
    /// Of [`super::Limits::dry_holds_db`].
    pub const DRY_HOLDS_DB: core::ops::RangeInclusive<f64> = -40.0..=0.0;
    /// Of [`super::Limits::dry_drops_out_db`], which is never above the one before.
    pub const DRY_DROPS_OUT_DB: core::ops::RangeInclusive<f64> = -60.0..=0.0;
    /// Of [`super::Limits::drier_db`].
    pub const DRIER_DB: core::ops::RangeInclusive<f64> = -40.0..=0.0;
    /// Of [`super::Limits::wetter_db`].
    pub const WETTER_DB: core::ops::RangeInclusive<f64> = 0.0..=40.0;
    /// Of [`super::Limits::tone_db`].
    pub const TONE_DB: core::ops::RangeInclusive<f64> = 0.0..=30.0;
    /// Of [`super::Limits::partials_db`].
    pub const PARTIALS_DB: core::ops::RangeInclusive<f64> = 0.0..=30.0;
    /// Of [`super::Limits::effect_gone_db`], which is never above the one of drier.
    pub const EFFECT_GONE_DB: core::ops::RangeInclusive<f64> = -60.0..=0.0;
}

impl Limits {
    /// The limits within their [`ranges`] and in order: a non-finite one becomes the default, and dropping out is never
    /// above holding.
    #[must_use]
    pub fn clamped(self) -> Self {
        let default = Self::default();
        let finite = |value: f64, range: core::ops::RangeInclusive<f64>, default: f64| {
            if value.is_finite() {
                value.clamp(*range.start(), *range.end())
            } else {
                default
            }
        };
        let dry_holds_db = finite(self.dry_holds_db, ranges::DRY_HOLDS_DB, default.dry_holds_db);
        let drier_db = finite(self.drier_db, ranges::DRIER_DB, default.drier_db);
        Self {
            dry_holds_db,
            dry_drops_out_db: finite(
                self.dry_drops_out_db,
                ranges::DRY_DROPS_OUT_DB,
                default.dry_drops_out_db,
            )
            .min(dry_holds_db),
            drier_db,
            effect_gone_db: finite(
                self.effect_gone_db,
                ranges::EFFECT_GONE_DB,
                default.effect_gone_db,
            )
            .min(drier_db),
            partials_db: finite(self.partials_db, ranges::PARTIALS_DB, default.partials_db),
            wetter_db: finite(self.wetter_db, ranges::WETTER_DB, default.wetter_db),
            tone_db: finite(self.tone_db, ranges::TONE_DB, default.tone_db),
        }
    }
}

/// How far a live figure must cross a limit before the outcome changes, dB.
pub const HYSTERESIS_DB: f64 = 0.5;

/// The figures that decide an outcome: intervals of the dry's level and colour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// Change of the dry, or of the total where no dry was found, dB; −∞ when nothing arrives.
    pub dry_db: Interval,
    /// Tone change, dB rms; `None` where it can't be told.
    pub tone_db: Option<Interval>,
    /// Change of the dry's partials against each other, dB rms; `None` where it can't be told.
    pub partials_db: Option<Interval>,
}

impl Evidence {
    /// The outcome of one set of figures. `shown` is the one shown so far: a figure must cross a limit by
    /// [`HYSTERESIS_DB`] to change it.
    fn word(dry_db: f64, tone_db: f64, partials_db: f64, limits: &Limits, shown: Option<Outcome>) -> Outcome {
        // Hysteresis in favour of the outcome shown before, on both sides.
        let (hold_slack, drop_slack) = match shown {
            None => (0.0, 0.0),
            Some(Outcome::Holds) => (HYSTERESIS_DB, HYSTERESIS_DB),
            Some(Outcome::Thins) => (-HYSTERESIS_DB, HYSTERESIS_DB),
            Some(Outcome::DropsOut) => (-HYSTERESIS_DB, -HYSTERESIS_DB),
        };
        if dry_db.is_nan() || dry_db < limits.dry_drops_out_db - drop_slack {
            return Outcome::DropsOut;
        }
        let holds = dry_db >= limits.dry_holds_db - hold_slack
            && tone_db <= limits.tone_db + hold_slack
            && partials_db <= limits.partials_db + hold_slack;
        if holds { Outcome::Holds } else { Outcome::Thins }
    }

    /// The outcome of the likely figures alone.
    #[must_use]
    pub fn likely_word(&self, limits: &Limits) -> Outcome {
        self.likely(limits, None)
    }

    fn likely(&self, limits: &Limits, shown: Option<Outcome>) -> Outcome {
        let likely = |figure: Option<Interval>| figure.map_or(0.0, |figure| figure.likely);
        Self::word(
            self.dry_db.likely,
            likely(self.tone_db),
            likely(self.partials_db),
            limits,
            shown,
        )
    }
}

/// Judges the evidence. An outcome is plain when both ends of all figures give it. With a verdict shown before, a
/// figure must cross a limit by [`HYSTERESIS_DB`] to change it.
#[must_use]
pub fn judge(evidence: &Evidence, limits: &Limits, before: Option<Verdict<Outcome>>) -> Verdict<Outcome> {
    let shown = before.and_then(Verdict::word);
    let low = |figure: Option<Interval>| figure.map_or(0.0, |figure| figure.low);
    let high = |figure: Option<Interval>| figure.map_or(0.0, |figure| figure.high);
    let (tone, partials) = (evidence.tone_db, evidence.partials_db);
    let best = Evidence::word(evidence.dry_db.high, low(tone), low(partials), limits, shown);
    let worst = Evidence::word(evidence.dry_db.low, high(tone), high(partials), limits, shown);
    Verdict::between(best, evidence.likely(limits, shown), worst, |low, high| {
        high as usize - low as usize
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::split::interval::Known;

    fn dry(dry_db: f64) -> Evidence {
        Evidence {
            dry_db: Interval::measured(dry_db),
            tone_db: Some(Interval::measured(0.5)),
            partials_db: None,
        }
    }

    #[test]
    fn the_limits_part_the_outcomes() {
        let limits = Limits::default();
        let judged = |evidence: &Evidence| judge(evidence, &limits, None);
        assert_eq!(judged(&dry(-4.5)), Verdict::Plain(Outcome::Holds));
        assert_eq!(judged(&dry(-4.6)), Verdict::Plain(Outcome::Thins));
        assert_eq!(judged(&dry(-10.0)), Verdict::Plain(Outcome::Thins));
        assert_eq!(judged(&dry(-10.1)), Verdict::Plain(Outcome::DropsOut));
        assert_eq!(judged(&dry(f64::NEG_INFINITY)), Verdict::Plain(Outcome::DropsOut));
        let with = |tone_db: f64, partials_db: f64| Evidence {
            tone_db: Some(Interval::measured(tone_db)),
            partials_db: Some(Interval::measured(partials_db)),
            ..dry(0.0)
        };
        assert_eq!(judged(&with(1.9, 3.9)), Verdict::Plain(Outcome::Holds));
        assert_eq!(judged(&with(2.1, 0.0)), Verdict::Plain(Outcome::Thins));
        assert_eq!(judged(&with(0.0, 4.1)), Verdict::Plain(Outcome::Thins));
    }

    #[test]
    fn a_word_is_plain_only_where_the_whole_interval_gives_it() {
        let limits = Limits::default();
        let between = |low, likely, high| {
            let evidence = Evidence {
                dry_db: Interval::new(low, likely, high, Known::Bounded),
                ..dry(0.0)
            };
            judge(&evidence, &limits, None)
        };
        assert_eq!(between(-4.4, -3.0, 0.0), Verdict::Plain(Outcome::Holds));
        assert_eq!(
            between(-4.6, -3.0, 0.0),
            Verdict::Likely {
                word: Outcome::Holds,
                other: Outcome::Thins
            }
        );
        assert_eq!(
            between(f64::NEG_INFINITY, -30.0, -8.0),
            Verdict::Likely {
                word: Outcome::DropsOut,
                other: Outcome::Thins
            }
        );
        assert_eq!(between(f64::NEG_INFINITY, -3.0, 0.0), Verdict::CannotTell);
        assert_eq!(
            between(f64::NEG_INFINITY, f64::NEG_INFINITY, -20.0),
            Verdict::Plain(Outcome::DropsOut)
        );
    }

    #[test]
    fn a_live_outcome_does_not_flicker() {
        let limits = Limits::default();
        let mut shown = None;
        let mut changes = 0;
        for i in 0..100 {
            let now = judge(&dry(-4.5 + if i % 2 == 0 { 0.3 } else { -0.3 }), &limits, shown);
            changes += usize::from(shown.is_some_and(|before| before != now));
            shown = Some(now);
        }
        assert_eq!(changes, 0);
        let after = |dry_db, shown| judge(&dry(dry_db), &limits, Some(Verdict::Plain(shown))).word();
        assert_eq!(after(-5.1, Outcome::Holds), Some(Outcome::Thins));
        assert_eq!(after(-4.2, Outcome::Thins), Some(Outcome::Thins));
        assert_eq!(after(-3.9, Outcome::Thins), Some(Outcome::Holds));
        assert_eq!(after(-9.6, Outcome::DropsOut), Some(Outcome::DropsOut));
    }

    #[test]
    fn limits_from_a_file_are_made_sensible() {
        let wild = Limits {
            dry_holds_db: f64::NAN,
            dry_drops_out_db: 5.0,
            tone_db: -3.0,
            ..Limits::default()
        };
        let tame = wild.clamped();
        assert_eq!(tame.dry_holds_db, -4.5);
        assert_eq!(tame.dry_drops_out_db, -4.5);
        assert_eq!(tame.tone_db, 0.0);
    }
}
