//! The parameters a host sees. Their string ids are final: they are what projects and automation lanes hold on to, and a
//! test pins the whole list. Ranges are constants here, shared with the settings that clamp and the editor that draws.
//!
//! Nothing is smoothed by the framework: the audition path crossfades by itself.

use std::sync::Arc;

use nice_plug::prelude::*;

use crate::parameters::choices::{FeedChoice, IntegrationChoice, PassChoice, PolarityChoice, SumLawChoice};
use crate::parameters::text;

/// Gain of a line, dB: −40 (a pad and more) to +20, default 0.
pub const GAIN_RANGE_DB: (f32, f32) = (-40.0, 20.0);
/// Delay of a line, ms: 0 to 30, default 0.
pub const DELAY_RANGE_MS: (f32, f32) = (0.0, 30.0);
/// Corner of the line's transformer, Hz: 0 (none) to 200, default 0.
pub const CORNER_RANGE_HZ: (f32, f32) = (0.0, 200.0);
/// Split time of the side-chain, ms: what the core allows.
pub const SPLIT_RANGE_MS: (f32, f32) = (5.0, 100.0);
/// Its default.
pub const SPLIT_DEFAULT_MS: f32 = 20.0;

/// Everything a host can set.
#[derive(Params)]
pub struct HostParams {
    /// Host bypass: sound passes, nothing is analysed, nothing is auditioned.
    #[id = "byp"]
    pub bypass: BoolParam,
    /// Hear the chosen feed instead of the stereo that passes.
    #[id = "aud"]
    pub audition: BoolParam,
    /// The feed to hear.
    #[id = "feed"]
    pub feed: EnumParam<FeedChoice>,
    /// The player's left line, in the path of every feed.
    #[nested(group = "Left line")]
    pub left: LineParams,
    /// The player's right line, in the path of every feed.
    #[nested(group = "Right line")]
    pub right: LineParams,
    /// How mono feeds add.
    #[id = "law"]
    pub law: EnumParam<SumLawChoice>,
    /// Bring the audition back to the loudness of stereo. Off by default, because it hides the loss.
    #[id = "match"]
    pub loudness_match: BoolParam,
    /// Integration time of the live readings.
    #[id = "integ"]
    pub integration: EnumParam<IntegrationChoice>,
    /// A take is recorded while this is on.
    #[id = "rec"]
    pub record: BoolParam,
    /// What the take recorded next contains.
    #[id = "kind"]
    pub pass: EnumParam<PassChoice>,
    /// Keep auditioning while the host bounces offline or records; for this session only.
    #[id = "audbnc"]
    pub audition_in_bounces: BoolParam,
    /// What only the plugin with a side-chain has.
    #[nested(group = "Side-chain")]
    pub side_chain: SideChainParams,
}

/// The parameters of the side-chain. A plugin without one shows none of them to its host.
pub struct SideChainParams {
    exists: bool,
    /// What comes later than this after the first arrival counts as wet, ms, [`SPLIT_RANGE_MS`].
    pub split_ms: FloatParam,
}

impl SideChainParams {
    fn new(exists: bool) -> Self {
        let (min, max) = SPLIT_RANGE_MS;
        Self {
            exists,
            split_ms: FloatParam::new("Split time", SPLIT_DEFAULT_MS, FloatRange::Linear { min, max })
                .with_step_size(0.1)
                .with_unit(" ms")
                .with_value_to_string(Arc::new(|value_ms| format!("{value_ms:.1}")))
                .with_string_to_value(Arc::new(|typed| text::number(typed, "ms"))),
        }
    }

    /// Whether there is a side-chain.
    pub fn exists(&self) -> bool {
        self.exists
    }
}

// SAFETY: as for [`LineParams`]. By hand because the list is empty in the plugin without a side-chain.
unsafe impl Params for SideChainParams {
    fn param_map(&self) -> Vec<(String, ParamPtr, String)> {
        if self.exists {
            vec![(
                String::from(crate::parameters::spec::SPLIT_ID),
                self.split_ms.as_ptr(),
                String::new(),
            )]
        } else {
            Vec::new()
        }
    }
}

