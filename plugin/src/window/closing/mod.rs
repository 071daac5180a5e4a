//! Closes a window; returns only when none of its threads runs any more.
//!
//! On X11 the windowing library (baseview 0.4.2) gives every window a thread of its own. To close a window, it tells
//! that thread to end, asks it to show the window once more, and joins it; if the thread ends first, the request fails
//! and the library returns before it has joined. The thread is then still destroying OpenGL while the host, which was
//! told that the window is closed, unloads the library, ends the process, or destroys the parent window. Besides, the
//! clipboard has a thread that is never joined.
//!
//! So the window is first closed from inside, as if by its user, which ends the thread in good order and lets the
//! library join it; then any remaining threads are waited for. Both waits are bounded: a window that hangs is
//! abandoned. `docs/engineers/upstream.md` says what would fix it.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use nice_plug::editor::dpi::NativeSize;
use nice_plug::editor::{EditorHandle, HostMainThreadCaller, HostMethods, ParentWindowHandle, SpawnedEditor};
use nice_plug::prelude::{Modifiers, VirtualKeyCode};
use nice_plug_egui::EguiEditorHandle;
use nice_plug_egui::baseview::{self, WindowContext};

#[cfg(target_os = "linux")]
mod x11;

/// How long a window may take to close after the request: until it has drawn its frame, by software on a very busy
/// machine. Otherwise the library would wait for the same, without a limit.
const CLOSING: Duration = Duration::from_secs(60);
/// How long its threads may take to end after that.
const ENDING: Duration = Duration::from_secs(20);
/// Time between two checks of either.
const LOOK_EVERY: Duration = Duration::from_micros(500);

/// A window's threads and X window, as far as known: filled in by the window's thread, read by the closing one.
#[derive(Debug, Clone, Default)]
pub struct Home(Arc<Inner>);

#[derive(Debug, Default)]
struct Inner {
    /// Whether the host is closing the window: the host is then not notified again.
    closing: AtomicBool,
    #[cfg(target_os = "linux")]
    x11: x11::Home,
}

impl Home {
    /// Called on the window's own thread, when the window is created.
    pub fn settle(&self, window: &WindowContext) {
        #[cfg(target_os = "linux")]
        self.0.x11.settle(window);
        #[cfg(not(target_os = "linux"))]
        let _ = window;
    }

    /// The same host methods, which do not call the host any more once it closes the window.
    pub fn host(&self, host: HostMethods) -> HostMethods {
        HostMethods {
            callbacks: host.callbacks,
            main_thread_caller: Box::new(Caller {
                caller: host.main_thread_caller,
                home: self.clone(),
            }),
        }
    }

    /// Wraps a spawned editor in a handle that closes it properly. A window that could not be created has ended when
    /// this returns.
    ///
    /// # Errors
    /// Those of `spawned`.
    pub fn keep<E>(
        self,
        spawned: Result<SpawnedEditor<EguiEditorHandle>, E>,
    ) -> Result<SpawnedEditor<Handle>, E> {
        match spawned {
            Ok(SpawnedEditor { handle, window }) => Ok(SpawnedEditor {
                handle: Handle(handle),
                window: Window {
                    window: Some(window),
                    home: self,
                },
            }),
            Err(error) => {
                self.wait();
                Err(error)
            }
        }
    }

    fn wait(&self) {
        #[cfg(target_os = "linux")]
        until(ENDING, || self.0.x11.is_empty());
    }

    fn close(&self, window: baseview::Window) {
        self.0.closing.store(true, Ordering::SeqCst);
        #[cfg(target_os = "linux")]
        if self.0.x11.ask_to_close() {
            until(CLOSING, || !window.is_open());
        }
        drop(window);
        self.wait();
    }
}

#[cfg_attr(
    not(target_os = "linux"),
    expect(dead_code, reason = "windows have no threads there")
)]
fn until(longest: Duration, done: impl Fn() -> bool) {
    let begun = Instant::now();
    while !done() && begun.elapsed() < longest {
        std::thread::sleep(LOOK_EVERY);
    }
}

