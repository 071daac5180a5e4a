//! The answer to a window's first request for a frame, on X11.
//!
//! The windowing library (baseview 0.4.2) paces its drawing by X Present: it asks the server to be told of the next frame
//! (`PresentNotifyMSC`), draws when it is told, and asks for no other before that. It begins to listen
//! (`PresentSelectInput`) when its window is mapped, but asks as soon as something is to be drawn. If a host takes longer
//! over showing a window than we take to want a frame, the answer comes while nobody listens, and the window would stay
//! blank for ever. So we listen on its behalf, on its connection, before anything can be asked. Both listen later: it heeds
//! only the first of two equal answers.
//!
//! Source: X.Org, "The Present Extension" (`presentproto.txt`): `PresentSelectInput`, `PresentNotifyMSC`.

use nice_plug_egui::baseview::WindowContext;
use raw_window_handle::{HasDisplayHandle, HasWindowHandle, RawDisplayHandle, RawWindowHandle};
use x11rb::connection::{Connection, RequestConnection};
use x11rb::errors::ReplyOrIdError;
use x11rb::protocol::present::{ConnectionExt as _, EventMask, X11_EXTENSION_NAME};
use x11rb::xcb_ffi::XCBConnection;

/// Listens for the frames of a window that was made and is not shown yet. Where there is no such extension nothing has to
/// be listened for: frames then come from a timer. To be called on the window's own thread, before its loop begins.
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
    // SAFETY: the connection is libxcb's and open: the handle holds it, and outlives this borrow, which doesn't close it.
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
    // The server forgets it with the window.
    let listener = connection.generate_id()?;
    connection
        .present_select_input(listener, window, EventMask::COMPLETE_NOTIFY)?
        .check()?;
    Ok(())
}
