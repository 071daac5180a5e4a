//! A plugin's editor in a window of ours, and the event loop that it may use.

use super::plugin::Plugin;
use crate::editor::{map, parent_window, window_error};
use crate::error::HostError;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use vst3::Steinberg::Linux::{
    FileDescriptor, IEventHandler, IEventHandlerTrait, IRunLoop, IRunLoopTrait, ITimerHandler, TimerInterval,
};
use vst3::Steinberg::Vst::IEditControllerTrait;
use vst3::Steinberg::{
    IPlugFrame, IPlugFrameTrait, IPlugView, IPlugViewContentScaleSupport, IPlugViewContentScaleSupportTrait,
    IPlugViewTrait, ViewRect, kNotImplemented, kPlatformTypeX11EmbedWindowID, kResultFalse, kResultOk,
    tresult,
};
use vst3::{Class, ComPtr, ComRef, ComWrapper};
use x11rb::protocol::xproto::ConnectionExt as _;
use x11rb::rust_connection::RustConnection;
use x11rb::wrapper::ConnectionExt as _;

/// Whether the host has an event loop for its plugins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Loop {
    /// It has one, as every host on Linux should.
    Offered,
    /// It has none, like some hosts.
    None,
}

/// The handlers registered and not removed again.
type Handlers = Arc<Mutex<Vec<(ComPtr<IEventHandler>, i32)>>>;

fn handlers(of: &Handlers) -> std::sync::MutexGuard<'_, Vec<(ComPtr<IEventHandler>, i32)>> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

struct Frame;

impl Class for Frame {
    type Interfaces = (IPlugFrame,);
}

struct FrameWithLoop(Handlers);

impl Class for FrameWithLoop {
    type Interfaces = (IPlugFrame, IRunLoop);
}

/// # Safety
/// Both must be valid pointers from the plugin.
unsafe fn resize(view: *mut IPlugView, size: *mut ViewRect) -> tresult {
    // SAFETY: guaranteed by the caller.
    unsafe { ComRef::from_raw(view).map_or(kResultFalse, |view| view.onSize(size)) }
}

impl IPlugFrameTrait for Frame {
    unsafe fn resizeView(&self, view: *mut IPlugView, size: *mut ViewRect) -> tresult {
        // SAFETY: guaranteed by the plugin.
        unsafe { resize(view, size) }
    }
}

impl IPlugFrameTrait for FrameWithLoop {
    unsafe fn resizeView(&self, view: *mut IPlugView, size: *mut ViewRect) -> tresult {
        // SAFETY: guaranteed by the plugin.
        unsafe { resize(view, size) }
    }
}

impl IRunLoopTrait for FrameWithLoop {
    unsafe fn registerEventHandler(&self, handler: *mut IEventHandler, file: FileDescriptor) -> tresult {
        // SAFETY: the plugin's, or null.
        let Some(handler) = (unsafe { ComRef::from_raw(handler) }) else {
            return kResultFalse;
        };
        handlers(&self.0).push((handler.to_com_ptr(), file));
        kResultOk
    }

    unsafe fn unregisterEventHandler(&self, handler: *mut IEventHandler) -> tresult {
        let gone: Vec<_> = {
            let mut handlers = handlers(&self.0);
            let (gone, left) = handlers
                .drain(..)
                .partition(|(known, _)| known.as_ptr() == handler);
            *handlers = left;
            gone
        };
        if gone.is_empty() { kResultFalse } else { kResultOk }
    }

    unsafe fn registerTimer(&self, _handler: *mut ITimerHandler, _interval: TimerInterval) -> tresult {
        kNotImplemented
    }

    unsafe fn unregisterTimer(&self, _handler: *mut ITimerHandler) -> tresult {
        kNotImplemented
    }
}

fn rect(width: i32, height: i32) -> ViewRect {
    ViewRect {
        left: 0,
        top: 0,
        right: width,
        bottom: height,
    }
}

fn rude_calls(view: &ComPtr<IPlugView>) -> Vec<(&'static str, tresult)> {
    let null = std::ptr::null_mut();
    let mut widest = ViewRect {
        left: i32::MIN,
        top: 0,
        right: i32::MAX,
        bottom: 10,
    };
    let (mut none, mut huge) = (rect(0, -3), rect(i32::MAX, 4));
    let kind = kPlatformTypeX11EmbedWindowID;
    let mut answers = Vec::new();
    // SAFETY: null is what some hosts pass; everything else is valid.
    unsafe {
        answers.push((
            "a kind of window that is null",
            view.isPlatformTypeSupported(std::ptr::null()),
        ));
        answers.push(("attached to null", view.attached(null, kind)));
        answers.push((
            "attached to null of a kind that is null",
            view.attached(null, std::ptr::null()),
        ));
        answers.push((
            "attached once more",
            view.attached(std::ptr::dangling_mut(), kind),
        ));
        answers.push(("the size into null", view.getSize(std::ptr::null_mut())));
        for size in [
            std::ptr::null_mut(),
            &raw mut widest,
            &raw mut none,
            &raw mut huge,
        ] {
            answers.push(("a size that is none", view.onSize(size)));
            answers.push(("a size that is none, asked for", view.checkSizeConstraint(size)));
        }
        for code in [i16::MIN, -1, 0, 1, 77, 128, i16::MAX] {
            answers.push(("a key", view.onKeyDown(0xd800, code, -1)));
            answers.push(("a key, up", view.onKeyUp(0, code, i16::MAX)));
        }
        if let Some(scales) = view.cast::<IPlugViewContentScaleSupport>() {
            for factor in [f32::NAN, f32::INFINITY, -1.0, 0.0, 1e30] {
                answers.push(("a scale that is none", scales.setContentScaleFactor(factor)));
            }
        }
    }
    answers
}

