//! Connects the shell with the plugin that the framework creates inside its own wrapper.

use std::cell::Cell;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use nice_plug::prelude::Params;
use nice_plug_egui::RepaintNotifier;

use super::gate::Marker;

/// What the shell and the plugin's editor share.
#[derive(Debug, Default)]
pub struct Link {
    /// The host processes: values set in the window then reach the plugin with a block.
    pub processing: AtomicBool,
}

/// What the shell holds of a plugin.
pub struct Born {
    /// Its parameters, in the framework's form.
    pub params: Arc<dyn Params>,
    /// Asks its window for a frame.
    pub repaint: RepaintNotifier,
    /// Shared with its editor.
    pub link: Arc<Link>,
    /// Posts a marker to the queue of the framework's thread.
    pub post: Box<dyn Fn(Marker) + Send + Sync>,
}

thread_local! {
    /// Whether a caller on this thread waits for a plugin to be created.
    static AWAITED: Cell<bool> = const { Cell::new(false) };
    /// The plugin that was created. A bare pointer: a thread-local value with a destructor would keep the library
    /// loaded.
    static MADE: Cell<*mut Born> = const { Cell::new(std::ptr::null_mut()) };
}

/// Called by a new plugin on the thread that creates it. Has no effect where no shell waits for it.
pub fn announce(born: impl FnOnce() -> Born) {
    if AWAITED.get() {
        drop(take(Some(born())));
    }
}

fn take(next: Option<Born>) -> Option<Born> {
    let next = next.map_or(std::ptr::null_mut(), |born| Box::into_raw(Box::new(born)));
    let last = MADE.replace(next);
    // SAFETY: a pointer that isn't null came from a box, two lines above, and was removed from its place by this call.
    (!last.is_null()).then(|| *unsafe { Box::from_raw(last) })
}

/// Calls `make`; returns its result and the plugin that was announced meanwhile.
pub(super) fn made_by<T>(make: impl FnOnce() -> T) -> (T, Option<Born>) {
    AWAITED.set(true);
    let made = make();
    AWAITED.set(false);
    (made, take(None))
}
