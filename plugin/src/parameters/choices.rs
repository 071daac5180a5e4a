//! The choices of the plugin's list parameters. Names are for people and may be bettered; ids are stored in projects and
//! never change, so new choices go at the end.

use nice_plug::prelude::Enum;

/// What is heard while auditioning, and the row of the feed table it stands for. Ids are the core's feed ids.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum FeedChoice {
    /// Both lines, each to its own loudspeaker.
    #[id = "stereo-house"]
    #[name = "Stereo house"]
    StereoHouse,
    /// Both lines added; a mono in-ear and a mono broadcast are the same sum.
    #[id = "mono-wedge"]
    #[name = "Mono wedge"]
    MonoWedge,
    /// Only the left line is used.
    #[id = "left-line-only"]
    #[name = "Left line only"]
    LeftLineOnly,
    /// Only the right line is used.
    #[id = "right-line-only"]
    #[name = "Right line only"]
    RightLineOnly,
    /// Mono wedge with one line's polarity reversed.
    #[id = "wedge-line-flipped"]
    #[name = "Mono wedge, one line flipped"]
    WedgeLineFlipped,
    /// Mono wedge with a 20 dB pad in one line.
    #[id = "wedge-line-padded"]
    #[name = "Mono wedge, one line padded 20 dB"]
    WedgeLinePadded,
    /// Mono wedge with one line 1 ms late.
    #[id = "wedge-line-late"]
    #[name = "Mono wedge, one line late 1 ms"]
    WedgeLineLate,
    /// Mono wedge with one line not plugged in.
    #[id = "wedge-line-unplugged"]
    #[name = "Mono wedge, one line unplugged"]
    WedgeLineUnplugged,
    /// Mono wedge with one line through a 12:1 transformer.
    #[id = "wedge-line-transformer"]
    #[name = "Mono wedge, one line through a 12:1 transformer"]
    WedgeLineTransformer,
    /// A stereo jack in a balanced mono input: left minus right.
    #[id = "balanced-jack-difference"]
    #[name = "Stereo jack in a balanced mono input"]
    BalancedJackDifference,
    /// The sum below 100 Hz.
    #[id = "mono-subs"]
    #[name = "Mono subs"]
    MonoSubs,
    /// The sum below 100 Hz with one line flipped.
    #[id = "mono-subs-line-flipped"]
    #[name = "Mono subs, one line flipped"]
    MonoSubsLineFlipped,
    /// A feed of the user's own, kept in the state.
    #[id = "own"]
    #[name = "Your own feed"]
    Own,
}

/// Polarity of a line.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum PolarityChoice {
    /// As the player's board sends it.
    #[id = "normal"]
    #[name = "Normal"]
    Normal,
    /// Pins 2 and 3 exchanged somewhere on the way.
    #[id = "flipped"]
    #[name = "Flipped"]
    Flipped,
}

/// How a mono feed adds both lines.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum SumLawChoice {
    /// Half of each, as a passive sum does (−6.02 dB).
    #[id = "average"]
    #[name = "Average (−6 dB)"]
    Average,
    /// The usual pan law of a desk (−3.01 dB).
    #[id = "minus-3-db"]
    #[name = "−3 dB"]
    Minus3Db,
    /// Both lines in full (0 dB).
    #[id = "unity"]
    #[name = "Unity (0 dB)"]
    Unity,
}

/// Integration time of the live readings.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum IntegrationChoice {
    /// 0.3 s.
    #[id = "0.3"]
    #[name = "0.3 s"]
    Short,
    /// 1 s.
    #[id = "1"]
    #[name = "1 s"]
    Medium,
    /// 3 s.
    #[id = "3"]
    #[name = "3 s"]
    Long,
}

impl IntegrationChoice {
    /// The time constant, s.
    pub fn seconds(self) -> f64 {
        match self {
            Self::Short => 0.3,
            Self::Medium => 1.0,
            Self::Long => 3.0,
        }
    }
}

/// What the pass being recorded contains.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum PassChoice {
    /// The preset as it is played.
    #[id = "full"]
    #[name = "Full preset"]
    Full,
    /// The same part with the effects off.
    #[id = "dry"]
    #[name = "Dry only"]
    Dry,
    /// The same part with the dry off.
    #[id = "wet"]
    #[name = "Wet only"]
    Wet,
}
