//! The parameters a host sees. Their string ids are final, because projects and automation lanes store them; a test
//! pins the whole list. Ranges are constants here, shared with the settings that clamp and the editor that draws.
//!
//! The framework smooths nothing: the audition path crossfades by itself.

use std::sync::Arc;

use nice_plug::prelude::*;

use sumproof_core::routing::feed::{FeedId, SumLaw};
use sumproof_core::routing::line::Polarity;
use sumproof_core::session::take::Pass;
use sumproof_core::split::kind::PresetKind;
use sumproof_views::Integration;

use crate::parameters::choices::Choice;
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
    /// Host bypass: sound passes, nothing is analysed or auditioned.
    #[id = "byp"]
    pub bypass: BoolParam,
    /// Audition: play the chosen feed in place of the stereo input.
    #[id = "aud"]
    pub audition: BoolParam,
    /// The feed to hear.
    #[id = "feed"]
    pub feed: EnumParam<Choice<FeedId>>,
    /// The player's left line, in the path of every feed.
    #[nested(id_prefix = "l", group = "Left line")]
    pub left: LineParams,
    /// The player's right line, in the path of every feed.
    #[nested(id_prefix = "r", group = "Right line")]
    pub right: LineParams,
    /// How mono feeds add.
    #[id = "law"]
    pub law: EnumParam<Choice<SumLaw>>,
    /// Bring the audition to the loudness of stereo. Off by default, because it hides the loss.
    #[id = "match"]
    pub loudness_match: BoolParam,
    /// Averaging of the readings: over the phrase, or over its last seconds.
    #[id = "integ"]
    pub integration: EnumParam<Choice<Integration>>,
    /// A take is recorded while this is on.
    #[id = "rec"]
    pub record: BoolParam,
    /// Content of the next take.
    #[id = "kind"]
    pub pass: EnumParam<Choice<Pass>>,
    /// The kind of preset the player has set.
    #[id = "preset"]
    pub preset: EnumParam<Choice<PresetKind>>,
    /// Keep auditioning while the host bounces offline or records. Has an effect only in the session in which it was
    /// switched on.
    #[id = "audbnc"]
    pub audition_in_bounces: BoolParam,
    /// Every phrase of four seconds or more becomes a take while this is on.
    #[id = "auto"]
    pub takes_by_phrase: BoolParam,
    /// Switching this on makes a take of the last phrase: for a pedal.
    #[id = "last"]
    pub take_phrase: BoolParam,
    /// Switching this on skips the next name: for a pedal.
    #[id = "next"]
    pub next_name: BoolParam,
    /// While this is on, both lines count as straight, however they are set: for a pedal.
    #[id = "straight"]
    pub straight: BoolParam,
    /// Only in the plugin with a side-chain.
    #[nested(array)]
    pub side_chain: Option<SideChainParams>,
}

/// The parameters of the side-chain.
#[derive(Params)]
pub struct SideChainParams {
    /// Split time: sound arriving later than this after the first arrival counts as wet, ms, [`SPLIT_RANGE_MS`].
    #[id = "split"]
    pub split_ms: FloatParam,
}

impl Default for SideChainParams {
    fn default() -> Self {
        let (min, max) = SPLIT_RANGE_MS;
        Self {
            split_ms: FloatParam::new(
                "Side-chain split time",
                SPLIT_DEFAULT_MS,
                FloatRange::Linear { min, max },
            )
            .with_step_size(0.1)
            .with_unit(" ms")
            .with_value_to_string(Arc::new(|value_ms| format!("{value_ms:.1}")))
            .with_string_to_value(Arc::new(|typed| text::number(typed, "ms"))),
        }
    }
}

/// The parameters of one line. Ids are prefixed with the side's letter: `l_pol`, `r_gain` and so on.
#[derive(Params)]
pub struct LineParams {
    /// Polarity.
    #[id = "pol"]
    pub polarity: EnumParam<Choice<Polarity>>,
    /// Gain, dB, [`GAIN_RANGE_DB`].
    #[id = "gain"]
    pub gain_db: FloatParam,
    /// Delay, ms, [`DELAY_RANGE_MS`].
    #[id = "del"]
    pub delay_ms: FloatParam,
    /// Transformer corner, Hz, [`CORNER_RANGE_HZ`]; 0 means no transformer.
    #[id = "hp"]
    pub corner_hz: FloatParam,
    /// Nothing arrives through this line.
    #[id = "unp"]
    pub unplugged: BoolParam,
}

impl LineParams {
    fn new(name: &str) -> Self {
        let float = |what: &str, (min, max), step| {
            FloatParam::new(format!("{name} {what}"), 0.0, FloatRange::Linear { min, max })
                .with_step_size(step)
        };
        Self {
            polarity: EnumParam::new(format!("{name} polarity"), Choice(Polarity::Normal)),
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
            feed: EnumParam::new("Feed", Choice(FeedId::MonoWedge)),
            left: LineParams::new("Left line"),
            right: LineParams::new("Right line"),
            law: EnumParam::new("Sum law", Choice(SumLaw::Average)),
            loudness_match: switch("Loudness match", "On", "Off"),
            integration: EnumParam::new("Read over", Choice(Integration::Phrase)),
            record: switch("Record take", "Recording", "Off"),
            pass: EnumParam::new("Pass recorded", Choice(Pass::Full)),
            preset: EnumParam::new("Kind of preset", Choice(PresetKind::NotSaid)),
            audition_in_bounces: switch("Audition in bounces", "On", "Off"),
            takes_by_phrase: switch("Takes by phrase", "On", "Off"),
            take_phrase: switch("Take the last phrase", "Now", "Off"),
            next_name: switch("Next name", "Now", "Off"),
            straight: switch("Lines straight", "On", "Off"),
            side_chain: side_chain.then(SideChainParams::default),
        }
    }
}

fn switch(name: impl Into<String>, on: &'static str, off: &'static str) -> BoolParam {
    BoolParam::new(name, false)
        .with_value_to_string(Arc::new(move |value| String::from(if value { on } else { off })))
        .with_string_to_value(Arc::new(move |typed| text::switch(typed, on, off)))
}
