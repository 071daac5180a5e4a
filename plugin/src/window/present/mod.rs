//! What the windowing library leaves to us before a window is shown, system by system.
//!
//! In: a window that was made. Out: nothing. The editor calls it, and needn't know which system it is on.

#[cfg(target_os = "linux")]
mod x11;

use nice_plug_egui::baseview::WindowContext;

/// To be called on the window's own thread, before its loop begins.
pub fn prepare(window: &WindowContext) {
    #[cfg(target_os = "linux")]
    x11::listen(window);
    // macOS and Windows pace windows by a timer.
    #[cfg(not(target_os = "linux"))]
    let _ = window;
}
