//! What the windowing library leaves for us to do before a window is shown, system by system.
//!
//! In: a newly created window. Out: nothing. The editor calls it and need not know the system.

#[cfg(target_os = "linux")]
mod x11;

use nice_plug_egui::baseview::WindowContext;

/// Call it on the window's own thread, before its loop begins.
pub fn prepare(window: &WindowContext) {
    #[cfg(target_os = "linux")]
    x11::listen(window);
    // macOS and Windows pace windows by a timer.
    #[cfg(not(target_os = "linux"))]
    let _ = window;
}
