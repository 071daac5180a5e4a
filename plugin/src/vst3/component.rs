//! The shell itself: the object that a host holds for a plugin.

use std::mem::ManuallyDrop;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;

use nice_plug::prelude::Vst3Plugin;
use nice_plug::wrapper::vst3::Wrapper;
use nice_plug::wrapper::vst3::vst3::Steinberg::Vst::{
    BusDirection, BusInfo, CString, IAudioProcessor, IAudioProcessorTrait, IComponent, IComponentHandler,
    IComponentTrait, IEditController, IEditControllerTrait, IProcessContextRequirements,
    IProcessContextRequirementsTrait, IUnitInfo, IUnitInfoTrait, IoMode, MediaType, ParamID, ParamValue,
    ParameterInfo, ProcessData, ProcessSetup, ProgramListID, ProgramListInfo, RoutingInfo,
    SpeakerArrangement, String128, TChar, UnitID, UnitInfo, kRootUnitId,
};
use nice_plug::wrapper::vst3::vst3::Steinberg::{
    FIDString, FUnknown, IBStream, IPlugView, IPluginBaseTrait, TBool, TUID, int16, int32, kInternalError,
    kInvalidArgument, kResultFalse, kResultOk, tresult, uint32,
};
use nice_plug::wrapper::vst3::vst3::{Class, ComPtr, ComWrapper};

use super::born::{Link, made_by};
use super::busses::Busses;
use super::gate::Gate;
use super::values::Values;
use super::view::View;

/// A plugin as a host holds it.
pub(super) struct Shell<P: Vst3Plugin> {
    /// The framework's object, dropped by hand because that may panic.
    inner: ManuallyDrop<ComWrapper<Wrapper<P>>>,
    gate: Arc<Gate>,
    /// `None` where the plugin did not announce itself; its parameters are then unknown.
    values: Option<Values>,
    link: Arc<Link>,
}

/// Returns the result of `body`, or `otherwise` if it panics.
pub(super) fn held<R>(otherwise: R, body: impl FnOnce() -> R) -> R {
    catch_unwind(AssertUnwindSafe(body)).unwrap_or(otherwise)
}

impl<P: Vst3Plugin> Shell<P> {
    /// Creates the plugin. Call it on the thread that is going to be its main one.
    pub(super) fn new() -> Self {
        let (inner, born) = made_by(|| ComWrapper::new(Wrapper::<P>::new()));
        let numbers: Vec<u32> = (0..numbered(&inner))
            .filter_map(|at| number(&inner, at))
            .collect();
        let (values, link, post) = born.map_or((None, Arc::default(), None), |born| {
            let values = Values::new(born.params, &numbers, born.repaint);
            (Some(values), born.link, Some(born.post))
        });
        Self {
            inner: ManuallyDrop::new(inner),
            gate: Arc::new(Gate::new(post)),
            values,
            link,
        }
    }

    fn inner(&self) -> &Wrapper<P> {
        &self.inner
    }
}

fn numbered<P: Vst3Plugin>(inner: &Wrapper<P>) -> int32 {
    // SAFETY: the call takes no arguments.
    unsafe { IEditControllerTrait::getParameterCount(inner) }
}

fn number<P: Vst3Plugin>(inner: &Wrapper<P>, at: int32) -> Option<u32> {
    // SAFETY: numbers and characters, all of which may be zero.
    let mut info: ParameterInfo = unsafe { std::mem::zeroed() };
    // SAFETY: the pointer is valid during the call, and only written to.
    let known = unsafe { IEditControllerTrait::getParameterInfo(inner, at, &raw mut info) };
    (known == kResultOk).then_some(info.id)
}

impl<P: Vst3Plugin> Drop for Shell<P> {
    fn drop(&mut self) {
        let inner = &mut self.inner;
        // If an earlier panic has ended the framework's thread, this drop panics. SAFETY: it is dropped once and not
        // used after that.
        held((), || unsafe { ManuallyDrop::drop(inner) });
    }
}

impl<P: Vst3Plugin> Class for Shell<P> {
    type Interfaces = (
        IComponent,
        IEditController,
        IAudioProcessor,
        IProcessContextRequirements,
        IUnitInfo,
    );
}

