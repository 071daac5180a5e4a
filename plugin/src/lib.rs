//! The Sumproof plugin: CLAP and VST3, stereo in and stereo out, no latency.
#![warn(clippy::cast_lossless)]

use std::num::NonZeroU32;
use std::sync::Arc;

use nice_plug::prelude::*;

pub mod choices;
mod editor;
mod faults;
mod guard;
pub mod params;
pub mod seam;
pub mod settings;
pub mod shared;
mod spec;
pub mod state;
pub mod takes;
mod text;
pub mod worker;

use params::HostParams;

/// The plugin.
#[derive(Default)]
pub struct Sumproof {
    params: Arc<HostParams>,
}

impl Plugin for Sumproof {
    const NAME: &'static str = "Sumproof";
    const VENDOR: &'static str = "Sumproof";
    const URL: &'static str = "";
    const EMAIL: &'static str = "";
    const VERSION: &'static str = env!("CARGO_PKG_VERSION");
    const AUDIO_IO_LAYOUTS: &'static [AudioIOLayout] = &[AudioIOLayout {
        main_input_channels: NonZeroU32::new(2),
        main_output_channels: NonZeroU32::new(2),
        ..AudioIOLayout::const_default()
    }];

    type Editor = editor::Window;
    type SysExMessage = ();
    type BackgroundTask = ();

    fn params(&self) -> Arc<dyn Params> {
        self.params.clone()
    }

    fn editor(&mut self, _: AsyncExecutor<Self>) -> Option<Self::Editor> {
        editor::create()
    }

    fn process(
        &mut self,
        _buffer: &mut Buffer,
        _aux: &mut AuxiliaryBuffers,
        _context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
        ProcessStatus::Normal
    }
}

impl ClapPlugin for Sumproof {
    const CLAP_ID: &'static str = "io.sumproof.sumproof";
    const CLAP_DESCRIPTION: Option<&'static str> =
        Some("What a stereo preset becomes in every feed downstream: heard, measured, explained");
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[
        ClapFeature::AudioEffect,
        ClapFeature::Analyzer,
        ClapFeature::Stereo,
        ClapFeature::Utility,
    ];
}

impl Vst3Plugin for Sumproof {
    // Hosts know the plugin by these bytes: never change them.
    const VST3_CLASS_ID: [u8; 16] = *b"SumproofStereoLn";
    const VST3_SUBCATEGORIES: &'static [Vst3SubCategory] = &[
        Vst3SubCategory::Fx,
        Vst3SubCategory::Analyzer,
        Vst3SubCategory::Stereo,
        Vst3SubCategory::Tools,
    ];
}

nice_export_clap!(Sumproof);
nice_export_vst3!(Sumproof);
