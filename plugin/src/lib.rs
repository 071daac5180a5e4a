//! The Sumproof plugin: CLAP and VST3, stereo in and stereo out, no latency.
//!
//! # Contract
//! * While nothing is auditioned the output is the input, bit for bit: the buffer is not written. Subnormals and garbage
//!   samples are handed on as they came; every measurement ignores them.
//! * The audio thread allocates nothing, locks nothing and makes no system call ([`audio`]); one ring carries frames and
//!   commands to the analysis thread ([`seam`], [`engine`], [`worker`]), one triple buffer carries readings to the window.
//! * A panic in the audio callback or in the analysis never reaches the host; sound passes, and the window says so.
//! * Parameter ids, choice ids and field keys are final. States of newer versions are kept ([`state`]).
#![warn(clippy::cast_lossless)]

use std::num::NonZeroU32;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex};

use nice_plug::prelude::*;
use nice_plug::util::permit_alloc;
use nice_plug_egui::RepaintNotifier;
use sumproof_core::board::Rig;
use triple_buffer::triple_buffer;

pub mod audio;
pub mod choices;
pub mod clock;
pub mod counsel;
pub mod editor;
pub mod engine;
pub mod faults;
pub mod fields;
mod guard;
mod intents;
mod pairing;
pub mod params;
pub mod published;
pub mod seam;
pub mod settings;
pub mod shared;
mod spec;
pub mod state;
pub mod takes;
mod text;
#[cfg(test)]
mod whole;
pub mod worker;

use audio::{AudioSide, Drive, Mode};
use engine::{Analysis, Engine, Links};
use fields::PluginParams;
use guard::Guard;
use params::HostParams;
use published::Published;
use shared::Shared;
use worker::Worker;

/// How long sound goes on after the input while a feed is heard, s: the longest line and a fade.
const TAIL_S: f64 = 0.1;

/// The plugin.
pub struct Sumproof {
    /// What is saved and loaded.
    params: Arc<PluginParams>,
    /// The words shared with the analysis and the window.
    shared: Arc<Shared>,
    /// The analysis, behind its lock.
    analysis: Analysis,
    /// What runs in the audio callback.
    audio: AudioSide,
    /// What keeps its panics from the host.
    guard: Guard,
    /// The analysis thread, from the first activation on.
    worker: Option<Worker>,
    /// What the window is connected to, until the wrapper asks for the window.
    window: Option<WindowLinks>,
    tail_samples: u32,
}

/// What only the window needs.
struct WindowLinks {
    published: triple_buffer::Output<Published>,
    repaint: RepaintNotifier,
}

impl Default for Sumproof {
    fn default() -> Self {
        guard::install_hook();
        let host = Arc::new(HostParams::default());
        let shared = Arc::new(Shared::default());
        let (own_in, own_out) = triple_buffer(&Rig::default().own);
        let (published_in, published_out) = triple_buffer(&Published::default());
        let repaint = RepaintNotifier::new();
        let analysis = Analysis::new(Engine::new(Links {
            params: Arc::clone(&host),
            shared: Arc::clone(&shared),
            own: own_in,
            published: published_in,
            repaint: repaint.clone(),
        }));
        Self {
            params: Arc::new(PluginParams::new(Arc::clone(&host), &analysis)),
            audio: AudioSide::new(host, Arc::clone(&shared), analysis.clone(), own_out),
            shared,
            analysis,
            guard: Guard::default(),
            worker: None,
            window: Some(WindowLinks {
                published: published_out,
                repaint,
            }),
            tail_samples: 0,
        }
    }
}

impl Plugin for Sumproof {
    const NAME: &'static str = "Sumproof";
    const VENDOR: &'static str = "Sumproof";
    const URL: &'static str = "";
    const EMAIL: &'static str = "";
    const VERSION: &'static str = state::VERSION;
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
        let links = self.window.take()?;
        Some(editor::Window::new(editor::Glue {
            params: Arc::clone(&self.params),
            analysis: self.analysis.clone(),
            shared: Arc::clone(&self.shared),
            published: Mutex::new(links.published),
            repaint: links.repaint,
        }))
    }

    fn filter_state(state: &mut PluginState) {
        state::filter(state, &fields::FIELDS);
    }

    fn activate(
        &mut self,
        _layout: &AudioIOLayout,
        config: &BufferConfig,
        context: &mut impl ActivateContext<Self>,
    ) -> bool {
        let rate_hz = f64::from(config.sample_rate);
        if !(1000.0..=1_000_000.0).contains(&rate_hz) {
            return false;
        }
        let drive = Drive {
            rate_hz,
            longest_block: config.max_buffer_size as usize,
            mode: mode(config.process_mode, context.plugin_api()),
        };
        self.tail_samples = (TAIL_S * rate_hz) as u32;
        // Not on the audio thread, but a panic would take the host down from here just as well.
        if self.guard.run(|| self.audio.activate(&drive)).is_none() {
            self.shared.panicked.store(true, Ordering::Relaxed);
        }
        if self.worker.is_none() {
            let (analysis, shared) = (self.analysis.clone(), Arc::clone(&self.shared));
            let mut watch = clock::Watch::default();
            // Without a thread the sound still passes, and a state being saved takes in what the ring holds.
            self.worker = Worker::start(move || {
                watch.look(&shared.pulse);
                analysis.look()
            })
            .ok();
        }
        true
    }

    fn reset(&mut self) {
        if self.guard.run(|| self.audio.reset()).is_none() {
            self.shared.panicked.store(true, Ordering::Relaxed);
        }
    }

    fn process(
        &mut self,
        buffer: &mut Buffer,
        _aux: &mut AuxiliaryBuffers,
        context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
        let host_records = context.transport().recording;
        let (audio, guard) = (&mut self.audio, &mut self.guard);
        let panics = audio.fault.panics_next();
        let mut run = || guard.run(|| audio.process(buffer.as_slice(), host_records));
        let ran = if panics { permit_alloc(run) } else { run() };
        if ran.is_none() {
            self.shared.panicked.store(true, Ordering::Relaxed);
            return ProcessStatus::Normal;
        }
        if self.audio.has_tail() {
            ProcessStatus::Tail(self.tail_samples)
        } else {
            ProcessStatus::Normal
        }
    }

    fn deactivate(&mut self) {
        if self.guard.run(|| self.audio.deactivate()).is_none() {
            self.shared.panicked.store(true, Ordering::Relaxed);
        }
    }
}

/// Whether the host renders offline, as far as its word can be had: under VST3 it can't, see [`clock`].
fn mode(told: ProcessMode, api: PluginApi) -> Mode {
    match (told, api) {
        (_, PluginApi::Vst3) => Mode::Unknown,
        (ProcessMode::Offline, _) => Mode::Offline,
        _ => Mode::RealTime,
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
