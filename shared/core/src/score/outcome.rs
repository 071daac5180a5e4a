//! The three outcomes of a feed, and the limits between them.

/// Holds, thins or drops out. Ordered from good to bad.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Outcome {
    /// The dry is there, the balance and the tone are near what they are in stereo.
    Holds,
    /// Between the two.
    Thins,
    /// The dry is gone, or nothing arrives.
    DropsOut,
}

/// The limits between the outcomes. Common practice, no source: they keep clear of 0 and −3.01 dB, where ordinary presets
/// sit.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default, deny_unknown_fields))]
pub struct Limits {
    /// A feed holds only while its dry is not further down than this, dB.
    pub dry_holds_db: f64,
    /// A feed drops out when its dry is further down than this, dB.
    pub dry_drops_out_db: f64,
    /// A feed holds only while the balance shift is not below this (drier), dB.
    pub drier_db: f64,
    /// A feed holds only while the balance shift is not above this (wetter), dB.
    pub wetter_db: f64,
    /// A feed holds only while the tone change is not above this, dB rms.
    pub tone_db: f64,
    /// A feed holds only while the partials of the dry are not moved by more than this, dB rms.
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

/// Ranges the limits are kept in, dB.
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
    /// Finite limits in a sensible order: what isn't becomes the default; dropping out is never above holding.
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

/// The figures an outcome is judged by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// Change of the dry, or of the total where no dry was found, dB; −∞ when nothing arrives.
    pub dry_db: f64,
    /// Balance shift, dB; `None` where no wet or no dry was found.
    pub balance_shift_db: Option<f64>,
    /// Tone change, dB rms; `None` where it can't be told.
    pub tone_db: Option<f64>,
}

/// Judges. With the outcome shown before, a figure must cross a limit by [`HYSTERESIS_DB`] to change it.
#[must_use]
pub fn judge(evidence: &Evidence, limits: &Limits, before: Option<Outcome>) -> Outcome {
    // Slack is given to the outcome shown before, on both sides.
    let (hold_slack, drop_slack) = match before {
        None => (0.0, 0.0),
        Some(Outcome::Holds) => (HYSTERESIS_DB, HYSTERESIS_DB),
        Some(Outcome::Thins) => (-HYSTERESIS_DB, HYSTERESIS_DB),
        Some(Outcome::DropsOut) => (-HYSTERESIS_DB, -HYSTERESIS_DB),
    };
    if evidence.dry_db.is_nan() || evidence.dry_db < limits.dry_drops_out_db - drop_slack {
        return Outcome::DropsOut;
    }
    let holds = evidence.dry_db >= limits.dry_holds_db - hold_slack
        && evidence.balance_shift_db.is_none_or(|shift| {
            shift >= limits.drier_db - hold_slack && shift <= limits.wetter_db + hold_slack
        })
        && evidence
            .tone_db
            .is_none_or(|tone| tone <= limits.tone_db + hold_slack);
    if holds { Outcome::Holds } else { Outcome::Thins }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dry(dry_db: f64) -> Evidence {
        Evidence {
            dry_db,
            balance_shift_db: Some(-3.01),
            tone_db: Some(0.5),
        }
    }

    #[test]
    fn the_limits_part_the_outcomes() {
        let limits = Limits::default();
        let judged = |evidence: &Evidence| judge(evidence, &limits, None);
        assert_eq!(judged(&dry(-4.5)), Outcome::Holds);
        assert_eq!(judged(&dry(-4.6)), Outcome::Thins);
        assert_eq!(judged(&dry(-10.0)), Outcome::Thins);
        assert_eq!(judged(&dry(-10.1)), Outcome::DropsOut);
        assert_eq!(judged(&dry(f64::NEG_INFINITY)), Outcome::DropsOut);
        assert_eq!(
            judged(&Evidence {
                balance_shift_db: Some(3.1),
                ..dry(0.0)
            }),
            Outcome::Thins
        );
        assert_eq!(
            judged(&Evidence {
                balance_shift_db: Some(-6.1),
                ..dry(0.0)
            }),
            Outcome::Thins
        );
        assert_eq!(
            judged(&Evidence {
                balance_shift_db: None,
                ..dry(0.0)
            }),
            Outcome::Holds
        );
        assert_eq!(
            judged(&Evidence {
                tone_db: Some(2.1),
                ..dry(0.0)
            }),
            Outcome::Thins
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
        assert_eq!(judge(&dry(-5.1), &limits, Some(Outcome::Holds)), Outcome::Thins);
        assert_eq!(judge(&dry(-4.2), &limits, Some(Outcome::Thins)), Outcome::Thins);
        assert_eq!(judge(&dry(-3.9), &limits, Some(Outcome::Thins)), Outcome::Holds);
        assert_eq!(
            judge(&dry(-9.6), &limits, Some(Outcome::DropsOut)),
            Outcome::DropsOut
        );
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
