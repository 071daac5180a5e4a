//! Loads a `.clap` and drives one plugin on its main thread.

use crate::audio::{Blocks, ParamEvent, Play, Stereo};
use crate::error::HostError;
use crate::handlers::{MainThread, Requests, Shared, TestHost};
use crate::processor;
use crate::realtime::{Realtime, Repeat};
use clack_extensions::audio_ports::{AudioPortInfoBuffer, PluginAudioPorts};
use clack_extensions::latency::PluginLatency;
use clack_extensions::params::{ParamInfoBuffer, ParamInfoFlags, PluginParams};
use clack_extensions::render::{PluginRender, RenderMode};
use clack_extensions::state::PluginState;
use clack_host::prelude::*;

use std::ffi::{CStr, CString};
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::time::Duration;

/// Interval at which the main thread handles the plugin's requests while audio runs on another thread.
const ANSWER_INTERVAL: Duration = Duration::from_millis(2);

/// Silence after a recorded take, during which the recorder is switched off, samples.
const RECORDER_TAIL_SAMPLES: usize = 64;

/// An opened `.clap` file.
pub struct Library {
    entry: PluginEntry,
    path: PathBuf,
}

impl Library {
    /// Opens the file.
    ///
    /// # Errors
    /// [`HostError::Load`] when it is missing, not a library, or not a CLAP.
    pub fn load(path: &Path) -> Result<Self, HostError> {
        // SAFETY: running a plugin's code means trusting the file; this host only opens files that the build made or
        // the user named.
        let entry = unsafe { PluginEntry::load(path) }.map_err(|e| HostError::Load {
            path: path.to_owned(),
            reason: e.to_string(),
        })?;
        Ok(Self {
            entry,
            path: path.to_owned(),
        })
    }

    /// The ids of the plugins inside, in the library's order.
    #[must_use]
    pub fn plugin_ids(&self) -> Vec<String> {
        let Some(factory) = self.entry.get_plugin_factory() else {
            return Vec::new();
        };
        factory
            .plugin_descriptors()
            .filter_map(|d| d.id().map(lossy))
            .collect()
    }

    /// Creates a plugin.
    ///
    /// # Errors
    /// [`HostError::NoSuchPlugin`] for an unknown id, [`HostError::Refused`] when the plugin does not start.
    pub fn instantiate(&self, id: &str) -> Result<Plugin, HostError> {
        let found = self.plugin_ids();
        if !found.iter().any(|known| known == id) {
            return Err(HostError::NoSuchPlugin {
                path: self.path.clone(),
                id: id.to_owned(),
                found: found.join(", "),
            });
        }
        let refused = |e: &dyn std::fmt::Display| HostError::refused("be made", e);
        let c_id = CString::new(id).map_err(|e| refused(&e))?;
        let info = HostInfo::new("Sumproof test host", "Sumproof", "", env!("CARGO_PKG_VERSION"))
            .map_err(|e| refused(&e))?;
        let requests = Requests::default();
        let (shared, main_thread) = (requests.clone(), requests.clone());
        let instance = PluginInstance::<TestHost>::new(
            move |_| Shared(shared),
            move |_| MainThread(main_thread),
            &self.entry,
            &c_id,
            &info,
        )
        .map_err(|e| refused(&e))?;
        Ok(Plugin { instance, requests })
    }
}

/// CLAP's number of a parameter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ParamId(pub u32);

impl ParamId {
    /// The number for the string id that the plugin's source and its state use.
    ///
    /// The framework hashes the string: h ← 31·h + byte over its bytes, 32 bits, highest bit cleared (nice-plug 0.4.2,
    /// `hash_param_id`). It is part of every saved automation, so it cannot change silently.
    #[must_use]
    pub fn from_key(key: &str) -> Self {
        let hash = key.bytes().fold(0_u32, |hash, byte| {
            hash.wrapping_mul(31).wrapping_add(u32::from(byte))
        });
        Self(hash & !(1 << 31))
    }
}

/// One parameter as a DAW sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct Param {
    /// Its CLAP id.
    pub id: ParamId,
    /// Name shown to the user.
    pub name: String,
    /// Group path, empty at the top level.
    pub group: String,
    /// Smallest value: 0 for this framework.
    pub min: f64,
    /// Largest value: 1 for a continuous parameter, the last step's number for a stepped one.
    pub max: f64,
    /// Default value on that scale.
    pub default: f64,
    /// Current value on that scale.
    pub value: f64,
    /// Current value, as the plugin writes it for the user.
    pub text: String,
    /// Whether only whole values are possible.
    pub stepped: bool,
    /// The host's bypass switch.
    pub bypass: bool,
    /// Whether automation may drive it.
    pub automatable: bool,
    /// Whether it is hidden from the user.
    pub hidden: bool,
}

