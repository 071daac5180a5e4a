//! Sorts and filters presets.

use std::cmp::Ordering;

use sumproof_core::score::outcome::Outcome;
use sumproof_report::Judged;

/// A figure by which presets can be sorted and filtered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Figure {
    /// Correlation at lag zero.
    Correlation,
    /// Change of the dry in the mono wedge, dB.
    WedgeDryDb,
    /// Change of the wet in the mono wedge, dB.
    WedgeWetDb,
    /// Wet over dry in stereo, dB.
    WetOverDryDb,
    /// Delay of the right channel, ms.
    RightLateMs,
    /// Integrated loudness in stereo, LUFS.
    StereoLufs,
    /// Integrated loudness in the mono wedge, LUFS.
    WedgeLufs,
    /// Change by summing, LU.
    ChangeLu,
    /// The higher true peak of stereo and wedge, dBTP.
    PeakDbtp,
    /// Length, s.
    Seconds,
}

impl Figure {
    /// All figures.
    pub const ALL: [Self; 10] = [
        Self::Correlation,
        Self::WedgeDryDb,
        Self::WedgeWetDb,
        Self::WetOverDryDb,
        Self::RightLateMs,
        Self::StereoLufs,
        Self::WedgeLufs,
        Self::ChangeLu,
        Self::PeakDbtp,
        Self::Seconds,
    ];

    /// Its name on the command line.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Correlation => "correlation",
            Self::WedgeDryDb => "wedge_dry_db",
            Self::WedgeWetDb => "wedge_wet_db",
            Self::WetOverDryDb => "wet_over_dry_db",
            Self::RightLateMs => "right_late_ms",
            Self::StereoLufs => "stereo_lufs",
            Self::WedgeLufs => "wedge_lufs",
            Self::ChangeLu => "change_lu",
            Self::PeakDbtp => "peak_dbtp",
            Self::Seconds => "seconds",
        }
    }

    fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|figure| figure.name() == name)
    }

    /// The figure of a preset; `None` where it has none.
    #[must_use]
    pub fn of(self, preset: &Judged<'_>) -> Option<f64> {
        let score = preset.wedge.score;
        let loudness = preset.loudness;
        let take = preset.take;
        match self {
            Self::Correlation => take.sums.correlation(),
            Self::WedgeDryDb => score?.dry_db,
            Self::WedgeWetDb => score?.wet_db,
            Self::WetOverDryDb => take.split.wet_over_dry_db().filter(|_| score.is_some()),
            Self::RightLateMs => take.delay.map(|delay| delay.delay_s * 1000.0),
            Self::StereoLufs => Some(loudness?.stereo_lufs),
            Self::WedgeLufs => Some(loudness?.wedge_lufs),
            Self::ChangeLu => Some(loudness?.wedge_lufs - loudness?.stereo_lufs),
            Self::PeakDbtp => Some(loudness?.stereo_peak_dbtp.max(loudness?.wedge_peak_dbtp)),
            Self::Seconds => Some(take.seconds()),
        }
        .filter(|figure| !figure.is_nan())
    }
}

/// The order of presets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// The worst first.
    Worst,
    /// By name.
    Name,
    /// In the order given.
    Given,
    /// By a figure, the lowest first; presets without it last.
    Figure(Figure),
}

impl Order {
    /// The names of all orders.
    #[must_use]
    pub fn names() -> Vec<&'static str> {
        ["worst", "name", "given"]
            .into_iter()
            .chain(Figure::ALL.map(Figure::name))
            .collect()
    }

    /// The order with that name.
    ///
    /// # Errors
    /// One line that lists the orders.
    pub fn parse(name: &str) -> Result<Self, String> {
        match name {
            "worst" => Ok(Self::Worst),
            "name" => Ok(Self::Name),
            "given" => Ok(Self::Given),
            other => Figure::named(other).map(Self::Figure).ok_or_else(|| {
                format!(
                    "there is no order '{other}'; take one of {}",
                    Self::names().join(", ")
                )
            }),
        }
    }

    fn compare(self, a: &Judged<'_>, b: &Judged<'_>) -> Ordering {
        match self {
            Self::Worst => a.worse_than(b),
            Self::Name => a.take.name.cmp(&b.take.name),
            Self::Given => Ordering::Equal,
            Self::Figure(figure) => match (figure.of(a), figure.of(b)) {
                (Some(a), Some(b)) => a.total_cmp(&b),
                (Some(_), None) => Ordering::Less,
                (None, Some(_)) => Ordering::Greater,
                (None, None) => Ordering::Equal,
            },
        }
    }
}

