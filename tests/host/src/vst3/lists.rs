//! Objects passed between host and plugin: parameter changes and streams.

use std::ffi::c_void;
use std::sync::Mutex;
use vst3::Steinberg::Vst::{
    IParamValueQueue, IParamValueQueueTrait, IParameterChanges, IParameterChangesTrait, ParamID, ParamValue,
};
use vst3::Steinberg::{
    IBStream, IBStreamTrait, int32, int64, kInvalidArgument, kResultFalse, kResultOk, tresult,
};
use vst3::{Class, ComWrapper};

/// The values of one parameter in one block, all at its first sample.
struct Queue {
    id: ParamID,
    value: ParamValue,
}

impl Class for Queue {
    type Interfaces = (IParamValueQueue,);
}

impl IParamValueQueueTrait for Queue {
    unsafe fn getParameterId(&self) -> ParamID {
        self.id
    }

    unsafe fn getPointCount(&self) -> int32 {
        1
    }

    unsafe fn getPoint(&self, index: int32, offset: *mut int32, value: *mut ParamValue) -> tresult {
        if index != 0 {
            return kInvalidArgument;
        }
        // SAFETY: the plugin passes writable pointers.
        unsafe {
            offset.write(0);
            value.write(self.value);
        }
        kResultOk
    }

    unsafe fn addPoint(&self, _offset: int32, _value: ParamValue, _index: *mut int32) -> tresult {
        kResultFalse
    }
}

/// The changes of a block.
pub(super) struct Changes(Vec<ComWrapper<Queue>>);

impl Changes {
    pub(super) fn new(changes: &[(ParamID, ParamValue)]) -> ComWrapper<Self> {
        let queue = |&(id, value): &(ParamID, ParamValue)| ComWrapper::new(Queue { id, value });
        ComWrapper::new(Self(changes.iter().map(queue).collect()))
    }
}

impl Class for Changes {
    type Interfaces = (IParameterChanges,);
}

impl IParameterChangesTrait for Changes {
    unsafe fn getParameterCount(&self) -> int32 {
        self.0.len() as int32
    }

    unsafe fn getParameterData(&self, index: int32) -> *mut IParamValueQueue {
        let queue = usize::try_from(index).ok().and_then(|index| self.0.get(index));
        queue
            .and_then(ComWrapper::as_com_ref::<IParamValueQueue>)
            .map_or(std::ptr::null_mut(), |queue| queue.as_ptr())
    }

    unsafe fn addParameterData(&self, _id: *const ParamID, _index: *mut int32) -> *mut IParamValueQueue {
        std::ptr::null_mut()
    }
}

/// Bytes in memory.
#[derive(Default)]
pub(super) struct Stream(Mutex<(Vec<u8>, usize)>);

impl Stream {
    pub(super) fn new(bytes: Vec<u8>) -> ComWrapper<Self> {
        ComWrapper::new(Self(Mutex::new((bytes, 0))))
    }

    pub(super) fn bytes(&self) -> Vec<u8> {
        self.0.lock().map(|stream| stream.0.clone()).unwrap_or_default()
    }
}

impl Class for Stream {
    type Interfaces = (IBStream,);
}

impl IBStreamTrait for Stream {
    unsafe fn read(&self, buffer: *mut c_void, count: int32, done: *mut int32) -> tresult {
        let Ok(mut stream) = self.0.lock() else {
            return kResultFalse;
        };
        let (bytes, at) = &mut *stream;
        let from = (*at).min(bytes.len());
        let part = &bytes[from..(from + usize::try_from(count).unwrap_or(0)).min(bytes.len())];
        // SAFETY: the plugin's buffer holds as many bytes as it asks for.
        unsafe {
            std::ptr::copy_nonoverlapping(part.as_ptr(), buffer.cast(), part.len());
            if !done.is_null() {
                done.write(part.len() as int32);
            }
        }
        *at = from + part.len();
        kResultOk
    }

    unsafe fn write(&self, buffer: *mut c_void, count: int32, done: *mut int32) -> tresult {
        let Ok(mut stream) = self.0.lock() else {
            return kResultFalse;
        };
        let (bytes, at) = &mut *stream;
        let count = usize::try_from(count).unwrap_or(0);
        // SAFETY: the plugin's buffer holds as many bytes as it says.
        let new = unsafe { std::slice::from_raw_parts(buffer.cast::<u8>(), count) };
        bytes.truncate(*at);
        bytes.extend_from_slice(new);
        *at += count;
        if !done.is_null() {
            // SAFETY: a writable pointer.
            unsafe { done.write(count as int32) };
        }
        kResultOk
    }

    unsafe fn seek(&self, to: int64, mode: int32, result: *mut int64) -> tresult {
        let Ok(mut stream) = self.0.lock() else {
            return kResultFalse;
        };
        let (bytes, at) = &mut *stream;
        let from = match mode {
            0 => 0,
            1 => *at,
            _ => bytes.len(),
        };
        let Some(next) = usize::try_from(to + from as int64).ok() else {
            return kInvalidArgument;
        };
        *at = next;
        if !result.is_null() {
            // SAFETY: a writable pointer.
            unsafe { result.write(next as int64) };
        }
        kResultOk
    }

    unsafe fn tell(&self, at: *mut int64) -> tresult {
        let Ok(stream) = self.0.lock() else {
            return kResultFalse;
        };
        // SAFETY: a writable pointer.
        unsafe { at.write(stream.1 as int64) };
        kResultOk
    }
}