/// One plugin, on its main thread.
pub struct Plugin {
    pub(crate) instance: PluginInstance<TestHost>,
    pub(crate) requests: Requests,
}

impl Plugin {
    /// Every parameter, in the plugin's order.
    ///
    /// # Errors
    /// [`HostError::MissingExtension`] when the plugin has no parameters at all.
    pub fn params(&mut self) -> Result<Vec<Param>, HostError> {
        let handle = self.instance.plugin_handle();
        let params: PluginParams = handle
            .get_extension()
            .ok_or(HostError::MissingExtension("clap.params"))?;
        let mut list = Vec::new();
        for index in 0..params.count(&handle) {
            let mut buffer = ParamInfoBuffer::new();
            let Some(info) = params.get_info(&handle, index, &mut buffer) else {
                continue;
            };
            let value = params.get_value(&handle, info.id).unwrap_or(info.default_value);
            list.push(Param {
                id: ParamId(info.id.get()),
                name: String::from_utf8_lossy(info.name).into_owned(),
                group: String::from_utf8_lossy(info.module).into_owned(),
                min: info.min_value,
                max: info.max_value,
                default: info.default_value,
                value,
                text: text_of(&params, &handle, info.id, value),
                stepped: info.flags.contains(ParamInfoFlags::IS_STEPPED),
                bypass: info.flags.contains(ParamInfoFlags::IS_BYPASS),
                automatable: info.flags.contains(ParamInfoFlags::IS_AUTOMATABLE),
                hidden: info.flags.contains(ParamInfoFlags::IS_HIDDEN),
            });
        }
        Ok(list)
    }

    /// One parameter by its string id.
    ///
    /// # Errors
    /// [`HostError::NoSuchParam`], or those of [`Self::params`].
    pub fn param(&mut self, key: &str) -> Result<Param, HostError> {
        let id = ParamId::from_key(key);
        self.params()?
            .into_iter()
            .find(|param| param.id == id)
            .ok_or_else(|| HostError::NoSuchParam(key.to_owned()))
    }

    /// The text that the plugin shows for `value` of a parameter; empty without one.
    ///
    /// # Errors
    /// [`HostError::MissingExtension`] when the plugin has no parameters at all.
    pub fn value_text(&mut self, key: &str, value: f64) -> Result<String, HostError> {
        let handle = self.instance.plugin_handle();
        let params: PluginParams = handle
            .get_extension()
            .ok_or(HostError::MissingExtension("clap.params"))?;
        Ok(text_of(
            &params,
            &handle,
            ClapId::new(ParamId::from_key(key).0),
            value,
        ))
    }

    /// The value that the plugin reads from a user's text for a parameter, or `None` when it refuses.
    ///
    /// # Errors
    /// [`HostError::MissingExtension`] when the plugin has no parameters at all, [`HostError::NoSuchParam`] when the
    /// text contains a zero byte.
    pub fn text_value(&mut self, key: &str, text: &str) -> Result<Option<f64>, HostError> {
        let text = CString::new(text).map_err(|_| HostError::NoSuchParam(key.to_owned()))?;
        let handle = self.instance.plugin_handle();
        let params: PluginParams = handle
            .get_extension()
            .ok_or(HostError::MissingExtension("clap.params"))?;
        Ok(params.text_to_value(&handle, ClapId::new(ParamId::from_key(key).0), &text))
    }

    /// A parameter change from text, as typed into a DAW: `change(0, "l_gain", "-20 dB")`.
    ///
    /// # Errors
    /// [`HostError::NoSuchParam`] when there is no such parameter or it does not take the text.
    pub fn change(&mut self, at_sample: usize, key: &str, text: &str) -> Result<ParamEvent, HostError> {
        let value = self
            .text_value(key, text)?
            .ok_or_else(|| HostError::NoSuchParam(format!("{key} = {text}")))?;
        Ok(ParamEvent {
            at_sample,
            param: ParamId::from_key(key),
            value,
        })
    }

    /// Name and number of channels of every input port; empty without the extension.
    pub fn input_ports(&mut self) -> Vec<(String, u32)> {
        let handle = self.instance.plugin_handle();
        let Some(ports) = handle.get_extension::<PluginAudioPorts>() else {
            return Vec::new();
        };
        (0..ports.count(&handle, true))
            .filter_map(|index| {
                let mut buffer = AudioPortInfoBuffer::new();
                let info = ports.get(&handle, index, true, &mut buffer)?;
                Some((
                    String::from_utf8_lossy(info.name).into_owned(),
                    info.channel_count,
                ))
            })
            .collect()
    }