/// Forwards methods unchanged; a panic returns `kInternalError`, or the value after `or`.
macro_rules! forward {
    ($trait:ident { $(fn $name:ident($($arg:ident: $of:ty),*) -> $ret:ty $(, or $otherwise:expr)?;)* }) => {
        $(
            unsafe fn $name(&self, $($arg: $of),*) -> $ret {
                held(forward!(@ $($otherwise)?), || {
                    // SAFETY: as the host promises.
                    unsafe { $trait::$name(self.inner(), $($arg),*) }
                })
            }
        )*
    };
    (@) => { kInternalError };
    (@ $otherwise:expr) => { $otherwise };
}

impl<P: Vst3Plugin> IPluginBaseTrait for Shell<P> {
    forward! { IPluginBaseTrait {
        fn initialize(context: *mut FUnknown) -> tresult;
        fn terminate() -> tresult;
    } }
}

impl<P: Vst3Plugin> IComponentTrait for Shell<P> {
    forward! { IComponentTrait {
        fn getControllerClassId(class: *mut TUID) -> tresult;
        fn setIoMode(mode: IoMode) -> tresult;
        fn getBusCount(kind: MediaType, direction: BusDirection) -> int32, or 0;
        fn getBusInfo(kind: MediaType, direction: BusDirection, index: int32, info: *mut BusInfo) -> tresult;
        fn getRoutingInfo(from: *mut RoutingInfo, to: *mut RoutingInfo) -> tresult;
        fn activateBus(kind: MediaType, direction: BusDirection, index: int32, on: TBool) -> tresult;
        fn setActive(on: TBool) -> tresult;
        fn getState(state: *mut IBStream) -> tresult;
    } }

    unsafe fn setState(&self, state: *mut IBStream) -> tresult {
        self.gate.posting(|| {
            held(kInternalError, || {
                // SAFETY: as the host promises.
                unsafe { IComponentTrait::setState(self.inner(), state) }
            })
        })
    }
}

impl<P: Vst3Plugin> IEditControllerTrait for Shell<P> {
    forward! { IEditControllerTrait {
        fn setComponentState(state: *mut IBStream) -> tresult;
        fn setState(state: *mut IBStream) -> tresult;
        fn getState(state: *mut IBStream) -> tresult;
        fn getParameterCount() -> int32, or 0;
        fn getParamStringByValue(id: ParamID, value: ParamValue, string: *mut String128) -> tresult;
        fn getParamValueByString(id: ParamID, string: *mut TChar, value: *mut ParamValue) -> tresult;
        fn normalizedParamToPlain(id: ParamID, value: ParamValue) -> ParamValue, or 0.0;
        fn plainParamToNormalized(id: ParamID, value: ParamValue) -> ParamValue, or 0.0;
        fn getParamNormalized(id: ParamID) -> ParamValue, or 0.0;
        fn setComponentHandler(handler: *mut IComponentHandler) -> tresult;
    } }

    unsafe fn getParameterInfo(&self, index: int32, info: *mut ParameterInfo) -> tresult {
        // The framework accepts the index just past the last one, and panics.
        if !(0..numbered(self.inner())).contains(&index) {
            return kInvalidArgument;
        }
        held(kInternalError, || {
            // SAFETY: as the host promises.
            unsafe { IEditControllerTrait::getParameterInfo(self.inner(), index, info) }
        })
    }

    unsafe fn setParamNormalized(&self, id: ParamID, value: ParamValue) -> tresult {
        let Some(values) = &self.values else {
            return held(kInternalError, || {
                // SAFETY: as the host promises.
                unsafe { IEditControllerTrait::setParamNormalized(self.inner(), id, value) }
            });
        };
        // While it processes, the host sends the same value with a block, and nothing may change in the middle of one.
        if self.link.processing.load(Ordering::SeqCst) || values.set(id, value) {
            kResultOk
        } else {
            kInvalidArgument
        }
    }