/// The parameters of one line. Ids are the side's letter and a short word: `lpol`, `rgain` and so on.
pub struct LineParams {
    side: char,
    /// Polarity.
    pub polarity: EnumParam<PolarityChoice>,
    /// Gain, dB, [`GAIN_RANGE_DB`].
    pub gain_db: FloatParam,
    /// Delay, ms, [`DELAY_RANGE_MS`].
    pub delay_ms: FloatParam,
    /// Transformer corner, Hz, [`CORNER_RANGE_HZ`]; 0 means no transformer.
    pub corner_hz: FloatParam,
    /// Nothing arrives through this line.
    pub unplugged: BoolParam,
}

impl LineParams {
    fn new(side: char, name: &str) -> Self {
        let float = |what: &str, (min, max), step| {
            FloatParam::new(format!("{name} {what}"), 0.0, FloatRange::Linear { min, max })
                .with_step_size(step)
        };
        Self {
            side,
            polarity: EnumParam::new(format!("{name} polarity"), PolarityChoice::Normal),
            gain_db: float("gain", GAIN_RANGE_DB, 0.1)
                .with_unit(" dB")
                .with_value_to_string(Arc::new(text::gain))
                .with_string_to_value(Arc::new(|typed| text::number(typed, "dB"))),
            delay_ms: float("delay", DELAY_RANGE_MS, 0.001)
                .with_unit(" ms")
                .with_value_to_string(Arc::new(text::delay))
                .with_string_to_value(Arc::new(|typed| text::number(typed, "ms"))),
            corner_hz: float("transformer corner", CORNER_RANGE_HZ, 0.1)
                .with_value_to_string(Arc::new(text::corner))
                .with_string_to_value(Arc::new(text::corner_from)),
            unplugged: switch(format!("{name} unplugged"), "Unplugged", "Plugged in"),
        }
    }
}

// SAFETY: the pointers lead to fields of `self`, which lives inside the `Arc` the wrapper keeps for as long as it uses
// them, exactly as the derived implementation does it. Written by hand only because ids here are a letter and a word,
// where the derive's prefixes would put an underscore in between.
unsafe impl Params for LineParams {
    fn param_map(&self) -> Vec<(String, ParamPtr, String)> {
        [
            ("pol", self.polarity.as_ptr()),
            ("gain", self.gain_db.as_ptr()),
            ("del", self.delay_ms.as_ptr()),
            ("hp", self.corner_hz.as_ptr()),
            ("unp", self.unplugged.as_ptr()),
        ]
        .into_iter()
        .map(|(word, pointer)| (format!("{}{word}", self.side), pointer, String::new()))
        .collect()
    }
}

impl Default for HostParams {
    fn default() -> Self {
        Self::new(false)
    }
}

impl HostParams {
    /// The parameters of a plugin with or without a side-chain.
    pub fn new(side_chain: bool) -> Self {
        Self {
            bypass: BoolParam::new("Bypass", false).make_bypass(),
            audition: switch("Audition", "On", "Off"),
            feed: EnumParam::new("Feed", FeedChoice::MonoWedge),
            left: LineParams::new('l', "Left line"),
            right: LineParams::new('r', "Right line"),
            law: EnumParam::new("Sum law", SumLawChoice::Average),
            loudness_match: switch("Loudness match", "On", "Off"),
            integration: EnumParam::new("Integration time", IntegrationChoice::Medium),
            record: switch("Record take", "Recording", "Off"),
            pass: EnumParam::new("Pass recorded", PassChoice::Full),
            audition_in_bounces: switch("Audition in bounces", "On", "Off"),
            side_chain: SideChainParams::new(side_chain),
        }
    }
}

fn switch(name: impl Into<String>, on: &'static str, off: &'static str) -> BoolParam {
    BoolParam::new(name, false)
        .with_value_to_string(Arc::new(move |value| String::from(if value { on } else { off })))
        .with_string_to_value(Arc::new(move |typed| text::switch(typed, on, off)))
}
