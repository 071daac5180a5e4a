//! Two plugins that are not ours to sell, of the same framework. One does nothing: what a block costs before anything of ours is
//! done (`cargo xtask bench`). The other does what none may: it allocates on the audio thread; with it a test makes sure that
//! the framework's allocation check is really on, and that a plugin which runs to the end under it runs without allocating.

use nice_plug::prelude::*;
use std::num::NonZeroU32;
use std::sync::Arc;

#[derive(Default)]
struct Probe<const ALLOCATES: bool> {
    params: Arc<NoParams>,
}

#[derive(Default, Params)]
struct NoParams {}

impl<const ALLOCATES: bool> Plugin for Probe<ALLOCATES> {
    const NAME: &'static str = if ALLOCATES {
        "Allocating plugin"
    } else {
        "Empty plugin"
    };
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
        if ALLOCATES {
            std::hint::black_box(Vec::<f32>::with_capacity(buffer.samples()));
        }
        ProcessStatus::Normal
    }
}

impl<const ALLOCATES: bool> ClapPlugin for Probe<ALLOCATES> {
    const CLAP_ID: &'static str = if ALLOCATES {
        "io.sumproof.allocating"
    } else {
        "io.sumproof.empty"
    };
    const CLAP_DESCRIPTION: Option<&'static str> = None;
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[ClapFeature::AudioEffect];
}

nice_export_clap!(Probe<false>, Probe<true>);