    unsafe fn createView(&self, name: FIDString) -> *mut IPlugView {
        held(std::ptr::null_mut(), || {
            // SAFETY: as the host promises; the returned view is ours, or null.
            let view = unsafe { ComPtr::from_raw(IEditControllerTrait::createView(self.inner(), name)) };
            view.map_or(std::ptr::null_mut(), |view| {
                View::around(view, Arc::clone(&self.gate))
            })
        })
    }
}

impl<P: Vst3Plugin> IAudioProcessorTrait for Shell<P> {
    forward! { IAudioProcessorTrait {
        fn setBusArrangements(
            inputs: *mut SpeakerArrangement, ins: int32, outputs: *mut SpeakerArrangement, outs: int32
        ) -> tresult;
        fn getBusArrangement(direction: BusDirection, index: int32, to: *mut SpeakerArrangement) -> tresult;
        fn canProcessSampleSize(size: int32) -> tresult;
        fn getLatencySamples() -> uint32, or 0;
        fn getTailSamples() -> uint32, or 0;
    } }

    unsafe fn setupProcessing(&self, setup: *mut ProcessSetup) -> tresult {
        held(kInternalError, || {
            // The framework stores what it will report to the plugin before it reads the kind of rendering, so the
            // first of two equal calls sets the value that the second one reports. SAFETY: as the host promises.
            unsafe {
                IAudioProcessorTrait::setupProcessing(self.inner(), setup);
                IAudioProcessorTrait::setupProcessing(self.inner(), setup)
            }
        })
    }

    unsafe fn setProcessing(&self, on: TBool) -> tresult {
        self.link.processing.store(on != 0, Ordering::SeqCst);
        held(kInternalError, || {
            // SAFETY: as the host promises.
            unsafe { IAudioProcessorTrait::setProcessing(self.inner(), on) }
        })
    }

    unsafe fn process(&self, data: *mut ProcessData) -> tresult {
        held(kInternalError, || {
            // SAFETY: the host's pointer, valid during the call; null is refused.
            let Some(mut data) = (unsafe { data.as_ref() }).copied() else {
                return kInvalidArgument;
            };
            if let Some(values) = &self.values {
                // SAFETY: the host's list, or null.
                unsafe { values.follow(data.inputParameterChanges) };
                data.inputParameterChanges = std::ptr::null_mut();
            }
            let mut busses = Busses::default();
            // SAFETY: as the host promises, for as many busses as it states.
            if !unsafe { busses.complete(&mut data) } {
                return kResultFalse;
            }
            // SAFETY: the host's data, with every bus that the plugin has.
            unsafe { IAudioProcessorTrait::process(self.inner(), &raw mut data) }
        })
    }
}

impl<P: Vst3Plugin> IProcessContextRequirementsTrait for Shell<P> {
    forward! { IProcessContextRequirementsTrait {
        fn getProcessContextRequirements() -> uint32, or 0;
    } }
}

impl<P: Vst3Plugin> IUnitInfoTrait for Shell<P> {
    forward! { IUnitInfoTrait {
        fn getUnitCount() -> int32, or 0;
        fn getUnitInfo(index: int32, info: *mut UnitInfo) -> tresult;
        fn getProgramListCount() -> int32, or 0;
        fn getProgramListInfo(index: int32, info: *mut ProgramListInfo) -> tresult;
        fn getProgramName(list: ProgramListID, index: int32, name: *mut String128) -> tresult;
        fn getProgramInfo(
            list: ProgramListID, index: int32, attribute: CString, value: *mut String128
        ) -> tresult;
        fn hasProgramPitchNames(list: ProgramListID, index: int32) -> tresult;
        fn getProgramPitchName(
            list: ProgramListID, index: int32, pitch: int16, name: *mut String128
        ) -> tresult;
        fn getSelectedUnit() -> UnitID, or kRootUnitId;
        fn selectUnit(id: UnitID) -> tresult;
        fn getUnitByBus(
            kind: MediaType, direction: BusDirection, bus: int32, channel: int32, id: *mut UnitID
        ) -> tresult;
        fn setUnitProgramData(list_or_unit: int32, index: int32, data: *mut IBStream) -> tresult;
    } }
}
