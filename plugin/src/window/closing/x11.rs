//! A window's threads, found through the kernel, and its X window.
//!
//! Threads inherit the name of the thread that starts them unless they get their own. So the window's thread gets a
//! unique name, and all its threads are found by that name under `/proc/self/task`. (Without `/proc`, there is no
//! waiting.)
//!
//! Source: `proc(5)`, `/proc/self/task/TID/comm`; X.Org, "Inter-Client Communication Conventions Manual", 4.2.8.1
//! (`WM_DELETE_WINDOW`).

use std::path::Path;
use std::sync::{Mutex, PoisonError};

use nice_plug_egui::baseview::WindowContext;
use raw_window_handle::{HasWindowHandle, RawWindowHandle};
use x11rb::connection::Connection;
use x11rb::protocol::xproto::{ClientMessageEvent, ConnectionExt as _, EventMask};
use x11rb::rust_connection::RustConnection;

/// The known facts about a window on X11.
#[derive(Debug, Default)]
pub(super) struct Home(Mutex<Known>);

#[derive(Debug, Default)]
struct Known {
    /// Name of its threads.
    name: Option<String>,
    /// The thread's number, where it ended before it had a name.
    thread: Option<u32>,
    window: Option<u32>,
}

/// The number of the calling thread.
fn own_number() -> Option<u32> {
    let link = std::fs::read_link("/proc/thread-self").ok()?;
    link.file_name()?.to_str()?.parse().ok()
}

impl Home {
    fn with<R>(&self, body: impl FnOnce(&mut Known) -> R) -> R {
        body(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Names the calling thread, which must be the window's, and stores the X window's id.
    pub(super) fn settle(&self, window: &WindowContext) {
        let number = own_number();
        // The kernel keeps at most 15 bytes of a name.
        let name = number.map(|number| format!("window {number}"));
        let name = name.filter(|name| std::fs::write("/proc/thread-self/comm", name).is_ok());
        let platform = window.platform_handle();
        let window = platform
            .window_handle()
            .ok()
            .and_then(|handle| match handle.as_raw() {
                RawWindowHandle::Xcb(handle) => Some(handle.window.get()),
                _ => None,
            });
        self.with(|known| {
            *known = Known {
                name,
                thread: number,
                window,
            }
        });
    }

    /// Called on the window's thread when it is about to end, with or without a window.
    pub(super) fn leave(&self) {
        let number = own_number();
        self.with(|known| known.thread = known.thread.or(number));
    }

    /// Whether no thread of the window is left.
    pub(super) fn is_empty(&self) -> bool {
        let (name, thread) = self.with(|known| (known.name.clone(), known.thread));
        match (name, thread) {
            (Some(name), _) => !any_thread_is_called(&name),
            (None, Some(thread)) => !Path::new(&format!("/proc/self/task/{thread}")).exists(),
            (None, None) => true,
        }
    }

    /// Closes the window as its user would, over a separate connection. Returns whether the server accepted the
    /// request.
    pub(super) fn ask_to_close(&self) -> bool {
        self.with(|known| known.window)
            .is_some_and(|window| request(window).is_ok())
    }
}

fn any_thread_is_called(name: &str) -> bool {
    let threads = std::fs::read_dir("/proc/self/task").into_iter().flatten();
    threads.filter_map(Result::ok).any(|thread| {
        // A thread that has ended meanwhile has no such file.
        std::fs::read_to_string(thread.path().join("comm")).is_ok_and(|comm| comm.trim_end() == name)
    })
}

fn request(window: u32) -> Result<(), Box<dyn std::error::Error>> {
    let (connection, _) = RustConnection::connect(None)?;
    let [protocols, delete] =
        ["WM_PROTOCOLS", "WM_DELETE_WINDOW"].map(|name| connection.intern_atom(false, name.as_bytes()));
    let (protocols, delete) = (protocols?.reply()?.atom, delete?.reply()?.atom);
    let message = ClientMessageEvent::new(32, window, protocols, [delete, 0, 0, 0, 0]);
    // With an empty event mask it goes to the client that created the window.
    connection
        .send_event(false, window, EventMask::NO_EVENT, message)?
        .check()?;
    connection.flush()?;
    Ok(())
}