/// An open editor.
pub struct Editor {
    view: ComPtr<IPlugView>,
    handlers: Handlers,
    connection: RustConnection,
    window: u32,
    _frame: ComPtr<IPlugFrame>,
}

impl Plugin {
    /// Opens the editor.
    ///
    /// # Errors
    /// [`HostError::Window`] without a display, [`HostError::Refused`] when the plugin doesn't open it.
    pub fn open(&self, event_loop: Loop) -> Result<Editor, HostError> {
        let refused = |reason: &str| HostError::refused("open its editor", reason);
        // SAFETY: the prescribed name; it returns a view or null.
        let view = unsafe { ComPtr::from_raw(self.controller.createView(c"editor".as_ptr())) };
        let view = view.ok_or_else(|| refused("it has none"))?;
        let handlers = Handlers::default();
        let frame = match event_loop {
            Loop::Offered => ComWrapper::new(FrameWithLoop(Arc::clone(&handlers))).to_com_ptr(),
            Loop::None => ComWrapper::new(Frame).to_com_ptr(),
        };
        let frame: ComPtr<IPlugFrame> = frame.ok_or_else(|| refused("there is no frame for it"))?;
        let mut size = ViewRect {
            left: 0,
            top: 0,
            right: 0,
            bottom: 0,
        };
        // SAFETY: in the prescribed order, with valid objects.
        if unsafe { view.setFrame(frame.as_ptr()) != kResultOk || view.getSize(&raw mut size) != kResultOk } {
            return Err(refused("it takes no frame or has no size"));
        }
        let (width, height) = (size.right - size.left, size.bottom - size.top);
        let size = clack_extensions::gui::GuiSize {
            width: width.unsigned_abs(),
            height: height.unsigned_abs(),
        };
        let (connection, window, ..) =
            parent_window("Sumproof in a VST3 host", size).map_err(window_error)?;
        map(&connection, window)?;
        // SAFETY: the window lives until the editor is removed.
        let attached = unsafe { view.attached(window as usize as *mut _, kPlatformTypeX11EmbedWindowID) };
        if attached != kResultOk {
            return Err(refused("it can't be attached"));
        }
        Ok(Editor {
            view,
            handlers,
            connection,
            window,
            _frame: frame,
        })
    }
}

impl Editor {
    /// Runs the event loop for a while.
    pub fn pump(&self, time: Duration) {
        let until = Instant::now() + time;
        loop {
            let mut files: Vec<libc::pollfd> = handlers(&self.handlers)
                .iter()
                .map(|&(_, fd)| libc::pollfd {
                    fd,
                    events: libc::POLLIN,
                    revents: 0,
                })
                .collect();
            // SAFETY: the length is that of the slice.
            unsafe { libc::poll(files.as_mut_ptr(), files.len() as libc::nfds_t, 2) };
            for file in files.iter().filter(|file| file.revents & libc::POLLIN != 0) {
                let ready: Vec<_> = handlers(&self.handlers)
                    .iter()
                    .filter(|(_, fd)| *fd == file.fd)
                    .map(|(handler, _)| handler.clone())
                    .collect();
                for handler in ready {
                    // SAFETY: the handler is registered for this file.
                    unsafe { handler.onFDIsSet(file.fd) };
                }
            }
            if Instant::now() >= until {
                break;
            }
        }
    }

    /// Makes invalid calls one after the other: null, impossible sizes and scales, meaningless keys. Returns the view's
    /// answer to each.
    #[must_use]
    pub fn rude_calls(&self) -> Vec<(&'static str, tresult)> {
        rude_calls(&self.view)
    }

    /// Makes the same calls from another thread, while this one waits.
    ///
    /// # Errors
    /// [`HostError::Misuse`] when that thread panics.
    pub fn rude_calls_from_elsewhere(&self) -> Result<Vec<(&'static str, tresult)>, HostError> {
        let view = self.view.clone();
        std::thread::spawn(move || rude_calls(&view))
            .join()
            .map_err(|_| HostError::Misuse("the other thread panicked"))
    }

    /// Requests a size, pixels; returns whether it was accepted.
    #[must_use]
    pub fn resize(&self, width: i32, height: i32) -> bool {
        let mut size = rect(width, height);
        // SAFETY: a valid size.
        unsafe { self.view.onSize(&raw mut size) == kResultOk }
    }

    /// Number of registered handlers.
    #[must_use]
    pub fn registered(&self) -> usize {
        handlers(&self.handlers).len()
    }

    /// Removes the editor and then its window, as a host does; returns the number of handlers it left registered.
    ///
    /// # Errors
    /// [`HostError::Window`] when the display is already gone.
    pub fn close(self) -> Result<usize, HostError> {
        // SAFETY: in the prescribed order.
        unsafe {
            self.view.removed();
            self.view.setFrame(std::ptr::null_mut());
        }
        drop(self.view);
        self.connection
            .destroy_window(self.window)
            .map_err(window_error)?;
        self.connection.sync().map_err(window_error)?;
        let left = handlers(&self.handlers).len();
        Ok(left)
    }
}
