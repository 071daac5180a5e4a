//! Three test plugins on the same framework. One does nothing, and shows a block's cost without our code (`cargo xtask
//! bench`). The others allocate, or wake another thread, on the audio thread; tests use them to make sure that the
//! real-time checks are really on.

use nice_plug::prelude::*;
use std::num::NonZeroU32;
use std::sync::{Arc, Condvar};

/// Does nothing.
const EMPTY: u8 = 0;
/// Allocates on the audio thread.
const ALLOCATING: u8 = 1;
/// Wakes a waiting thread, which takes a system call even if none waits.
const WAKING: u8 = 2;

#[derive(Default)]
struct Probe<const KIND: u8> {
    params: Arc<NoParams>,
    bell: Condvar,
}

#[derive(Default, Params)]
struct NoParams {}

impl<const KIND: u8> Plugin for Probe<KIND> {
    const NAME: &'static str = match KIND {
        ALLOCATING => "Allocating plugin",
        WAKING => "Waking plugin",
        _ => "Empty plugin",
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
        if KIND == ALLOCATING {
            std::hint::black_box(Vec::<f32>::with_capacity(buffer.samples()));
        }
        if KIND == WAKING {
            self.bell.notify_one();
        }
        ProcessStatus::Normal
    }
}

impl<const KIND: u8> ClapPlugin for Probe<KIND> {
    const CLAP_ID: &'static str = match KIND {
        ALLOCATING => "io.sumproof.allocating",
        WAKING => "io.sumproof.waking",
        _ => "io.sumproof.empty",
    };
    const CLAP_DESCRIPTION: Option<&'static str> = None;
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[ClapFeature::AudioEffect];
}

nice_export_clap!(Probe<EMPTY>, Probe<ALLOCATING>, Probe<WAKING>);
