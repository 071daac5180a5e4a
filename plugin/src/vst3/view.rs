//! The editor, as a host holds it.
//!
//! The framework's view is called through its table of functions, out of which nothing may unwind: a panic in it ends the host
//! there and then, before it could be caught here. So what would make it panic is not handed on: calls that reach its window from
//! another thread than the one that made it, or while it is being made or removed; null; sizes and scales that no window has.
//! What runs inside such a call and is ours, or below us, is caught where it's ours (`window::closing::Handle`).

use std::ffi::c_void;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, ThreadId};

use nice_plug::wrapper::vst3::vst3::Steinberg::{
    FIDString, IPlugFrame, IPlugView, IPlugViewContentScaleSupport,
    IPlugViewContentScaleSupport_::ScaleFactor, IPlugViewContentScaleSupportTrait, IPlugViewTrait, TBool,
    ViewRect, char16, int16, kInvalidArgument, kNotImplemented, kResultFalse, kResultOk, tresult,
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
    /// It is being attached or removed.
    moving: AtomicBool,
    /// The thread that attached it, while it is: the only one that may reach its window.
    thread: Mutex<Option<ThreadId>>,
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
            moving: AtomicBool::new(false),
            thread: Mutex::default(),
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

impl View {
    /// Attaches or removes; `None` where either is under way, in a call further up or on another thread.
    fn moved(&self, body: impl FnOnce() -> tresult) -> Option<tresult> {
        if self.moving.swap(true, Ordering::SeqCst) {
            return None;
        }
        let result = self.gate.alone(body);
        self.moving.store(false, Ordering::SeqCst);
        Some(result)
    }

    /// Runs what reaches the window, where that may be reached from here now.
    fn reach(&self, body: impl FnOnce() -> tresult) -> tresult {
        let own = *lock(&self.thread) == Some(thread::current().id());
        if own && !self.moving.load(Ordering::SeqCst) {
            body()
        } else {
            kResultFalse
        }
    }
}

/// Longest side of a window that is asked for, pixels.
const LONGEST_SIDE: i32 = 32_768;

/// Scales that screens have.
const SCALES: std::ops::RangeInclusive<f32> = 0.1..=16.0;

/// Whether it is there, and the size of a window.
///
/// # Safety
/// It is null or the host's.
unsafe fn is_size(size: *const ViewRect) -> bool {
    // SAFETY: as the caller promises.
    unsafe { size.as_ref() }.is_some_and(|size| {
        [(size.left, size.right), (size.top, size.bottom)]
            .iter()
            .all(|(from, to)| {
                to.checked_sub(*from)
                    .is_some_and(|side| (1..=LONGEST_SIDE).contains(&side))
            })
    })
}

fn lock<T>(of: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Drop for View {
    fn drop(&mut self) {
        if self.attached.load(Ordering::SeqCst) {
            // SAFETY: it is attached.
            self.moved(|| unsafe { self.inner.removed() });
        }
        self.unframe();
    }
}

impl Class for View {
    type Interfaces = (IPlugView, IPlugViewContentScaleSupport);
}

impl IPlugViewTrait for View {
    unsafe fn isPlatformTypeSupported(&self, kind: FIDString) -> tresult {
        if kind.is_null() {
            return kInvalidArgument;
        }
        // SAFETY: as the host promises.
        unsafe { self.inner.isPlatformTypeSupported(kind) }
    }

    unsafe fn attached(&self, parent: *mut c_void, kind: FIDString) -> tresult {
        if parent.is_null() || kind.is_null() {
            return kInvalidArgument;
        }
        // Of another system's kind of window the framework makes a debug assertion.
        // SAFETY: as the host promises.
        let known = unsafe { self.inner.isPlatformTypeSupported(kind) } == kResultOk;
        if !known || self.attached.load(Ordering::SeqCst) {
            return kResultFalse;
        }
        if lock(&self.frame).is_none() {
            self.frame(None);
        }
        // SAFETY: as the host promises.
        let result = self.moved(|| unsafe { self.inner.attached(parent, kind) });
        if result == Some(kResultOk) {
            *lock(&self.thread) = Some(thread::current().id());
            self.attached.store(true, Ordering::SeqCst);
        }
        result.unwrap_or(kResultFalse)
    }

    unsafe fn removed(&self) -> tresult {
        if !self.attached.load(Ordering::SeqCst) {
            return kResultFalse;
        }
        // SAFETY: as the host promises.
        let result = self.moved(|| unsafe { self.inner.removed() });
        if result.is_some() {
            self.attached.store(false, Ordering::SeqCst);
            *lock(&self.thread) = None;
        }
        result.unwrap_or(kResultFalse)
    }

    unsafe fn onWheel(&self, distance: f32) -> tresult {
        // SAFETY: as the host promises.
        unsafe { self.inner.onWheel(distance) }
    }

    unsafe fn onKeyDown(&self, key: char16, code: int16, modifiers: int16) -> tresult {
        // SAFETY: as the host promises.
        self.reach(|| unsafe { self.inner.onKeyDown(key, code, modifiers) })
    }

    unsafe fn onKeyUp(&self, key: char16, code: int16, modifiers: int16) -> tresult {
        // SAFETY: as the host promises.
        self.reach(|| unsafe { self.inner.onKeyUp(key, code, modifiers) })
    }

    unsafe fn getSize(&self, size: *mut ViewRect) -> tresult {
        if size.is_null() {
            return kInvalidArgument;
        }
        // SAFETY: as the host promises.
        unsafe { self.inner.getSize(size) }
    }

    unsafe fn onSize(&self, size: *mut ViewRect) -> tresult {
        // SAFETY: as the host promises.
        if !unsafe { is_size(size) } {
            return kInvalidArgument;
        }
        // SAFETY: as above.
        self.reach(|| unsafe { self.inner.onSize(size) })
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
        if !unsafe { is_size(size) } {
            return kInvalidArgument;
        }
        // SAFETY: as above.
        self.reach(|| unsafe { self.inner.checkSizeConstraint(size) })
    }
}

impl IPlugViewContentScaleSupportTrait for View {
    unsafe fn setContentScaleFactor(&self, factor: ScaleFactor) -> tresult {
        if !SCALES.contains(&factor) {
            return kInvalidArgument;
        }
        let Some(scale) = self.inner.cast::<IPlugViewContentScaleSupport>() else {
            return kNotImplemented;
        };
        // SAFETY: as the host promises.
        self.reach(|| unsafe { scale.setContentScaleFactor(factor) })
    }
}
