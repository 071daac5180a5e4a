//! A pointer and a keyboard as the display server knows them, moved by its own test extension (XTEST): to the plugin
//! they are indistinguishable from a user's.

use crate::editor::Editor;
use crate::error::HostError;
use crate::plugin::Plugin;
use std::time::Duration;
use x11rb::connection::Connection;
use x11rb::protocol::xproto::{
    BUTTON_PRESS_EVENT, BUTTON_RELEASE_EVENT, ConnectionExt as _, KEY_PRESS_EVENT, KEY_RELEASE_EVENT,
    MOTION_NOTIFY_EVENT,
};
use x11rb::protocol::xtest::ConnectionExt as _;
use x11rb::rust_connection::RustConnection;

/// Pause between two movements: a few frames of a window drawn in software.
const PACE: Duration = Duration::from_millis(60);

/// Keys, by their X11 names (`keysymdef.h` of the X11 protocol) if they are not characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// `XK_Return`.
    Return,
    /// `XK_Escape`.
    Escape,
    /// `XK_Control_L`.
    Control,
    /// A character on the unshifted level of the keyboard: its keysym is its Latin-1 code.
    Character(char),
}

impl Key {
    fn keysym(self) -> u32 {
        match self {
            Self::Return => 0xff0d,
            Self::Escape => 0xff1b,
            Self::Control => 0xffe3,
            Self::Character(character) => character.into(),
        }
    }
}

impl Editor {
    /// Moves the pointer to a position in the window, pixels from its top left.
    ///
    /// # Errors
    /// [`HostError::Window`] when the display refuses.
    pub fn point(&mut self, plugin: &mut Plugin, (x, y): (f32, f32)) -> Result<(), HostError> {
        self.fake(MOTION_NOTIFY_EVENT, 0, (x, y))?;
        self.pump(plugin, PACE)
    }

    /// Presses (`true`) or releases the first button at the pointer's position.
    ///
    /// # Errors
    /// As [`Self::point`].
    pub fn button(&mut self, plugin: &mut Plugin, down: bool) -> Result<(), HostError> {
        let kind = if down {
            BUTTON_PRESS_EVENT
        } else {
            BUTTON_RELEASE_EVENT
        };
        self.fake(kind, 1, (0.0, 0.0))?;
        self.pump(plugin, PACE)
    }

    /// Clicks at a position.
    ///
    /// # Errors
    /// As [`Self::point`].
    pub fn click(&mut self, plugin: &mut Plugin, at: (f32, f32)) -> Result<(), HostError> {
        self.point(plugin, at)?;
        self.button(plugin, true)?;
        self.button(plugin, false)
    }

    /// Drags from one position to another in ten movements.
    ///
    /// # Errors
    /// As [`Self::point`].
    pub fn drag(&mut self, plugin: &mut Plugin, from: (f32, f32), to: (f32, f32)) -> Result<(), HostError> {
        self.point(plugin, from)?;
        self.button(plugin, true)?;
        for step in 1..=10u8 {
            let share = f32::from(step) / 10.0;
            let at = (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1));
            self.point(plugin, at)?;
        }
        self.button(plugin, false)
    }

    /// Presses and releases a key, with another one held down if `with` names one.
    ///
    /// # Errors
    /// As [`Self::point`]; [`HostError::Window`] too when the keyboard has no such key.
    pub fn key(&mut self, plugin: &mut Plugin, key: Key, with: Option<Key>) -> Result<(), HostError> {
        let code = self.keycode(key)?;
        let held = with.map(|held| self.keycode(held)).transpose()?;
        for code in held.iter().chain([&code]) {
            self.fake(KEY_PRESS_EVENT, *code, (0.0, 0.0))?;
        }
        for code in [&code].into_iter().chain(held.iter()) {
            self.fake(KEY_RELEASE_EVENT, *code, (0.0, 0.0))?;
        }
        self.pump(plugin, PACE)
    }

    /// Types characters, one after the other.
    ///
    /// # Errors
    /// As [`Self::key`].
    pub fn type_text(&mut self, plugin: &mut Plugin, text: &str) -> Result<(), HostError> {
        text.chars()
            .try_for_each(|character| self.key(plugin, Key::Character(character), None))
    }

    fn keycode(&self, key: Key) -> Result<u8, HostError> {
        keycode(&self.connection, key)
    }

    /// The window is at the screen's corner, because there is no window manager.
    fn fake(&self, kind: u8, detail: u8, at: (f32, f32)) -> Result<(), HostError> {
        fake(&self.connection, self.root(), (kind, detail), at)
    }
}

/// The number of a key on the display's keyboard.
pub(super) fn keycode(connection: &RustConnection, key: Key) -> Result<u8, HostError> {
    let setup = connection.setup();
    let (first, last) = (setup.min_keycode, setup.max_keycode);
    let mapping = connection
        .get_keyboard_mapping(first, last - first + 1)
        .map_err(window_error)?
        .reply()
        .map_err(window_error)?;
    let levels = usize::from(mapping.keysyms_per_keycode.max(1));
    (first..=last)
        .zip(mapping.keysyms.chunks(levels))
        .find(|(_, levels)| levels.first() == Some(&key.keysym()))
        .map(|(code, _)| code)
        .ok_or_else(|| HostError::Window(format!("the keyboard has no {key:?}")))
}

/// Sends an event of a kind, with its key or button, at a position on the screen.
pub(super) fn fake(
    connection: &RustConnection,
    root: u32,
    (kind, detail): (u8, u8),
    (x, y): (f32, f32),
) -> Result<(), HostError> {
    connection
        .xtest_fake_input(kind, detail, 0, root, x as i16, y as i16, 0)
        .map_err(window_error)?;
    connection.flush().map_err(window_error)
}

fn window_error(error: impl std::fmt::Display) -> HostError {
    HostError::Window(error.to_string())
}
