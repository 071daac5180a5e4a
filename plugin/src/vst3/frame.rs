//! The host's frame and its event loop, as presented to the framework.
//!
//! On Linux the framework registers a handler and a socket with the host's event loop for every view that gets a frame,
//! and gives the handler one reference more than it ever releases: handler and sockets would stay registered and open
//! for good, two files a window. Where the host has no event loop, the framework's tasks would go to a thread that may
//! not touch the editor.

use std::sync::{Mutex, PoisonError};

use nice_plug::wrapper::vst3::vst3::Steinberg::Linux::{
    FileDescriptor, IEventHandler, IRunLoop, IRunLoopTrait, ITimerHandler, TimerInterval,
};
use nice_plug::wrapper::vst3::vst3::Steinberg::{
    IPlugFrame, IPlugFrameTrait, IPlugView, ViewRect, kInvalidArgument, kNotImplemented, kResultFalse,
    kResultOk, tresult,
};
use nice_plug::wrapper::vst3::vst3::{Class, ComPtr};

/// A frame around the host's.
pub(super) struct Frame {
    host: Option<ComPtr<IPlugFrame>>,
    run_loop: Option<ComPtr<IRunLoop>>,
    /// The view that the host knows.
    view: *mut IPlugView,
    registered: Mutex<Vec<Handler>>,
}

/// A handler that the framework registered, with the reference that it never releases.
struct Handler(*mut IEventHandler);

// SAFETY: handlers are the framework's, which calls and counts them from any thread.
unsafe impl Send for Handler {}

impl Frame {
    /// A frame around `host`'s. `view` is the pointer by which the host knows the view; it must outlive the frame.
    pub(super) fn new(host: Option<ComPtr<IPlugFrame>>, view: *mut IPlugView) -> Self {
        let run_loop = host.as_ref().and_then(ComPtr::cast::<IRunLoop>);
        Self {
            host,
            run_loop,
            view,
            registered: Mutex::default(),
        }
    }

    /// Unregisters everything from the host's loop. Call it after the framework has released the frame.
    pub(super) fn retire(&self) {
        let registered = std::mem::take(&mut *self.registered.lock().unwrap_or_else(PoisonError::into_inner));
        for handler in registered {
            if let Some(run_loop) = &self.run_loop {
                // SAFETY: it was registered there.
                unsafe { run_loop.unregisterEventHandler(handler.0) };
            }
            // SAFETY: the reference of `RunLoopEventHandler::new`, which leaks it (nice-plug 0.4.2, `view.rs:379`).
            // Releasing it frees the handler, which asks once more to be unregistered.
            drop(unsafe { ComPtr::from_raw(handler.0) });
        }
    }
}

impl Class for Frame {
    type Interfaces = (IPlugFrame, IRunLoop);
}

impl IPlugFrameTrait for Frame {
    unsafe fn resizeView(&self, _view: *mut IPlugView, size: *mut ViewRect) -> tresult {
        self.host
            .as_ref()
            // SAFETY: the view that the host created, and the framework's size.
            .map_or(kResultFalse, |host| unsafe { host.resizeView(self.view, size) })
    }
}

impl IRunLoopTrait for Frame {
    unsafe fn registerEventHandler(&self, handler: *mut IEventHandler, file: FileDescriptor) -> tresult {
        if handler.is_null() {
            return kInvalidArgument;
        }
        if let Some(run_loop) = &self.run_loop {
            // The framework panics if this is refused. Without a loop the tasks wait for ever; they only ask for
            // frames. SAFETY: as the framework promises.
            unsafe { run_loop.registerEventHandler(handler, file) };
        }
        self.registered
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .push(Handler(handler));
        kResultOk
    }

    unsafe fn unregisterEventHandler(&self, handler: *mut IEventHandler) -> tresult {
        let known = {
            let mut registered = self.registered.lock().unwrap_or_else(PoisonError::into_inner);
            let at = registered.iter().position(|known| known.0 == handler);
            at.map(|at| registered.swap_remove(at))
        };
        match (known, &self.run_loop) {
            // SAFETY: it was registered there.
            (Some(_), Some(run_loop)) => unsafe { run_loop.unregisterEventHandler(handler) },
            _ => kResultOk,
        }
    }

    unsafe fn registerTimer(&self, handler: *mut ITimerHandler, interval: TimerInterval) -> tresult {
        self.run_loop
            .as_ref()
            // SAFETY: as the framework promises.
            .map_or(kNotImplemented, |run_loop| unsafe {
                run_loop.registerTimer(handler, interval)
            })
    }

    unsafe fn unregisterTimer(&self, handler: *mut ITimerHandler) -> tresult {
        self.run_loop
            .as_ref()
            // SAFETY: as the framework promises.
            .map_or(kNotImplemented, |run_loop| unsafe {
                run_loop.unregisterTimer(handler)
            })
    }
}