    /// The latency that the plugin reports, samples; 0 without the extension.
    pub fn latency_samples(&mut self) -> u32 {
        let handle = self.instance.plugin_handle();
        handle
            .get_extension::<PluginLatency>()
            .map_or(0, |latency| latency.get(&handle))
    }

    /// The saved state, as a DAW would store it in its project.
    ///
    /// # Errors
    /// [`HostError::MissingExtension`], or [`HostError::Refused`] when the plugin does not write them.
    pub fn save_state(&mut self) -> Result<Vec<u8>, HostError> {
        let handle = self.instance.plugin_handle();
        let state: PluginState = handle
            .get_extension()
            .ok_or(HostError::MissingExtension("clap.state"))?;
        let mut bytes = Vec::new();
        state
            .save(&handle, &mut bytes)
            .map_err(|e| HostError::refused("save its state", e))?;
        Ok(bytes)
    }

    /// Loads bytes from [`Self::save_state`].
    ///
    /// # Errors
    /// [`HostError::MissingExtension`], or [`HostError::Refused`] when the plugin does not take them.
    pub fn load_state(&mut self, bytes: &[u8]) -> Result<(), HostError> {
        let handle = self.instance.plugin_handle();
        let state: PluginState = handle
            .get_extension()
            .ok_or(HostError::MissingExtension("clap.state"))?;
        state
            .load(&handle, &mut &*bytes)
            .map_err(|e| HostError::refused("load this state", e))?;
        self.answer();
        Ok(())
    }

    /// How often the plugin reported that the project needs saving.
    #[must_use]
    pub fn dirty_marks(&self) -> u32 {
        self.requests.dirty_marks()
    }

    /// How often the plugin asked for its parameters to be read again.
    #[must_use]
    pub fn rescans(&self) -> u32 {
        self.requests.rescans()
    }

    /// How often the plugin reported a change of latency.
    #[must_use]
    pub fn latency_changes(&self) -> u32 {
        self.requests.latency_changes()
    }

    /// Whether the plugin asked to be restarted since the last call.
    #[must_use]
    pub fn take_restart_request(&self) -> bool {
        self.requests.take_restart()
    }

    /// Answers a pending request for a main-thread call. A DAW does this from its event loop; call it regularly while
    /// nothing else of the host runs.
    pub fn answer(&mut self) {
        if self.requests.take_callback() {
            self.instance.call_on_main_thread_callback();
        }
    }

    /// Processes a whole recording and returns the output, of the same length.
    ///
    /// The plugin is activated for the recording's rate and the largest block, run on a separate thread as fast as
    /// possible, and deactivated. `how.offline` sets the render mode first; without the extension the plugin stays in
    /// real-time mode.
    ///
    /// # Errors
    /// [`HostError::Refused`] when activating, starting or a block fails.
    pub fn play(&mut self, audio: &Stereo, how: &Play) -> Result<Stereo, HostError> {
        let ports = self.input_ports().len();
        let stopped = self.activate(audio.rate_hz, how)?;
        let (done, finished) = mpsc::channel::<()>();
        let worker_result = std::thread::scope(|scope| {
            let worker = scope.spawn(move || {
                let result = processor::play(stopped, audio, how, ports);
                drop(done);
                result
            });
            while finished.recv_timeout(ANSWER_INTERVAL) == Err(mpsc::RecvTimeoutError::Timeout) {
                self.answer();
            }
            worker.join()
        });
        let (stopped, result) = worker_result.unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        if let Some(stopped) = stopped {
            self.instance.deactivate(stopped);
        }
        self.answer();
        result
    }

    /// Plays a recording with the plugin's take recorder on from its first to its last sample, then switches the
    /// recorder off during a short silence, which stores the take in the state.
    ///
    /// # Errors
    /// As [`Self::play`].
    pub fn record_take(&mut self, audio: &Stereo, blocks: Blocks, offline: bool) -> Result<(), HostError> {
        self.record_take_beside(audio, &[], blocks, offline)
    }

    /// The same with one or two channels on the second input.
    ///
    /// # Errors
    /// As [`Self::play`].
    pub fn record_take_beside(
        &mut self,
        audio: &Stereo,
        side_chain: &[Vec<f32>],
        blocks: Blocks,
        offline: bool,
    ) -> Result<(), HostError> {
        let (padded, how) = with_recorder(audio, blocks, offline);
        let how = Play {
            side_chain: side_chain.to_vec(),
            ..how
        };
        self.play(&padded, &how).map(drop)
    }

