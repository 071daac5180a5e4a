//! Supplies the busses that a host leaves out of a block.
//!
//! The framework reads as many input busses as the plugin has, however many the host says it brings, and whatever their
//! pointers are.

use std::slice;

use nice_plug::wrapper::vst3::vst3::Steinberg::Vst::{AudioBusBuffers, ProcessData};
use sumproof_core::dsp::numbers::to_signed;

/// Input busses: the sound and the side-chain.
const INPUTS: usize = 2;

/// Busses used in place of the host's.
pub(super) struct Busses([AudioBusBuffers; INPUTS]);

impl Default for Busses {
    fn default() -> Self {
        // SAFETY: numbers and a pointer: no channels, so none is read.
        Self([unsafe { std::mem::zeroed() }; INPUTS])
    }
}

/// Whether a bus has all the channels it claims to have.
///
/// # Safety
/// A pointer to channels that isn't null points to as many as the bus says.
unsafe fn is_whole(bus: &AudioBusBuffers) -> bool {
    // SAFETY: the union's two pointers, for both kinds of samples, have the same layout.
    let channels = unsafe { bus.__field0.channelBuffers32 };
    let count = usize::try_from(bus.numChannels).unwrap_or(0);
    count == 0
        || (!channels.is_null()
            // SAFETY: as the caller promises.
            && unsafe { slice::from_raw_parts(channels, count) }
                .iter()
                .all(|channel| !channel.is_null()))
}

impl Busses {
    /// Gives `data` every input bus, without channels where the host brings none or a broken one. Returns `false` where
    /// an output bus is broken: then nothing may be written.
    ///
    /// # Safety
    /// `data` comes from the host: its arrays are null or as long as it says. It is valid for as long as `self`.
    ///
    /// # Real-time
    /// Checks each channel's pointer.
    pub(super) unsafe fn complete(&mut self, data: &mut ProcessData) -> bool {
        if data.numSamples <= 0 {
            return true;
        }
        // SAFETY: as the caller promises.
        let (inputs, outputs) = unsafe {
            (
                all(data.inputs, data.numInputs),
                all(data.outputs, data.numOutputs),
            )
        };
        for (own, host) in self.0.iter_mut().zip(inputs) {
            // SAFETY: as the caller promises.
            if unsafe { is_whole(host) } {
                *own = *host;
            }
        }
        data.inputs = self.0.as_mut_ptr();
        data.numInputs = to_signed(inputs.len().min(INPUTS));
        // SAFETY: as the caller promises.
        outputs.iter().all(|bus| unsafe { is_whole(bus) })
    }
}

/// # Safety
/// `busses` is null or points to `count` of them.
unsafe fn all<'a>(busses: *const AudioBusBuffers, count: i32) -> &'a [AudioBusBuffers] {
    match usize::try_from(count) {
        // SAFETY: as the caller promises.
        Ok(count) if !busses.is_null() => unsafe { slice::from_raw_parts(busses, count) },
        _ => &[],
    }
}
