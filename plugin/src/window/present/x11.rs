//! Makes sure that a window's first request for a frame is answered, on X11.
//!
//! The windowing library (baseview 0.4.2) paces its drawing by X Present: it asks the server to report the next frame
//! (`PresentNotifyMSC`), draws when the report arrives, and sends no other request before that. It starts to listen
//! (`PresentSelectInput`) when its window is mapped, but sends its request as soon as something is to be drawn. If a
//! host shows the window later than we first want a frame, the report arrives before anyone listens, and the window
//! would stay blank for ever. So we listen on the library's behalf, on its connection, before the first request. Later
//! both listen, and the library ignores the second of two equal reports.
//!
//! Source: X.Org, "The Present Extension" (`presentproto.txt`): `PresentSelectInput`, `PresentNotifyMSC`.

use nice_plug_egui::baseview::WindowContext;
use raw_window_handle::{HasDisplayHandle, HasWindowHandle, RawDisplayHandle, RawWindowHandle};
use x11rb::connection::{Connection, RequestConnection};
use x11rb::errors::ReplyOrIdError;
use x11rb::protocol::present::{ConnectionExt as _, EventMask, X11_EXTENSION_NAME};
use x11rb::xcb_ffi::XCBConnection;

/// Listens for the frames of a window that was created and is not shown yet. Without the extension there is nothing to
/// listen for: frames then come from a timer. Call it on the window's own thread, before its loop begins.
pub fn listen(window: &WindowContext) {
    let handle = window.platform_handle();
    let (Ok(display), Ok(window)) = (handle.display_handle(), handle.window_handle()) else {
        return;
    };
    let (RawDisplayHandle::Xcb(display), RawWindowHandle::Xcb(window)) = (display.as_raw(), window.as_raw())
    else {
        return;
    };
    let Some(connection) = display.connection else {
        return;
    };
    // SAFETY: the connection is libxcb's and open: the handle holds it and outlives this borrow, which doesn't close
    // it.
    let Ok(connection) = (unsafe { XCBConnection::from_raw_xcb_connection(connection.as_ptr(), false) })
    else {
        return;
    };
    if let Err(error) = select(&connection, window.window.get()) {
        nice_plug::nice_warn!("the window may stay blank in a slow host: {error}");
    }
}

fn select(connection: &XCBConnection, window: u32) -> Result<(), ReplyOrIdError> {
    if connection.extension_information(X11_EXTENSION_NAME)?.is_none() {
        return Ok(());
    }
    // The server removes it with the window.
    let listener = connection.generate_id()?;
    connection
        .present_select_input(listener, window, EventMask::COMPLETE_NOTIFY)?
        .check()?;
    Ok(())
}