/// Calls the host's main thread from the window's thread. The library drops it on the window's thread even where the
/// window can't be created.
struct Caller {
    caller: Box<dyn HostMainThreadCaller>,
    home: Home,
}

impl HostMainThreadCaller for Caller {
    fn call_main_thread(&mut self) {
        if !self.home.0.closing.load(Ordering::SeqCst) {
            self.caller.call_main_thread();
        }
    }
}

impl Drop for Caller {
    fn drop(&mut self) {
        #[cfg(target_os = "linux")]
        self.home.0.x11.leave();
    }
}

/// A window that has fully ended once it is dropped.
pub struct Window {
    window: Option<baseview::Window>,
    home: Home,
}

impl Drop for Window {
    fn drop(&mut self) {
        if let Some(window) = self.window.take() {
            held((), || self.home.close(window));
        }
    }
}

/// The framework's handle of an open editor, over [`Window`]. A panic of the windowing library ends here: the caller is
/// the host, into which nothing may unwind.
pub struct Handle(EguiEditorHandle);

/// Returns the result of `body`, or `otherwise` if it panics.
fn held<R>(otherwise: R, body: impl FnOnce() -> R) -> R {
    catch_unwind(AssertUnwindSafe(body)).unwrap_or(otherwise)
}

impl Handle {
    /// Runs `body` on the library's window, which exists until this window is dropped.
    fn with<R>(
        window: &Window,
        body: impl FnOnce(&baseview::Window) -> Result<R, baseview::Error>,
    ) -> Result<Option<R>, baseview::Error> {
        held(Ok(None), || window.window.as_ref().map(body).transpose())
    }
}

impl EditorHandle for Handle {
    type Window = Window;
    type Error = baseview::Error;

    fn run_until_closed(mut window: Window) -> Result<(), baseview::Error> {
        let ran = window
            .window
            .take()
            .map_or(Ok(()), EguiEditorHandle::run_until_closed);
        window.home.wait();
        ran
    }

    fn set_parent(&self, parent: ParentWindowHandle, window: &Window) -> Result<(), baseview::Error> {
        Self::with(window, |window| self.0.set_parent(parent, window)).map(|_| ())
    }

    fn show(&self, window: &Window) -> Result<(), baseview::Error> {
        Self::with(window, |window| self.0.show(window)).map(|_| ())
    }

    fn hide(&self, window: &Window) -> Result<(), baseview::Error> {
        Self::with(window, |window| self.0.hide(window)).map(|_| ())
    }

    fn set_size(&self, new_size: NativeSize<u32>, window: &Window) -> Result<(), baseview::Error> {
        Self::with(window, |window| self.0.set_size(new_size, window)).map(|_| ())
    }

    fn host_main_thread_callback(&self, window: &Window) {
        if let Some(window) = &window.window {
            held((), || self.0.host_main_thread_callback(window));
        }
    }

    fn adjust_size(&self, new_size: NativeSize<u32>, window: &Window) -> Option<NativeSize<u32>> {
        let window = window.window.as_ref()?;
        held(None, || self.0.adjust_size(new_size, window))
    }

    fn set_fallback_scale_factor(&self, scale_factor: f64, window: &Window) -> Result<(), baseview::Error> {
        Self::with(window, |window| {
            self.0.set_fallback_scale_factor(scale_factor, window)
        })
        .map(|_| ())
    }

    fn on_virtual_key_from_host(&self, key: VirtualKeyCode, is_down: bool, modifiers: Modifiers) -> bool {
        self.0.on_virtual_key_from_host(key, is_down, modifiers)
    }

    fn state_changed(&self) {
        self.0.state_changed();
    }

    fn param_value_changed(&self, id: &str, normalized_value: f32) {
        self.0.param_value_changed(id, normalized_value);
    }

    fn param_modulation_changed(&self, id: &str, modulation_offset: f32) {
        self.0.param_modulation_changed(id, modulation_offset);
    }
}