/// A condition on a figure: `correlation<0.3`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Condition {
    figure: Figure,
    wanted: Wanted,
    bound: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Wanted {
    Less,
    AtMost,
    More,
    AtLeast,
}

impl Condition {
    /// Parses a condition.
    ///
    /// # Errors
    /// One line that says how a condition is written.
    pub fn parse(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!(
                "'{text}' is no condition; write a figure, one of < <= > >=, and a number, for example 'correlation<0.3'"
            )
        };
        let at = text.find(['<', '>']).ok_or_else(wrong)?;
        let (figure, rest) = text.split_at(at);
        let (wanted, number) = if let Some(number) = rest.strip_prefix("<=") {
            (Wanted::AtMost, number)
        } else if let Some(number) = rest.strip_prefix(">=") {
            (Wanted::AtLeast, number)
        } else if let Some(number) = rest.strip_prefix('<') {
            (Wanted::Less, number)
        } else {
            (Wanted::More, &rest[1..])
        };
        let figure = Figure::named(figure.trim()).ok_or_else(|| {
            format!(
                "there is no figure '{}'; take one of {}",
                figure.trim(),
                Figure::ALL.map(Figure::name).join(", ")
            )
        })?;
        let bound: f64 = number.trim().parse().map_err(|_| wrong())?;
        if bound.is_nan() {
            return Err(wrong());
        }
        Ok(Self {
            figure,
            wanted,
            bound,
        })
    }

    fn holds(&self, preset: &Judged<'_>) -> bool {
        self.figure.of(preset).is_some_and(|figure| match self.wanted {
            Wanted::Less => figure < self.bound,
            Wanted::AtMost => figure <= self.bound,
            Wanted::More => figure > self.bound,
            Wanted::AtLeast => figure >= self.bound,
        })
    }
}

/// Which presets of a set are shown, and in which order.
#[derive(Clone, Debug)]
pub struct Selection {
    /// The order.
    pub order: Order,
    /// Whether the order is reversed.
    pub reverse: bool,
    /// Only presets with one of these outcomes; empty for any outcome.
    pub outcomes: Vec<Outcome>,
    /// Only presets whose name contains this, in upper or lower case.
    pub name: Option<String>,
    /// Only presets that meet all of these conditions.
    pub conditions: Vec<Condition>,
}

impl Selection {
    /// Filters and sorts.
    pub fn apply(&self, presets: &mut Vec<Judged<'_>>) {
        let wanted_name = self.name.as_ref().map(|name| name.to_lowercase());
        presets.retain(|preset| {
            let outcome = self.outcomes.is_empty()
                || preset
                    .outcome()
                    .is_some_and(|outcome| self.outcomes.contains(&outcome));
            let name = wanted_name
                .as_ref()
                .is_none_or(|name| preset.take.name.to_lowercase().contains(name));
            outcome && name && self.conditions.iter().all(|condition| condition.holds(preset))
        });
        presets.sort_by(|a, b| self.order.compare(a, b));
        if self.reverse {
            presets.reverse();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conditions_as_people_write_them() {
        for (text, wanted, bound) in [
            ("correlation<0.3", Wanted::Less, 0.3),
            ("correlation <= -0.5", Wanted::AtMost, -0.5),
            ("correlation>1", Wanted::More, 1.0),
            ("correlation >=0", Wanted::AtLeast, 0.0),
        ] {
            let condition = Condition::parse(text).expect(text);
            assert_eq!(
                (condition.figure, condition.wanted, condition.bound),
                (Figure::Correlation, wanted, bound),
                "{text}"
            );
        }
        for wrong in [
            "correlation",
            "loudness<3",
            "correlation<",
            "correlation<nan",
            "<3",
            "correlation<>2",
        ] {
            let line = Condition::parse(wrong).expect_err(wrong);
            assert_eq!(line.lines().count(), 1, "{line}");
        }
    }

    #[test]
    fn every_order_is_found_by_its_name() {
        for name in Order::names() {
            assert!(Order::parse(name).is_ok(), "{name}");
        }
        assert!(Order::parse("loudest").is_err());
    }
}
