//! The Sumproof plugins: CLAP and VST3, stereo in and stereo out, no latency. The library holds two: the plain one, and
//! one with the dry signal on a side-chain ([`Sumproof`] of two and of four channels).
//!
//! # Contract
//! * While nothing is auditioned the output is the input, bit for bit: the buffer is not written. Subnormals and
//!   invalid samples pass unchanged; every measurement ignores them.
//! * The audio thread allocates nothing, locks nothing and makes no system call ([`audio`]); one ring carries frames and
//!   commands to the analysis thread ([`ring`], [`engine`], [`worker`]), one triple buffer carries readings to the window.
//! * A panic in the audio callback or in the analysis never reaches the host; sound passes, and the window says so.
//! * Parameter ids, choice ids and field keys are final. States of newer versions are kept ([`state`]).
#![warn(clippy::cast_lossless)]
#![cfg_attr(
    test,
    allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_possible_wrap,
        reason = "a test chooses the numbers it converts"
    )
)]

use std::num::NonZeroU32;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex};

use nice_plug::midi::{Channel, Key};
use nice_plug::prelude::*;
use nice_plug::util::permit_alloc;
use nice_plug_egui::RepaintNotifier;
use sumproof_core::dsp::numbers::to_count;
use sumproof_core::score::rig::Rig;
use sumproof_core::split::side_chain::Reference;
use triple_buffer::triple_buffer;

pub mod analysis;
pub mod audio;
pub mod bridge;
pub mod fields;
pub mod files;
pub mod parameters;
pub mod state;
pub mod testing;
pub mod vst3;
pub mod window;

use crate::analysis::engine::{Analysis, AnyEnd, Engine, Links};
use crate::analysis::worker::Worker;
use crate::audio::guard::Guard;
use crate::audio::side::{AudioSide, Drive, Mode};
use crate::bridge::pedals::Pedal;
use crate::bridge::published::Published;
use crate::bridge::ring::AnalysisEnd;
use crate::bridge::shared::Shared;
use crate::fields::PluginParams;
use crate::files::tasks::FileTasks;
use crate::parameters::params::HostParams;

/// How long sound goes on after the input while a feed is heard, s: the longest line's delay and a fade.
const TAIL_S: f64 = 0.1;

/// Channels the plain plugin hands to its analysis.
const PLAIN: usize = 2;
/// The same for the plugin with a side-chain: two of sound, two of reference.
const SIDE_CHAIN: usize = 4;

/// The plain plugin for VST3.
pub type SumproofPlain = Sumproof<PLAIN>;
/// The same with a MIDI input: CLAP, and the stand-alone program.
pub type SumproofPlainMidi = Sumproof<PLAIN, true>;
/// The plugin with a side-chain.
pub type SumproofSideChain = Sumproof<SIDE_CHAIN>;
/// The same with a MIDI input.
pub type SumproofSideChainMidi = Sumproof<SIDE_CHAIN, true>;

/// The differences between the two plugins. Hosts identify them by ids and class ids: never change them.
pub trait Variant {
    /// The plugin's name.
    const NAME: &'static str;
    /// Bus layouts.
    const LAYOUTS: &'static [AudioIOLayout];
    /// CLAP id.
    const CLAP_ID: &'static str;
    /// One line for a host's plugin list.
    const DESCRIPTION: &'static str;
    /// VST3 class id.
    const VST3_CLASS_ID: [u8; 16];
}

const STEREO: AudioIOLayout = AudioIOLayout {
    main_input_channels: NonZeroU32::new(2),
    main_output_channels: NonZeroU32::new(2),
    ..AudioIOLayout::const_default()
};

/// Names of the ports. Both main names are given, because the framework uses the input's for the output otherwise.
const PORTS: PortNames = PortNames {
    layout: None,
    main_input: Some("Stereo"),
    main_output: Some("Stereo"),
    aux_inputs: &["Dry (side-chain)"],
    aux_outputs: &[],
};

impl<const MIDI: bool> Variant for Sumproof<PLAIN, MIDI> {
    const NAME: &'static str = "Sumproof";
    const LAYOUTS: &'static [AudioIOLayout] = &[STEREO];
    const CLAP_ID: &'static str = "io.sumproof.sumproof";
    const DESCRIPTION: &'static str =
        "What a stereo preset becomes in every feed downstream: heard, measured, explained";
    const VST3_CLASS_ID: [u8; 16] = *b"SumproofStereoLn";
}

impl<const MIDI: bool> Variant for Sumproof<SIDE_CHAIN, MIDI> {
    const NAME: &'static str = "Sumproof Side-chain";
    const LAYOUTS: &'static [AudioIOLayout] = &[
        AudioIOLayout {
            aux_input_ports: &[new_nonzero_u32(2)],
            names: PORTS,
            ..STEREO
        },
        AudioIOLayout {
            aux_input_ports: &[new_nonzero_u32(1)],
            names: PORTS,
            ..STEREO
        },
    ];
    const CLAP_ID: &'static str = "io.sumproof.sumproof-side-chain";
    const DESCRIPTION: &'static str =
        "The same with the dry signal on a side-chain, by which dry and wet are told apart";
    const VST3_CLASS_ID: [u8; 16] = *b"SumproofSideChnn";
}

