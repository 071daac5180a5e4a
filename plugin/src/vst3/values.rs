//! Changes of parameters, made before the framework sees them.

use std::sync::Arc;

use nice_plug::params::internals::ParamPtr;
use nice_plug::prelude::Params;
use nice_plug::wrapper::vst3::vst3::ComRef;
use nice_plug::wrapper::vst3::vst3::Steinberg::Vst::{
    IParamValueQueueTrait, IParameterChanges, IParameterChangesTrait,
};
use nice_plug::wrapper::vst3::vst3::Steinberg::kResultOk;
use nice_plug_egui::RepaintNotifier;
use sumproof_core::dsp::numbers::to_single;

/// The parameters by the host's numbers for them.
pub(super) struct Values {
    by_number: Vec<(u32, ParamPtr)>,
    repaint: RepaintNotifier,
    /// Keeps the parameters alive that the pointers point to.
    _params: Arc<dyn Params>,
}

impl Values {
    /// `numbers` are in the order of the parameters.
    pub(super) fn new(params: Arc<dyn Params>, numbers: &[u32], repaint: RepaintNotifier) -> Self {
        let pointers = params.param_map().into_iter().map(|(_, pointer, _)| pointer);
        let mut by_number: Vec<(u32, ParamPtr)> = numbers.iter().copied().zip(pointers).collect();
        by_number.sort_unstable_by_key(|&(number, _)| number);
        Self {
            by_number,
            repaint,
            _params: params,
        }
    }

    /// Sets one parameter to a normalised value, 0 to 1. Returns `false` for an unknown number or an invalid value.
    ///
    /// # Real-time
    /// A binary search; no allocation, no lock.
    pub(super) fn set(&self, number: u32, value: f64) -> bool {
        let value = to_single(value);
        let found = self
            .by_number
            .binary_search_by_key(&number, |&(number, _)| number);
        let (Ok(at), true) = (found, value.is_finite()) else {
            return false;
        };
        // SAFETY: it points into the parameters held here.
        if unsafe { self.by_number[at].1._internal_set_normalized_value(value) } {
            self.repaint.request_repaint();
        }
        true
    }

    /// Sets all parameters that change in a block, each to its last value in it: the audition crossfades by itself, and
    /// everything else follows within milliseconds.
    ///
    /// # Safety
    /// `changes` is null or the host's list.
    ///
    /// # Real-time
    /// Calls the host's list once per value.
    pub(super) unsafe fn follow(&self, changes: *mut IParameterChanges) {
        // SAFETY: as the caller promises.
        let Some(changes) = (unsafe { ComRef::from_raw(changes) }) else {
            return;
        };
        // SAFETY: the host's list, during the call that brought it; a queue it returns is null or its own.
        unsafe {
            for index in 0..changes.getParameterCount() {
                let Some(queue) = ComRef::from_raw(changes.getParameterData(index)) else {
                    continue;
                };
                let number = queue.getParameterId();
                for point in 0..queue.getPointCount() {
                    let (mut offset, mut value) = (0, 0.0);
                    if queue.getPoint(point, &raw mut offset, &raw mut value) == kResultOk {
                        self.set(number, value);
                    }
                }
            }
        }
    }
}
