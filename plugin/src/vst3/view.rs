//! The editor as a host holds it.
//!
//! The framework's view is called through its table of functions, and nothing may unwind out of those: a panic in one
//! ends the host at once, before it could be caught here. So calls that would make it panic are not forwarded: calls
//! for its window from a thread other than the one that created it, or while the window is being attached or removed;
//! null pointers; impossible sizes and scales. A panic in our own or lower-level code inside such a call is caught in
//! our code (`window::closing::Handle`).

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

/// A view around the framework's, which knows only our frame.
pub(super) struct View {
    inner: ComPtr<IPlugView>,
    gate: Arc<Gate>,
    frame: Mutex<Option<ComWrapper<Frame>>>,
    attached: AtomicBool,
    /// Whether it is being attached or removed.
    moving: AtomicBool,
    /// The thread that attached it, while it is attached: the only one that may access its window.
    thread: Mutex<Option<ThreadId>>,
    /// The pointer by which the host knows this view.
    own: Mutex<Option<Own>>,
}

/// Not reference-counted: the view exists while it is called.
#[derive(Clone, Copy)]
struct Own(*mut IPlugView);

// SAFETY: it is only handed back to the host, which may call from any thread.
unsafe impl Send for Own {}

impl View {
    /// A new view, owned by the host.
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
            // SAFETY: the framework takes its own reference.
            unsafe { self.inner.setFrame(pointer.as_ptr()) };
        }
        *lock(&self.frame) = Some(frame);
    }

    /// Removes the frame, and what it registered with the host.
    fn unframe(&self) {
        let frame = lock(&self.frame).take();
        if let Some(frame) = frame {
            // SAFETY: null is the host's way of saying that there is no frame.
            unsafe { self.inner.setFrame(std::ptr::null_mut()) };
            frame.retire();
        }
    }
}

impl View {
    /// Attaches or removes; returns `None` where either is in progress, in an outer call or on another thread.
    fn moved(&self, body: impl FnOnce() -> tresult) -> Option<tresult> {
        if self.moving.swap(true, Ordering::SeqCst) {
            return None;
        }
        let result = self.gate.alone(body);
        self.moving.store(false, Ordering::SeqCst);
        Some(result)
    }

    /// Runs a `body` that accesses the window, if this thread may do so now; returns `kResultFalse` otherwise.
    fn reach(&self, body: impl FnOnce() -> tresult) -> tresult {
        let own = *lock(&self.thread) == Some(thread::current().id());
        if own && !self.moving.load(Ordering::SeqCst) {
            body()
        } else {
            kResultFalse
        }
    }
}

/// Longest side accepted for a window, pixels.
const LONGEST_SIDE: i32 = 32_768;

/// Scales accepted.
const SCALES: std::ops::RangeInclusive<f32> = 0.1..=16.0;

/// Whether `size` is not null and a possible size of a window.
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
        // For another system's kind of window the framework fails a debug assertion. SAFETY: as the host promises.
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
        // SAFETY: the call takes no arguments.
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