/// The plugin, which hands `C` channels to its analysis. With `MIDI` it has a MIDI input. Not for VST3, whose hosts
/// hand over no program change, and for which the framework would make 2080 parameters of the controllers.
pub struct Sumproof<const C: usize, const MIDI: bool = false> {
    /// The parameters and the saved fields.
    params: Arc<PluginParams>,
    /// The atomics shared with the analysis and the window.
    shared: Arc<Shared>,
    /// The analysis, behind its lock.
    analysis: Analysis,
    /// What runs in the audio callback.
    audio: AudioSide<C>,
    /// Keeps panics in the audio callback from the host.
    guard: Guard,
    /// The analysis thread, from the first activation on.
    worker: Option<Worker>,
    /// What the window is connected to, until the wrapper asks for the window.
    window: Option<WindowLinks>,
    /// File tasks of the window.
    file_tasks: Arc<FileTasks>,
    /// Shared with the VST3 shell, where a VST3 host holds the plugin.
    vst3: Arc<vst3::Link>,
    tail_samples: u32,
}

/// The links only the window needs.
struct WindowLinks {
    published: triple_buffer::Output<Published>,
    repaint: RepaintNotifier,
}

impl<const C: usize, const MIDI: bool> Default for Sumproof<C, MIDI>
where
    AnyEnd: From<AnalysisEnd<C>>,
{
    fn default() -> Self {
        audio::guard::install_hook();
        let host = Arc::new(HostParams::new(C == SIDE_CHAIN));
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
            file_tasks: Arc::default(),
            vst3: Arc::default(),
            tail_samples: 0,
        }
    }
}

impl<const C: usize, const MIDI: bool> Drop for Sumproof<C, MIDI> {
    /// The window may still hold references to them.
    fn drop(&mut self) {
        self.shared.set_worker(None);
        self.file_tasks.finish();
    }
}

