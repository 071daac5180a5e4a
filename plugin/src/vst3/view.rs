//! The editor, as a host holds it.

use std::ffi::c_void;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use nice_plug::wrapper::vst3::vst3::Steinberg::{
    FIDString, IPlugFrame, IPlugView, IPlugViewContentScaleSupport,
    IPlugViewContentScaleSupport_::ScaleFactor, IPlugViewContentScaleSupportTrait, IPlugViewTrait, TBool,
    ViewRect, char16, int16, kNotImplemented, kResultOk, tresult,
};
use nice_plug::wrapper::vst3::vst3::{Class, ComPtr, ComRef, ComWrapper};

use super::frame::Frame;
use super::gate::Gate;

/// The framework's view, which knows only our frame.
pub(super) struct View {
    inner: ComPtr<IPlugView>,
    gate: Arc<Gate>,
    frame: Mutex<Option<ComWrapper<Frame>>>,
    attached: AtomicBool,
    /// How the host knows this view.
    own: Mutex<Option<Own>>,
}

/// Not counted: the view is there while it's called.
#[derive(Clone, Copy)]
struct Own(*mut IPlugView);

// SAFETY: it is only handed back to the host, which calls from where it likes.
unsafe impl Send for Own {}

impl View {
    /// A view for the host to keep.
    pub(super) fn around(inner: ComPtr<IPlugView>, gate: Arc<Gate>) -> *mut IPlugView {
        let view = ComWrapper::new(Self {
            inner,
            gate,
            frame: Mutex::default(),
            attached: AtomicBool::new(false),
            own: Mutex::default(),
        });
        let Some(pointer) = view.to_com_ptr::<IPlugView>() else {
            return std::ptr::null_mut();
        };
        *lock(&view.own) = Some(Own(pointer.as_ptr()));
        pointer.into_raw()
    }

    /// Gives the framework a frame, around the host's if there is one.
    fn frame(&self, host: Option<ComPtr<IPlugFrame>>) {
        self.unframe();
        let own = lock(&self.own).map_or(std::ptr::null_mut(), |own| own.0);
        let frame = ComWrapper::new(Frame::new(host, own));
        if let Some(pointer) = frame.as_com_ref::<IPlugFrame>() {
            // SAFETY: the framework counts it for itself.
            unsafe { self.inner.setFrame(pointer.as_ptr()) };
        }
        *lock(&self.frame) = Some(frame);
    }

    /// Takes the frame away, and what was registered with the host by it.
    fn unframe(&self) {
        let frame = lock(&self.frame).take();
        if let Some(frame) = frame {
            // SAFETY: null is how a host says that there is none.
            unsafe { self.inner.setFrame(std::ptr::null_mut()) };
            frame.retire();
        }
    }
}

fn lock<T>(of: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Drop for View {
    fn drop(&mut self) {
        if self.attached.load(Ordering::SeqCst) {
            // SAFETY: it is attached.
            self.gate.alone(|| unsafe { self.inner.removed() });
        }
        self.unframe();
    }
}

impl Class for View {
    type Interfaces = (IPlugView, IPlugViewContentScaleSupport);
}

impl IPlugViewTrait for View {
    unsafe fn isPlatformTypeSupported(&self, kind: FIDString) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.inner.isPlatformTypeSupported(kind) }
    }

    unsafe fn attached(&self, parent: *mut c_void, kind: FIDString) -> tresult {
        if lock(&self.frame).is_none() {
            self.frame(None);
        }
        // SAFETY: as the host promises.
        let result = self.gate.alone(|| unsafe { self.inner.attached(parent, kind) });
        if result == kResultOk {
            self.attached.store(true, Ordering::SeqCst);
        }
        result
    }

    unsafe fn removed(&self) -> tresult {
        self.attached.store(false, Ordering::SeqCst);
        // SAFETY: as the host promises.
        self.gate.alone(|| unsafe { self.inner.removed() })
    }

    unsafe fn onWheel(&self, distance: f32) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.inner.onWheel(distance) }
    }

    unsafe fn onKeyDown(&self, key: char16, code: int16, modifiers: int16) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.inner.onKeyDown(key, code, modifiers) }
    }

    unsafe fn onKeyUp(&self, key: char16, code: int16, modifiers: int16) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.inner.onKeyUp(key, code, modifiers) }
    }

    unsafe fn getSize(&self, size: *mut ViewRect) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.inner.getSize(size) }
    }

    unsafe fn onSize(&self, size: *mut ViewRect) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.inner.onSize(size) }
    }

    unsafe fn onFocus(&self, on: TBool) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.inner.onFocus(on) }
    }

    unsafe fn setFrame(&self, frame: *mut IPlugFrame) -> tresult {
        // SAFETY: the host's, or null.
        match unsafe { ComRef::from_raw(frame) } {
            Some(host) => self.frame(Some(host.to_com_ptr())),
            None => self.unframe(),
        }
        kResultOk
    }

    unsafe fn canResize(&self) -> tresult {
        // SAFETY: it asks for nothing.
        unsafe { self.inner.canResize() }
    }

    unsafe fn checkSizeConstraint(&self, size: *mut ViewRect) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.inner.checkSizeConstraint(size) }
    }
}

impl IPlugViewContentScaleSupportTrait for View {
    unsafe fn setContentScaleFactor(&self, factor: ScaleFactor) -> tresult {
        self.inner
            .cast::<IPlugViewContentScaleSupport>()
            // SAFETY: as the host promises.
            .map_or(kNotImplemented, |scale| unsafe {
                scale.setContentScaleFactor(factor)
            })
    }
}
