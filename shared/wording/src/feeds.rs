//! The feeds: their names, full and short, and an explanation of each.

use sumproof_core::routing::feed::FeedId;

/// The full name.
#[must_use]
pub fn name(feed: FeedId) -> &'static str {
    match feed {
        FeedId::StereoHouse => "stereo house",
        FeedId::MonoWedge => "mono wedge",
        FeedId::LeftLineOnly => "left line only",
        FeedId::RightLineOnly => "right line only",
        FeedId::WedgeLineFlipped => "mono wedge, one line flipped",
        FeedId::WedgeLinePadded => "mono wedge, one line padded 20 dB",
        FeedId::WedgeLineLate => "mono wedge, one line late 1 ms",
        FeedId::WedgeLineUnplugged => "mono wedge, one line unplugged",
        FeedId::WedgeLineTransformer => "mono wedge, one line through a 12:1 transformer",
        FeedId::BalancedJackDifference => "stereo jack in a balanced mono input",
        FeedId::MonoSubs => "mono subs",
        FeedId::MonoSubsLineFlipped => "mono subs, one line flipped",
        FeedId::Own => "your own feed",
    }
}

/// An explanation of the feed, in a sentence or two.
///
/// ```
/// use sumproof_core::routing::feed::FeedId;
/// use sumproof_wording::feeds;
///
/// assert_eq!(feeds::explanation(FeedId::LeftLineOnly), "Only the left line reaches the listener.");
/// ```
#[must_use]
pub fn explanation(feed: FeedId) -> &'static str {
    match feed {
        FeedId::StereoHouse => "Each line in its own loudspeaker, left and right.",
        FeedId::MonoWedge => "Both lines added. A mono in-ear and a mono broadcast are the same sum.",
        FeedId::LeftLineOnly => "Only the left line reaches the listener.",
        FeedId::RightLineOnly => "Only the right line reaches the listener.",
        FeedId::WedgeLineFlipped => "Both lines added, one of them with inverted polarity.",
        FeedId::WedgeLinePadded => "Both lines added, one of them 20 dB down.",
        FeedId::WedgeLineLate => "Both lines added, one of them 1 ms later than the other.",
        FeedId::WedgeLineUnplugged => "Both lines added, but one of them carries nothing.",
        FeedId::WedgeLineTransformer => {
            "Both lines added, one of them through a passive direct box: 12:1 transformer, 30 Hz corner."
        }
        FeedId::BalancedJackDifference => {
            "A stereo plug in a balanced mono input: the input takes left minus right."
        }
        FeedId::MonoSubs => "Both lines added, below 100 Hz only.",
        FeedId::MonoSubsLineFlipped => "Both lines added below 100 Hz, one of them with inverted polarity.",
        FeedId::Own => "Lines and ending of your own.",
    }
}

/// The short name, for a row of the board; the full one where that is short enough.
#[must_use]
pub fn short_name(feed: FeedId) -> &'static str {
    match feed {
        FeedId::WedgeLineFlipped => "wedge, line flipped",
        FeedId::WedgeLinePadded => "wedge, line \u{2212}20 dB",
        FeedId::WedgeLineLate => "wedge, line 1 ms late",
        FeedId::WedgeLineUnplugged => "wedge, line unplugged",
        FeedId::WedgeLineTransformer => "wedge, transformer",
        FeedId::BalancedJackDifference => "jack in balanced in",
        FeedId::MonoSubsLineFlipped => "subs, line flipped",
        other => name(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_feed_has_names_and_an_explanation_of_its_own() {
        for say in [name, short_name, explanation] {
            for (index, &feed) in FeedId::ALL.iter().enumerate() {
                assert!(!say(feed).is_empty());
                assert!(
                    FeedId::ALL[..index].iter().all(|&other| say(other) != say(feed)),
                    "{}",
                    say(feed)
                );
            }
        }
    }
}