impl<const C: usize, const MIDI: bool> Plugin for Sumproof<C, MIDI>
where
    Self: Variant,
    AnyEnd: From<AnalysisEnd<C>>,
{
    const NAME: &'static str = <Self as Variant>::NAME;
    const VENDOR: &'static str = "Sumproof";
    const URL: &'static str = "";
    const EMAIL: &'static str = "";
    const VERSION: &'static str = state::migrate::VERSION;
    const AUDIO_IO_LAYOUTS: &'static [AudioIOLayout] = <Self as Variant>::LAYOUTS;
    const MIDI_INPUT: MidiConfig = if MIDI {
        MidiConfig::MidiCCs
    } else {
        MidiConfig::None
    };

    type Editor = window::editor::Window;
    type SysExMessage = ();
    type BackgroundTask = vst3::Marker;

    fn task_executor(&mut self) -> TaskExecutor<Self> {
        Box::new(vst3::Marker::arrive)
    }

    fn params(&self) -> Arc<dyn Params> {
        self.params.clone()
    }

    fn editor(&mut self, executor: AsyncExecutor<Self>) -> Option<Self::Editor> {
        vst3::announce(|| vst3::Born {
            params: self.params.clone(),
            repaint: self
                .window
                .as_ref()
                .map(|links| links.repaint.clone())
                .unwrap_or_default(),
            link: Arc::clone(&self.vst3),
            post: Box::new(move |marker| executor.execute_background(marker)),
        });
        let links = self.window.take()?;
        Some(window::editor::Window::new(window::editor::Glue {
            params: Arc::clone(&self.params),
            analysis: self.analysis.clone(),
            shared: Arc::clone(&self.shared),
            published: Mutex::new(links.published),
            repaint: links.repaint,
            file_tasks: Arc::clone(&self.file_tasks),
            vst3: Arc::clone(&self.vst3),
        }))
    }

    fn filter_state(state: &mut PluginState) {
        let filtered = catch_unwind(AssertUnwindSafe(|| {
            state::migrate::filter(state, &fields::FIELDS);
            if C != SIDE_CHAIN {
                // The split time is the one parameter that the plain plugin does not have.
                state.params.remove(parameters::spec::SPLIT_ID);
            }
        }));
        if filtered.is_err() {
            // Half a state is worse than none, and a panic would crash the host.
            state.params.clear();
            state.fields.clear();
        }
    }

    fn activate(
        &mut self,
        layout: &AudioIOLayout,
        config: &BufferConfig,
        context: &mut impl ActivateContext<Self>,
    ) -> bool {
        if context.plugin_api() == PluginApi::Standalone && !self.shared.pedals.are_on() {
            if let Some(folder) = files::folder::folder() {
                files::pedals::load(&folder, &self.shared.pedals);
            }
            self.shared.pedals.switch_on();
        }
        let rate_hz = f64::from(config.sample_rate);
        if !(rate_hz > 0.0 && rate_hz.is_finite()) {
            return false;
        }
        let drive = Drive {
            rate_hz,
            longest_block: config.max_buffer_size as usize,
            mode: mode(config.process_mode),
            reference: match layout.aux_input_ports.first().map(|channels| channels.get()) {
                Some(1) => Reference::Mono,
                _ => Reference::Stereo,
            },
        };
        self.tail_samples = to_count(TAIL_S * rate_hz);
        if self.worker.is_none() {
            let (analysis, shared) = (self.analysis.clone(), Arc::clone(&self.shared));
            let mut watch = bridge::clock::Watch::default();
            // Without a thread the sound still passes, and each caller that needs the ring's content processes it
            // itself.
            self.worker = Worker::start(move || {
                watch.look(&shared.pulse);
                analysis.look()
            })
            .ok();
            self.shared
                .set_worker(self.worker.as_ref().and_then(Worker::thread));
        }
        // Not on the audio thread, but a panic would crash the host here just as well.
        if self.guard.run(|| self.audio.activate(&drive)).is_none() {
            self.shared.panicked.store(true, Ordering::Relaxed);
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
        aux: &mut AuxiliaryBuffers,
        context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
        let host_records = context.transport().recording;
        while let Some(event) = context.next_event() {
            hear(&mut self.audio, event);
        }
        let (audio, guard) = (&mut self.audio, &mut self.guard);
        let panics = audio.fault.panics_next();
        let reference = reference_of(aux, buffer.samples());
        let mut run = || guard.run(|| audio.process(buffer.as_slice(), reference, host_records));
        let ran = if panics { permit_alloc(run) } else { run() };
        if ran.is_none() {
            self.shared.panicked.store(true, Ordering::Relaxed);
            return ProcessStatus::Normal;
        }
        if self.audio.sends() {
            // In the pauses of the signal a host would otherwise put the plugin to sleep.
            ProcessStatus::KeepAlive
        } else if self.audio.has_tail() {
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

/// Handles a MIDI event: a program change, or a controller or note that may be a pedal.
fn hear<const C: usize>(audio: &mut AudioSide<C>, event: NoteEvent<()>)
where
    AnyEnd: From<AnalysisEnd<C>>,
{
    match event {
        NoteEvent::MidiProgramChange { program, .. } => audio.program(program),
        NoteEvent::MidiCC {
            channel, cc, value, ..
        } => {
            let number = cc;
            audio.pedal(Pedal::Controller { channel, number }, value >= 0.5);
        }
        NoteEvent::NoteOn { channel, key, .. } => note(audio, channel, key, true),
        NoteEvent::NoteOff { channel, key, .. } => note(audio, channel, key, false),
        _ => {}
    }
}

/// A note with a definite channel and key may be a pedal.
fn note<const C: usize>(audio: &mut AudioSide<C>, channel: Channel, key: Key, is_down: bool)
where
    AnyEnd: From<AnalysisEnd<C>>,
{
    if let (Channel::Number(channel), Key::Number(number)) = (channel, key) {
        audio.pedal(Pedal::Note { channel, number }, is_down);
    }
}

/// Whether the host says that it renders offline. The shell in [`vst3`] makes sure that a VST3 host's report arrives in
/// time.
fn mode(told: ProcessMode) -> Mode {
    match told {
        ProcessMode::Offline => Mode::Offline,
        _ => Mode::Playing,
    }
}

/// Both channels of the reference in a block of `frames`; a mono one is returned as both. Where the host gave none, the
/// framework's buffers hold silence of another length: it is cut, or an empty slice is returned.
fn reference_of<'a>(aux: &'a AuxiliaryBuffers, frames: usize) -> [&'a [f32]; 2] {
    let channels = aux
        .inputs
        .first()
        .map_or(&[][..], |buffer| buffer.as_slice_immutable());
    let channel = |index: usize| -> &'a [f32] {
        let samples: &[f32] = channels.get(index).map_or(&[], |channel| channel);
        &samples[..samples.len().min(frames)]
    };
    match channels.len() {
        0 => [&[]; 2],
        1 => [channel(0), channel(0)],
        _ => [channel(0), channel(1)],
    }
}

impl<const C: usize, const MIDI: bool> ClapPlugin for Sumproof<C, MIDI>
where
    Self: Variant,
    AnyEnd: From<AnalysisEnd<C>>,
{
    const CLAP_ID: &'static str = <Self as Variant>::CLAP_ID;
    const CLAP_DESCRIPTION: Option<&'static str> = Some(<Self as Variant>::DESCRIPTION);
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[
        ClapFeature::AudioEffect,
        ClapFeature::Analyzer,
        ClapFeature::Stereo,
        ClapFeature::Utility,
    ];
}

impl<const C: usize, const MIDI: bool> Vst3Plugin for Sumproof<C, MIDI>
where
    Self: Variant,
    AnyEnd: From<AnalysisEnd<C>>,
{
    const VST3_CLASS_ID: [u8; 16] = <Self as Variant>::VST3_CLASS_ID;
    const VST3_SUBCATEGORIES: &'static [Vst3SubCategory] = &[
        Vst3SubCategory::Fx,
        Vst3SubCategory::Analyzer,
        Vst3SubCategory::Stereo,
        Vst3SubCategory::Tools,
    ];
}

nice_export_clap!(SumproofPlainMidi, SumproofSideChainMidi);