    /// The same in real time. The thread ends by itself; pass it to [`Self::stop_realtime`] then.
    ///
    /// # Errors
    /// [`HostError::Refused`] when activating fails.
    pub fn start_realtime_take(&mut self, audio: &Stereo, blocks: Blocks) -> Result<Realtime, HostError> {
        self.start_realtime_take_beside(audio, &[], blocks)
    }

    /// The same with one or two channels on the second input.
    ///
    /// # Errors
    /// As [`Self::start_realtime_take`].
    pub fn start_realtime_take_beside(
        &mut self,
        audio: &Stereo,
        side_chain: &[Vec<f32>],
        blocks: Blocks,
    ) -> Result<Realtime, HostError> {
        let (padded, mut how) = with_recorder(audio, blocks, false);
        how.side_chain = side_chain.to_vec();
        self.start(padded, how, Repeat::Once)
    }

    /// Plays a recording repeatedly in real time, until [`Self::stop_realtime`].
    ///
    /// # Errors
    /// [`HostError::Refused`] when activating fails.
    pub fn start_realtime(&mut self, audio: Stereo, how: Play) -> Result<Realtime, HostError> {
        self.start(audio, how, Repeat::Forever)
    }

    /// Plays a recording once in real time. The thread ends by itself; pass it to [`Self::stop_realtime`] then.
    ///
    /// # Errors
    /// [`HostError::Refused`] when activating fails.
    pub fn start_realtime_once(&mut self, audio: Stereo, how: Play) -> Result<Realtime, HostError> {
        self.start(audio, how, Repeat::Once)
    }

    fn start(&mut self, audio: Stereo, how: Play, repeat: Repeat) -> Result<Realtime, HostError> {
        let stopped = self.activate(audio.rate_hz, &how)?;
        let ports = self.input_ports().len();
        Ok(Realtime::spawn(stopped, audio, (how, ports), repeat))
    }

    /// Ends real-time playing and deactivates the plugin.
    ///
    /// # Errors
    /// [`HostError::Refused`] when a block failed meanwhile, [`HostError::Misuse`] when `running` is another plugin's.
    pub fn stop_realtime(&mut self, running: Realtime) -> Result<(), HostError> {
        let (stopped, result) = running.finish();
        if let Some(stopped) = stopped {
            if !stopped.matches(&self.instance) {
                return Err(HostError::Misuse("that real-time thread plays another plugin"));
            }
            self.instance.deactivate(stopped);
        }
        self.answer();
        result
    }

    /// Sets the render mode and activates.
    fn activate(
        &mut self,
        rate_hz: f64,
        how: &Play,
    ) -> Result<StoppedPluginAudioProcessor<TestHost>, HostError> {
        let handle = self.instance.plugin_handle();
        if let Some(render) = handle.get_extension::<PluginRender>() {
            let mode = if how.offline {
                RenderMode::Offline
            } else {
                RenderMode::Realtime
            };
            render
                .set(&handle, mode)
                .map_err(|e| HostError::refused("change its render mode", e))?;
        } else if how.offline {
            return Err(HostError::MissingExtension("clap.render"));
        }
        let configuration = PluginAudioConfiguration {
            sample_rate: rate_hz,
            min_frames_count: 1,
            max_frames_count: how.blocks.max_samples(),
        };
        self.instance
            .activate(|_, _| (), configuration)
            .map_err(|e| HostError::refused("be activated", e))
    }
}

/// The recording followed by a short silence, with the recorder on for exactly the recording.
fn with_recorder(audio: &Stereo, blocks: Blocks, offline: bool) -> (Stereo, Play) {
    let length = audio.len_samples();
    let mut padded = audio.clone();
    for channel in [&mut padded.left, &mut padded.right] {
        channel.resize(length + RECORDER_TAIL_SAMPLES, 0.0);
    }
    let stop = ParamEvent {
        at_sample: length,
        ..ParamEvent::step("rec", 0)
    };
    let how = Play {
        blocks,
        offline,
        events: vec![ParamEvent::step("rec", 1), stop],
        cut_at_events: true,
        ..Play::default()
    };
    (padded, how)
}

/// The plugin's text for a value.
fn text_of(params: &PluginParams, handle: &PluginMainThreadHandle, id: ClapId, value: f64) -> String {
    let mut buffer = [0_u8; 128];
    params
        .value_to_text(handle, id, value, &mut buffer)
        .map(|text| String::from_utf8_lossy(text).into_owned())
        .unwrap_or_default()
}

fn lossy(text: &CStr) -> String {
    text.to_string_lossy().into_owned()
}
