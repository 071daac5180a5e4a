//! A set: the presets of a folder or a show, and the view through which they are judged.

use sumproof_core::routing::feed::{Feed, FeedId};
use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Take;
use sumproof_wording::Name;

/// Loudness of a preset: ITU-R BS.1770, gated as in EBU R 128, and its true peaks. −∞ where nothing passes the gates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loudness {
    /// Integrated loudness of both channels, LUFS.
    pub stereo_lufs: f64,
    /// Integrated loudness of the mono wedge, LUFS. It counts as played by both loudspeakers: measured on one channel
    /// it would read 3.01 LU less, which is not what is heard.
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
    /// Its loudness; `None` where it was not measured.
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
    /// A built-in feed.
    BuiltIn(FeedId),
    /// A feed described by the user.
    Described {
        /// Its name.
        name: String,
        /// Its definition.
        feed: Feed,
    },
}

/// The view through which presets are judged: a rig, and the feeds to show.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// Lines, sum law and limits.
    pub rig: Rig,
    /// The feeds, in the order in which they are shown.
    pub feeds: Vec<Shown>,
    /// Whether the user asked for just these feeds, so that all of them decide a preset's outcome. Otherwise only feeds
    /// without a fault decide: a flipped line takes the dry out of nearly every preset.
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_own_feed_is_shown_once_described() {
        assert_eq!(View::from(&Rig::default()).feeds.len(), FeedId::ALL.len() - 1);
        let view = View::all(Rig::default(), Some("front fill"));
        assert!(matches!(view.feeds.last(), Some(Shown::Described { name, .. }) if name == "front fill"));
    }
}
