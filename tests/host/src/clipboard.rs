//! The display's clipboard, read as another program reads it ("Inter-Client Communication Conventions Manual", chapter
//! 2).

use crate::error::HostError;
use std::time::Duration;
use x11rb::connection::Connection;
use x11rb::protocol::Event;
use x11rb::protocol::xproto::{ConnectionExt as _, CreateWindowAux, WindowClass};
use x11rb::rust_connection::RustConnection;
use x11rb::wrapper::ConnectionExt as _;

/// Longest text that is read, in words of four bytes: it must fit one property of the display server.
const LONGEST_WORDS: u32 = 1 << 16;

/// The text on the clipboard, or `None` when there is none.
///
/// # Errors
/// [`HostError::Window`] without a display.
pub fn text_on_the_clipboard() -> Result<Option<String>, HostError> {
    read().map_err(|error| HostError::Window(error.to_string()))
}

fn read() -> Result<Option<String>, Box<dyn std::error::Error>> {
    let (connection, number) = RustConnection::connect(None)?;
    let screen = &connection.setup().roots[number];
    let window = connection.generate_id()?;
    connection.create_window(
        x11rb::COPY_DEPTH_FROM_PARENT,
        window,
        screen.root,
        0,
        0,
        1,
        1,
        0,
        WindowClass::INPUT_OUTPUT,
        0,
        &CreateWindowAux::new(),
    )?;
    let atom = |name: &str| -> Result<u32, Box<dyn std::error::Error>> {
        Ok(connection.intern_atom(false, name.as_bytes())?.reply()?.atom)
    };
    let property = atom("SUMPROOF_TEST")?;
    connection.convert_selection(
        window,
        atom("CLIPBOARD")?,
        atom("UTF8_STRING")?,
        property,
        x11rb::CURRENT_TIME,
    )?;
    connection.sync()?;
    // Its owner answers asynchronously.
    for _ in 0..200 {
        while let Some(event) = connection.poll_for_event()? {
            let Event::SelectionNotify(told) = event else {
                continue;
            };
            if told.property == x11rb::NONE {
                return Ok(None);
            }
            let kept = connection
                .get_property(true, window, property, u8::from(false), 0, LONGEST_WORDS)?
                .reply()?;
            return Ok(String::from_utf8(kept.value).ok());
        }
        std::thread::sleep(Duration::from_millis(25));
    }
    Ok(None)
}
