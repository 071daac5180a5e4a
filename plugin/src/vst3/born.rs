//! How the shell gets to know the plugin that the framework makes inside its own wrapper.

use std::cell::Cell;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use nice_plug::prelude::Params;
use nice_plug_egui::RepaintNotifier;

use super::gate::Marker;

/// What the shell and the plugin's editor share.
#[derive(Debug, Default)]
pub struct Link {
    /// The host processes: what the window sets comes back to the plugin with a block.
    pub processing: AtomicBool,
}

/// What the shell knows of a plugin.
pub struct Born {
    /// Its parameters, as the framework has them.
    pub params: Arc<dyn Params>,
    /// Asks its window for a frame.
    pub repaint: RepaintNotifier,
    /// What it shares with its editor.
    pub link: Arc<Link>,
    /// Puts something into the queue of the framework's thread.
    pub post: Box<dyn Fn(Marker) + Send + Sync>,
}

thread_local! {
    /// Somebody waits on this thread for a plugin to be made.
    static AWAITED: Cell<bool> = const { Cell::new(false) };
    /// The one that was made. A bare pointer: a thread's value with a destructor would keep the library loaded.
    static MADE: Cell<*mut Born> = const { Cell::new(std::ptr::null_mut()) };
}

/// A plugin says that it is there, on the thread that makes it. Nothing happens where no shell is about to hold it.
pub fn announce(born: impl FnOnce() -> Born) {
    if AWAITED.get() {
        drop(take(Some(born())));
    }
}

fn take(next: Option<Born>) -> Option<Born> {
    let next = next.map_or(std::ptr::null_mut(), |born| Box::into_raw(Box::new(born)));
    let last = MADE.replace(next);
    // SAFETY: a pointer that isn't null came from a box, two lines above, and was taken out of its place with this.
    (!last.is_null()).then(|| *unsafe { Box::from_raw(last) })
}

/// What `make` makes, and the plugin that was announced meanwhile.
pub(super) fn made_by<T>(make: impl FnOnce() -> T) -> (T, Option<Born>) {
    AWAITED.set(true);
    let made = make();
    AWAITED.set(false);
    (made, take(None))
}
