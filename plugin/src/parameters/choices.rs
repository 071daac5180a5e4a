//! The choices of the list parameters: the core's own lists. Names are for people and may be improved; ids are stored
//! in projects and never change, so new choices go at the end.

use nice_plug::prelude::Enum;
use sumproof_core::routing::feed::{FeedId, SumLaw};
use sumproof_core::routing::line::Polarity;
use sumproof_core::session::take::Pass;
use sumproof_core::split::kind::PresetKind;
use sumproof_views::Integration;

/// A list of the core's, with what a host needs to show it.
pub trait Listed: Copy + PartialEq + 'static {
    /// All choices, in the order of their indices.
    const ALL: &'static [Self];
    /// Their ids as stored.
    const IDS: &'static [&'static str];
    /// Their names as a host shows them.
    const NAMES: &'static [&'static str];

    /// Its place in the list.
    fn index(self) -> usize {
        Self::ALL.iter().position(|&other| other == self).unwrap_or(0)
    }
}

/// One choice of a list, in the framework's form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Choice<T>(pub T);

impl<T: Listed> Enum for Choice<T> {
    fn variants() -> &'static [&'static str] {
        T::NAMES
    }

    fn ids() -> Option<&'static [&'static str]> {
        Some(T::IDS)
    }

    fn to_index(self) -> usize {
        self.0.index()
    }

    fn from_index(index: usize) -> Self {
        Self(T::ALL[index.min(T::ALL.len() - 1)])
    }
}

impl Listed for FeedId {
    const ALL: &'static [Self] = &Self::ALL;
    const IDS: &'static [&'static str] = &[
        "stereo-house",
        "mono-wedge",
        "left-line-only",
        "right-line-only",
        "wedge-line-flipped",
        "wedge-line-padded",
        "wedge-line-late",
        "wedge-line-unplugged",
        "wedge-line-transformer",
        "balanced-jack-difference",
        "mono-subs",
        "mono-subs-line-flipped",
        "own",
    ];
    const NAMES: &'static [&'static str] = &[
        "Stereo house",
        "Mono wedge",
        "Left line only",
        "Right line only",
        "Mono wedge, one line flipped",
        "Mono wedge, one line padded 20 dB",
        "Mono wedge, one line late 1 ms",
        "Mono wedge, one line unplugged",
        "Mono wedge, one line through a 12:1 transformer",
        "Stereo jack in a balanced mono input",
        "Mono subs",
        "Mono subs, one line flipped",
        "Your own feed",
    ];
}

impl Listed for Polarity {
    const ALL: &'static [Self] = &[Self::Normal, Self::Flipped];
    const IDS: &'static [&'static str] = &["normal", "flipped"];
    const NAMES: &'static [&'static str] = &["Normal", "Flipped"];
}

impl Listed for SumLaw {
    const ALL: &'static [Self] = &[Self::Average, Self::Minus3Db, Self::Unity];
    const IDS: &'static [&'static str] = &["average", "minus-3-db", "unity"];
    const NAMES: &'static [&'static str] = &["Average (−6 dB)", "−3 dB", "Unity (0 dB)"];
}

impl Listed for Integration {
    const ALL: &'static [Self] = &Self::ALL;
    const IDS: &'static [&'static str] = &["0.3", "1", "3", "phrase"];
    const NAMES: &'static [&'static str] = &["0.3 s", "1 s", "3 s", "Phrase"];
}

impl Listed for PresetKind {
    const ALL: &'static [Self] = &Self::ALL;
    const IDS: &'static [&'static str] = &[
        "not-said",
        "centre",
        "one-side",
        "two-amplifiers",
        "two-takes",
        "late-copy",
        "no-dry",
    ];
    const NAMES: &'static [&'static str] = &[
        "Not said",
        "One dry in the middle",
        "One dry to one side",
        "Two amplifiers",
        "Two takes",
        "A late copy",
        "No separate dry",
    ];
}

impl Listed for Pass {
    const ALL: &'static [Self] = &Self::ALL;
    const IDS: &'static [&'static str] = &["full", "dry", "wet"];
    const NAMES: &'static [&'static str] = &["Full preset", "Dry only", "Wet only"];
}
