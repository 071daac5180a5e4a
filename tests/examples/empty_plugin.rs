//! A plugin that does nothing, of the same framework: what a block costs before anything of ours is done (`cargo xtask bench`).

use nice_plug::prelude::*;
use std::num::NonZeroU32;
use std::sync::Arc;

#[derive(Default)]
struct Empty {
    params: Arc<NoParams>,
}

#[derive(Default, Params)]
struct NoParams {}

impl Plugin for Empty {
    const NAME: &'static str = "Empty plugin";
    const VENDOR: &'static str = "Sumproof";
    const URL: &'static str = "";
    const EMAIL: &'static str = "";
    const VERSION: &'static str = env!("CARGO_PKG_VERSION");
    const AUDIO_IO_LAYOUTS: &'static [AudioIOLayout] = &[AudioIOLayout {
        main_input_channels: NonZeroU32::new(2),
        main_output_channels: NonZeroU32::new(2),
        ..AudioIOLayout::const_default()
    }];
    type Editor = ();
    type SysExMessage = ();
    type BackgroundTask = ();

    fn params(&self) -> Arc<dyn Params> {
        self.params.clone()
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

impl ClapPlugin for Empty {
    const CLAP_ID: &'static str = "io.sumproof.empty";
    const CLAP_DESCRIPTION: Option<&'static str> = None;
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[ClapFeature::AudioEffect];
}

nice_export_clap!(Empty);
