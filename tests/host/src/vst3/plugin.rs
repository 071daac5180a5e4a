//! A plugin: created, played, saved, removed.

use super::library::Library;
use super::lists::{Changes, Stream};
use crate::error::HostError;
use std::ffi::c_void;
use vst3::Steinberg::Vst::{
    AudioBusBuffers, IAudioProcessor, IAudioProcessorTrait, IComponent, IComponentTrait, IEditController,
    IEditControllerTrait, IParameterChanges, ParameterInfo, ProcessData, ProcessSetup,
};
use vst3::Steinberg::{IBStream, IPluginBaseTrait, IPluginFactoryTrait, PClassInfo, kResultOk, tresult};
use vst3::{ComPtr, ComRef, Interface};

/// Real-time rendering (`ProcessModes`).
pub const REAL_TIME: i32 = 0;
/// Offline rendering (`ProcessModes`).
pub const OFFLINE: i32 = 2;

/// A plugin, on its main thread.
pub struct Plugin {
    pub(super) controller: ComPtr<IEditController>,
    component: ComPtr<IComponent>,
    processor: ComPtr<IAudioProcessor>,
    /// Dropped last.
    _library: Library,
}

/// Plays a plugin on another thread. Must not outlive it.
pub struct Player {
    processor: ComPtr<IAudioProcessor>,
}

fn asked<T>(what: &'static str, done: tresult, give: T) -> Result<T, HostError> {
    if done == kResultOk {
        Ok(give)
    } else {
        Err(HostError::refused(what, format_args!("it answers {done}")))
    }
}

impl Plugin {
    pub(super) fn make(library: Library, class: &PClassInfo) -> Result<Self, HostError> {
        let refused = || HostError::refused("be made", "it has not what a plugin must have");
        let mut object: *mut c_void = std::ptr::null_mut();
        let factory = library.factory().ok_or_else(refused)?;
        // SAFETY: a class of this factory, and a writable pointer.
        let done = unsafe {
            factory.createInstance(
                class.cid.as_ptr(),
                IComponent::IID.as_ptr().cast(),
                &raw mut object,
            )
        };
        asked("be made", done, ())?;
        // SAFETY: it returned the requested component.
        let component = unsafe { ComPtr::<IComponent>::from_raw(object.cast()) }.ok_or_else(refused)?;
        // SAFETY: once, before everything else.
        asked("begin", unsafe { component.initialize(std::ptr::null_mut()) }, ())?;
        Ok(Self {
            controller: component.cast().ok_or_else(refused)?,
            processor: component.cast().ok_or_else(refused)?,
            component,
            _library: library,
        })
    }

    /// The ids of all parameters.
    #[must_use]
    pub fn params(&self) -> Vec<u32> {
        // SAFETY: a call without arguments.
        let count = unsafe { self.controller.getParameterCount() };
        (0..count)
            .filter_map(|index| self.info(index))
            .map(|info| info.id)
            .collect()
    }

    /// The parameter at an index of the list.
    #[must_use]
    pub fn info(&self, index: i32) -> Option<ParameterInfo> {
        // SAFETY: plain numbers and characters, only written to within the call.
        unsafe {
            let mut info = std::mem::zeroed();
            (self.controller.getParameterInfo(index, &raw mut info) == kResultOk).then_some(info)
        }
    }

    /// A parameter's value, 0 to 1.
    #[must_use]
    pub fn value(&self, id: u32) -> f64 {
        // SAFETY: any id is allowed.
        unsafe { self.controller.getParamNormalized(id) }
    }

    /// Sets a parameter as the host's own controls do.
    pub fn set_value(&self, id: u32, value: f64) {
        // SAFETY: any id is allowed.
        unsafe { self.controller.setParamNormalized(id, value) };
    }

    /// Sets rate, longest block and rendering mode, and activates.
    ///
    /// # Errors
    /// [`HostError::Refused`] when the plugin refuses.
    pub fn setup(&self, rate_hz: f64, longest: i32, mode: i32) -> Result<(), HostError> {
        let mut setup = ProcessSetup {
            processMode: mode,
            symbolicSampleSize: 0,
            maxSamplesPerBlock: longest,
            sampleRate: rate_hz,
        };
        // SAFETY: in the prescribed order, with a valid value.
        unsafe {
            asked("take a setup", self.processor.setupProcessing(&raw mut setup), ())?;
            asked("be activated", self.component.setActive(1), ())?;
            self.processor.setProcessing(1);
        }
        Ok(())
    }

    /// Stops playing.
    pub fn suspend(&self) {
        // SAFETY: in the prescribed order.
        unsafe {
            self.processor.setProcessing(0);
            self.component.setActive(0);
        }
    }

    /// The player, for another thread.
    #[must_use]
    pub fn player(&self) -> Player {
        Player {
            processor: self.processor.clone(),
        }
    }

    /// The saved state.
    ///
    /// # Errors
    /// [`HostError::Refused`] when the plugin refuses.
    pub fn save(&self) -> Result<Vec<u8>, HostError> {
        let stream = Stream::new(Vec::new());
        let pointer = stream
            .as_com_ref::<IBStream>()
            .map_or(std::ptr::null_mut(), |stream| stream.as_ptr());
        // SAFETY: a stream that lives.
        asked("save", unsafe { self.component.getState(pointer) }, ())?;
        Ok(stream.bytes())
    }

