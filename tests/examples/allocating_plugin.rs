//! A plugin that does what none may: it allocates on the audio thread. With it a test makes sure that the framework's
//! allocation check is really on, and that a plugin which runs to the end under it runs without allocating.

use nice_plug::prelude::*;
use std::num::NonZeroU32;
use std::sync::Arc;

#[derive(Default)]
struct Allocating {
    params: Arc<NoParams>,
}

#[derive(Default, Params)]
struct NoParams {}

impl Plugin for Allocating {
    const NAME: &'static str = "Allocating plugin";
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
        buffer: &mut Buffer,
        _aux: &mut AuxiliaryBuffers,
        _context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
        std::hint::black_box(Vec::<f32>::with_capacity(buffer.samples()));
        ProcessStatus::Normal
    }
}

impl ClapPlugin for Allocating {
    const CLAP_ID: &'static str = "io.sumproof.allocating";
    const CLAP_DESCRIPTION: Option<&'static str> = None;
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[ClapFeature::AudioEffect];
}

nice_export_clap!(Allocating);
