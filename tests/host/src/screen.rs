//! The display's pointer and keyboard, for a window of another process.

use super::error::HostError;
use super::hands::{Key, fake, keycode};
use std::time::Duration;
use x11rb::connection::Connection;
use x11rb::protocol::xproto::{
    BUTTON_PRESS_EVENT, BUTTON_RELEASE_EVENT, KEY_PRESS_EVENT, KEY_RELEASE_EVENT, MOTION_NOTIFY_EVENT,
};
use x11rb::rust_connection::RustConnection;

/// Pause between two movements: a few frames of a window drawn in software.
const PACE: Duration = Duration::from_millis(60);

/// A display.
pub struct Screen {
    connection: RustConnection,
    root: u32,
}

impl Screen {
    /// Opens the display that `DISPLAY` names.
    ///
    /// # Errors
    /// [`HostError::Window`] without one.
    pub fn open() -> Result<Self, HostError> {
        let wrong = |error: &dyn std::fmt::Display| HostError::Window(error.to_string());
        let (connection, number) = RustConnection::connect(None).map_err(|e| wrong(&e))?;
        let root = connection
            .setup()
            .roots
            .get(number)
            .map(|screen| screen.root)
            .ok_or_else(|| wrong(&"the display has no screen"))?;
        Ok(Self { connection, root })
    }

    /// Clicks at a position, pixels from the screen's top left.
    ///
    /// # Errors
    /// [`HostError::Window`] when the display refuses.
    pub fn click(&self, at: (f32, f32)) -> Result<(), HostError> {
        for event in [
            (MOTION_NOTIFY_EVENT, 0),
            (BUTTON_PRESS_EVENT, 1),
            (BUTTON_RELEASE_EVENT, 1),
        ] {
            fake(&self.connection, self.root, event, at)?;
            std::thread::sleep(PACE);
        }
        Ok(())
    }

    /// Presses and releases a key.
    ///
    /// # Errors
    /// As [`Self::click`], and when the keyboard has no such key.
    pub fn key(&self, key: Key) -> Result<(), HostError> {
        let code = keycode(&self.connection, key)?;
        for kind in [KEY_PRESS_EVENT, KEY_RELEASE_EVENT] {
            fake(&self.connection, self.root, (kind, code), (0.0, 0.0))?;
            std::thread::sleep(PACE);
        }
        Ok(())
    }
}
