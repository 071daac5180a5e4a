//! A set: the presets of a folder or a show beside each other, and what they are looked at through.

use sumproof_core::routing::feed::{Feed, FeedId};
use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Take;
use sumproof_wording::Name;

/// How loud a preset is: ITU-R BS.1770 as EBU R 128 gates it, and its true peaks. −∞ where nothing passes the gates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loudness {
    /// Integrated loudness of both channels, LUFS.
    pub stereo_lufs: f64,
    /// Integrated loudness of the mono wedge, LUFS. It counts as played by both loudspeakers: on one channel alone it would
    /// read 3.01 LU less, which nobody hears.
    pub wedge_lufs: f64,
    /// The higher channel's true peak, dBTP.
    pub stereo_peak_dbtp: f64,
    /// The mono wedge's true peak, dBTP.
    pub wedge_peak_dbtp: f64,
}

/// One preset of a set.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Its analysis.
    pub take: Take,
    /// The file it came from, as the user named it; `None` for a take that was recorded.
    pub file: Option<String>,
    /// How loud it is; `None` where nobody measured it.
    pub loudness: Option<Loudness>,
}

impl From<Take> for Entry {
    fn from(take: Take) -> Self {
        Self {
            take,
            file: None,
            loudness: None,
        }
    }
}

/// A feed that is shown.
#[derive(Clone, Debug, PartialEq)]
pub enum Shown {
    /// A built-in one.
    BuiltIn(FeedId),
    /// One that somebody described.
    Described {
        /// What it is called.
        name: String,
        /// What it is.
        feed: Feed,
    },
}

/// What presets are looked at through: a rig, and the feeds that are of interest.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// Lines, sum law and limits.
    pub rig: Rig,
    /// The feeds, in the order they are shown.
    pub feeds: Vec<Shown>,
    /// The user asked for just these feeds, so all of them decide a preset's outcome. Otherwise only those do in which
    /// nobody made a mistake: a flipped line takes the dry out of nearly every preset.
    pub asked: bool,
}

impl View {
    /// Every built-in feed, and the user's own if it has been described.
    #[must_use]
    pub fn all(rig: Rig, own_name: Option<&str>) -> Self {
        let mut feeds: Vec<Shown> = FeedId::ALL
            .into_iter()
            .filter(|&id| id != FeedId::Own)
            .map(Shown::BuiltIn)
            .collect();
        if own_name.is_some() || rig.own != Rig::default().own {
            feeds.push(Shown::Described {
                name: own_name.unwrap_or(FeedId::Own.name()).into(),
                feed: rig.own,
            });
        }
        Self {
            rig,
            feeds,
            asked: false,
        }
    }
}

impl From<&Rig> for View {
    fn from(rig: &Rig) -> Self {
        Self::all(*rig, None)
    }
}

/// Whether nobody made a mistake in this feed: no fault on a line, no wrong plug.
#[must_use]
pub fn is_faultless(id: FeedId) -> bool {
    !id.has_fault() && id != FeedId::BalancedJackDifference
}

/// How far apart some figures of a set are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// The lowest.
    pub lowest: f64,
    /// The one in the middle; of an even number the mean of both.
    pub median: f64,
    /// The highest.
    pub highest: f64,
}

impl Spread {
    /// Of the finite ones among `figures`; `None` of none.
    #[must_use]
    pub fn of(figures: impl Iterator<Item = f64>) -> Option<Self> {
        let mut sorted: Vec<f64> = figures.filter(|figure| figure.is_finite()).collect();
        sorted.sort_unstable_by(f64::total_cmp);
        let (lowest, highest) = (*sorted.first()?, *sorted.last()?);
        let middle = sorted.len() / 2;
        let median = if sorted.len().is_multiple_of(2) {
            0.5 * (sorted[middle - 1] + sorted[middle])
        } else {
            sorted[middle]
        };
        Some(Self {
            lowest,
            median,
            highest,
        })
    }

    /// From the lowest to the highest.
    #[must_use]
    pub fn range(&self) -> f64 {
        self.highest - self.lowest
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spread_leaves_out_what_is_no_number() {
        let spread = Spread::of([-20.0, f64::NEG_INFINITY, -17.0, f64::NAN, -18.0, -19.0].into_iter());
        assert_eq!(
            spread,
            Some(Spread {
                lowest: -20.0,
                median: -18.5,
                highest: -17.0
            })
        );
        assert_eq!(spread.map(|spread| spread.range()), Some(3.0));
        assert_eq!(Spread::of([f64::NAN].into_iter()), None);
    }

    #[test]
    fn the_own_feed_is_shown_once_described() {
        assert_eq!(View::from(&Rig::default()).feeds.len(), FeedId::ALL.len() - 1);
        let view = View::all(Rig::default(), Some("front fill"));
        assert!(matches!(view.feeds.last(), Some(Shown::Described { name, .. }) if name == "front fill"));
    }
}