    /// Loads a saved state.
    ///
    /// # Errors
    /// [`HostError::Refused`] when the plugin refuses.
    pub fn load(&self, bytes: Vec<u8>) -> Result<(), HostError> {
        self.loader().load(bytes)
    }

    /// The loader of states, for another thread.
    #[must_use]
    pub fn loader(&self) -> Loader {
        Loader {
            component: self.component.clone(),
        }
    }

    /// Starts or stops processing without activating it.
    pub fn process_silently(&self, on: bool) {
        // SAFETY: hosts may do this.
        unsafe { self.processor.setProcessing(on.into()) };
    }
}

impl Drop for Plugin {
    fn drop(&mut self) {
        // SAFETY: once, after everything else.
        unsafe { self.component.terminate() };
    }
}

/// Loads a plugin's states on another thread. Must not outlive it.
pub struct Loader {
    component: ComPtr<IComponent>,
}

impl Loader {
    /// Loads a saved state.
    ///
    /// # Errors
    /// [`HostError::Refused`] when the plugin refuses.
    pub fn load(&self, bytes: Vec<u8>) -> Result<(), HostError> {
        let stream = Stream::new(bytes);
        let pointer = pointer(stream.as_com_ref::<IBStream>());
        // SAFETY: a stream that lives.
        asked("load", unsafe { self.component.setState(pointer) }, ())
    }
}

impl Player {
    /// Processes one block of stereo in place, with changes at its beginning. `inputs` is the number of input busses
    /// passed.
    ///
    /// # Errors
    /// [`HostError::Refused`] when the plugin refuses.
    pub fn block(
        &self,
        sound: &mut [Vec<f32>; 2],
        changes: &[(u32, f64)],
        inputs: i32,
    ) -> Result<(), HostError> {
        let mut channels = sound.each_mut().map(|channel| channel.as_mut_ptr());
        let bus = stereo(&mut channels);
        self.hand_over(&mut [bus], bus, (sound[0].len(), inputs), changes)
    }

    /// The same with a second pair of channels, as long as the first, on the second input bus.
    ///
    /// # Errors
    /// [`HostError::Refused`] when it says no, [`HostError::Misuse`] where the pairs differ in length.
    pub fn block_beside(
        &self,
        sound: &mut [Vec<f32>; 2],
        beside: &mut [Vec<f32>; 2],
        changes: &[(u32, f64)],
    ) -> Result<(), HostError> {
        let frames = sound[0].len();
        if [&sound[1], &beside[0], &beside[1]]
            .iter()
            .any(|channel| channel.len() != frames)
        {
            return Err(HostError::Misuse("channels of different lengths"));
        }
        let mut channels = sound.each_mut().map(|channel| channel.as_mut_ptr());
        let mut second = beside.each_mut().map(|channel| channel.as_mut_ptr());
        let bus = stereo(&mut channels);
        self.hand_over(&mut [bus, stereo(&mut second)], bus, (frames, 2), changes)
    }

    /// Passes `frames` frames with the first `inputs` input busses.
    fn hand_over(
        &self,
        into: &mut [AudioBusBuffers],
        mut out: AudioBusBuffers,
        (frames, inputs): (usize, i32),
        changes: &[(u32, f64)],
    ) -> Result<(), HostError> {
        let changes = Changes::new(changes);
        // SAFETY: numbers and pointers, filled in below.
        let mut data: ProcessData = unsafe { std::mem::zeroed() };
        data.numSamples = frames as i32;
        data.numInputs = inputs;
        data.numOutputs = 1;
        data.inputs = into.as_mut_ptr();
        data.outputs = &raw mut out;
        data.inputParameterChanges = pointer(changes.as_com_ref::<IParameterChanges>());
        // SAFETY: everything lives until the call returns.
        asked("process", unsafe { self.processor.process(&raw mut data) }, ())
    }

    /// Passes parameter changes without sound.
    ///
    /// # Errors
    /// [`HostError::Refused`] when the plugin refuses.
    pub fn flush(&self, changes: &[(u32, f64)]) -> Result<(), HostError> {
        let changes = Changes::new(changes);
        // SAFETY: plain numbers and pointers; no busses, no samples.
        let mut data: ProcessData = unsafe { std::mem::zeroed() };
        data.inputParameterChanges = pointer(changes.as_com_ref::<IParameterChanges>());
        // SAFETY: everything lives until the call returns.
        asked("process", unsafe { self.processor.process(&raw mut data) }, ())
    }
}

/// A bus of two channels.
fn stereo(channels: &mut [*mut f32; 2]) -> AudioBusBuffers {
    // SAFETY: numbers and pointers, filled in below.
    let mut bus: AudioBusBuffers = unsafe { std::mem::zeroed() };
    bus.numChannels = 2;
    bus.__field0.channelBuffers32 = channels.as_mut_ptr();
    bus
}

fn pointer<I: Interface>(reference: Option<ComRef<'_, I>>) -> *mut I {
    reference.map_or(std::ptr::null_mut(), |reference| reference.as_ptr())
}
