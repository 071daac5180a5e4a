//! The plugin's own editor, embedded in a window of ours (X11).

use crate::error::HostError;
use crate::plugin::Plugin;
use clack_extensions::gui::{GuiApiType, GuiConfiguration, GuiSize, PluginGui, Window};
use std::time::{Duration, Instant};
use x11rb::connection::Connection;
use x11rb::protocol::Event;
use x11rb::protocol::xproto::{
    AtomEnum, ConfigureWindowAux, ConnectionExt as _, CreateWindowAux, EventMask, ImageFormat, MapState,
    PropMode, StackMode, WindowClass,
};
use x11rb::rust_connection::RustConnection;
use x11rb::wrapper::ConnectionExt as _;

/// How long [`Editor::pump`] sleeps between two polls of the events.
const PUMP_INTERVAL: Duration = Duration::from_millis(4);

/// A screenshot of a window.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// Red, green, blue, row by row from the top left.
    pub rgb: Vec<u8>,
}

impl Picture {
    /// The number of distinct colours.
    #[must_use]
    pub fn colours(&self) -> usize {
        self.rgb
            .chunks_exact(3)
            .collect::<std::collections::HashSet<_>>()
            .len()
    }

    /// Writes it as a PNG.
    ///
    /// # Errors
    /// A failure of the file system or the encoder, in one line.
    pub fn write_png(&self, path: &std::path::Path) -> Result<(), String> {
        crate::picture::write(self.width, self.height, &self.rgb, path)
    }
}

/// A host's delays while it opens an editor. By default there are none, and its own window is shown first.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tempo {
    /// Delay between creating the editor and giving it a parent.
    pub before_parent: Duration,
    /// Delay between giving it a parent and showing it.
    pub before_show: Duration,
    /// Delay after that until the host's own window is shown; `None` shows it before everything else.
    pub own_window_late: Option<Duration>,
}

/// An open editor. Close it with [`Editor::close`] before the plugin is dropped.
pub struct Editor {
    pub(super) connection: RustConnection,
    root: u32,
    window: u32,
    delete_message: u32,
    size: GuiSize,
    wanted_open: bool,
}

const X11_EMBEDDED: GuiConfiguration<'static> = GuiConfiguration {
    api_type: GuiApiType::X11,
    is_floating: false,
};

impl Editor {
    /// Opens a window of the size that the plugin asks for and embeds its editor.
    ///
    /// # Errors
    /// [`HostError::Window`] without a display, [`HostError::MissingExtension`] or [`HostError::Refused`] when the
    /// plugin has no editor or does not open it.
    pub fn open(plugin: &mut Plugin, title: &str) -> Result<Self, HostError> {
        Self::open_slowly(plugin, title, Tempo::default())
    }

    /// The same with the delays of a busy host.
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn open_slowly(plugin: &mut Plugin, title: &str, tempo: Tempo) -> Result<Self, HostError> {
        if std::env::var_os("DISPLAY").is_none() {
            return Err(HostError::Window(
                "DISPLAY is not set, and the editor needs X11".to_owned(),
            ));
        }
        let handle = plugin.instance.plugin_handle();
        let gui: PluginGui = handle
            .get_extension()
            .ok_or(HostError::MissingExtension("clap.gui"))?;
        if !gui.is_api_supported(&handle, X11_EMBEDDED) {
            return Err(HostError::refused(
                "open its editor",
                "it cannot be embedded under X11",
            ));
        }
        gui.create(&handle, X11_EMBEDDED)
            .map_err(|e| HostError::refused("open its editor", e))?;
        let opened = Self::open_created(&gui, &handle, title, tempo);
        if opened.is_err() {
            gui.destroy(&handle);
        }
        opened
    }

    /// The rest of [`Self::open`], after which a failure has to destroy the editor.
    fn open_created(
        gui: &PluginGui,
        handle: &clack_host::prelude::PluginMainThreadHandle,
        title: &str,
        tempo: Tempo,
    ) -> Result<Self, HostError> {
        let size = gui
            .get_size(handle)
            .ok_or_else(|| HostError::refused("open its editor", "it has no size"))?;
        let (connection, window, delete_message, root) = parent_window(title, size).map_err(window_error)?;
        if tempo.own_window_late.is_none() {
            map(&connection, window)?;
        }
        std::thread::sleep(tempo.before_parent);
        // SAFETY: the window lives until `close`, which destroys the editor first.
        unsafe { gui.set_parent(handle, Window::from_x11_handle(window.into())) }
            .map_err(|e| HostError::refused("open its editor", e))?;
        std::thread::sleep(tempo.before_show);
        gui.show(handle)
            .map_err(|e| HostError::refused("show its editor", e))?;
        if let Some(late) = tempo.own_window_late {
            std::thread::sleep(late);
            map(&connection, window)?;
        }
        Ok(Self {
            connection,
            root,
            window,
            delete_message,
            size,
            wanted_open: true,
        })
    }

    /// The editor's size in pixels.
    #[must_use]
    pub fn size(&self) -> (u32, u32) {
        (self.size.width, self.size.height)
    }

    /// The screen that the window is on.
    pub(super) fn root(&self) -> u32 {
        self.root
    }

    /// Whether the window is still open.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.wanted_open
    }

    /// Handles events of the window and calls of the plugin's main thread for a while. Ends early when the user closes
    /// the window.
    ///
    /// # Errors
    /// [`HostError::Window`] when the display goes away.
    pub fn pump(&mut self, plugin: &mut Plugin, time: Duration) -> Result<(), HostError> {
        let until = Instant::now() + time;
        while self.wanted_open && Instant::now() < until {
            self.pump_once(plugin)?;
            std::thread::sleep(PUMP_INTERVAL);
        }
        Ok(())
    }

    fn pump_once(&mut self, plugin: &mut Plugin) -> Result<(), HostError> {
        plugin.answer();
        if let Some(size) = plugin.requests.take_size() {
            self.resize(plugin, size.width, size.height)?;
        }
        while let Some(event) = self.connection.poll_for_event().map_err(window_error)? {
            match event {
                Event::ClientMessage(message) if message.data.as_data32()[0] == self.delete_message => {
                    self.wanted_open = false;
                }
                Event::ConfigureNotify(now) if now.window == self.window => {
                    let size = GuiSize {
                        width: now.width.into(),
                        height: now.height.into(),
                    };
                    if size != self.size {
                        self.tell_size(plugin, size);
                    }
                }
                _ => {}
            }
        }
        Ok(())
    }

    /// Resizes the window and the editor to the size that the plugin makes of the requested one.
    ///
    /// # Errors
    /// [`HostError::Window`] when the display goes away.
    pub fn resize(&mut self, plugin: &mut Plugin, width: u32, height: u32) -> Result<(), HostError> {
        let handle = plugin.instance.plugin_handle();
        let wish = GuiSize { width, height };
        let size = handle
            .get_extension::<PluginGui>()
            .and_then(|gui| gui.adjust_size(&handle, wish))
            .unwrap_or(wish);
        self.tell_size(plugin, size);
        let change = ConfigureWindowAux::new().width(size.width).height(size.height);
        self.connection
            .configure_window(self.window, &change)
            .map_err(window_error)?;
        self.connection.flush().map_err(window_error)
    }

    fn tell_size(&mut self, plugin: &mut Plugin, size: GuiSize) {
        let handle = plugin.instance.plugin_handle();
        let taken = handle
            .get_extension::<PluginGui>()
            .is_some_and(|gui| gui.can_resize(&handle) && gui.set_size(&handle, size).is_ok());
        if taken {
            self.size = size;
        }
    }

    /// Takes a screenshot of the editor.
    ///
    /// # Errors
    /// [`HostError::Window`] when the display refuses it.
    pub fn capture(&self) -> Result<Picture, HostError> {
        // The editor draws in a child of our window, which may have another depth: a picture of the parent would be
        // undefined there. Until the child is shown there is only our own empty window.
        let tree = self.connection.query_tree(self.window).map_err(window_error)?;
        let mut target = self.window;
        for child in tree.reply().map_err(window_error)?.children {
            let state = self
                .connection
                .get_window_attributes(child)
                .map_err(window_error)?;
            if state.reply().map_err(window_error)?.map_state == MapState::VIEWABLE {
                target = child;
            }
        }
        picture_of(&self.connection, target)
    }

    /// Brings the window to the front: covered parts can't be captured.
    ///
    /// # Errors
    /// [`HostError::Window`] when the display goes away.
    pub fn raise(&self) -> Result<(), HostError> {
        let before = ConfigureWindowAux::new().stack_mode(StackMode::ABOVE);
        self.connection
            .configure_window(self.window, &before)
            .map_err(window_error)?;
        self.connection.flush().map_err(window_error)
    }

    /// Hides or shows the editor.
    ///
    /// # Errors
    /// [`HostError::Refused`] when the plugin refuses.
    pub fn show(&mut self, plugin: &mut Plugin, shown: bool) -> Result<(), HostError> {
        let handle = plugin.instance.plugin_handle();
        let gui: PluginGui = handle
            .get_extension()
            .ok_or(HostError::MissingExtension("clap.gui"))?;
        let done = if shown {
            gui.show(&handle)
        } else {
            gui.hide(&handle)
        };
        done.map_err(|e| HostError::refused("show or hide its editor", e))
    }

    /// Covers the whole screen with another client's window.
    ///
    /// # Errors
    /// [`HostError::Window`] without a display.
    pub fn cover(&self) -> Result<Cover, HostError> {
        let (connection, window, ..) = parent_window("over everything", self.size).map_err(window_error)?;
        map(&connection, window)?;
        Ok(Cover {
            _connection: connection,
        })
    }

    /// Closes the editor and its window.
    ///
    /// # Errors
    /// [`HostError::Window`] when the display is already gone.
    pub fn close(self, plugin: &mut Plugin) -> Result<(), HostError> {
        let handle = plugin.instance.plugin_handle();
        if let Some(gui) = handle.get_extension::<PluginGui>() {
            gui.destroy(&handle);
        }
        plugin.answer();
        self.connection
            .destroy_window(self.window)
            .map_err(window_error)?;
        self.connection.sync().map_err(window_error)
    }
}

/// A window that covers the others until it is dropped.
pub struct Cover {
    /// Dropping the connection removes the client's windows.
    _connection: RustConnection,
}

/// Screenshots of all top-level windows on the screen.
///
/// # Errors
/// [`HostError::Window`] without a display.
pub fn pictures_on_the_screen() -> Result<Vec<Picture>, HostError> {
    let (connection, screen) = RustConnection::connect(None).map_err(window_error)?;
    let root = connection
        .setup()
        .roots
        .get(screen)
        .map(|screen| screen.root)
        .ok_or_else(|| HostError::Window("the display has no screen".to_owned()))?;
    let tree = connection.query_tree(root).map_err(window_error)?;
    let windows = tree.reply().map_err(window_error)?.children;
    // A window may disappear between two requests.
    Ok(windows
        .into_iter()
        .filter(|&window| {
            connection
                .get_window_attributes(window)
                .ok()
                .and_then(|attributes| attributes.reply().ok())
                .is_some_and(|attributes| attributes.map_state == MapState::VIEWABLE)
        })
        .filter_map(|window| picture_of(&connection, window).ok())
        .collect())
}

/// A screenshot of one window.
fn picture_of(connection: &RustConnection, window: u32) -> Result<Picture, HostError> {
    let geometry = connection.get_geometry(window).map_err(window_error)?;
    let geometry = geometry.reply().map_err(window_error)?;
    let image = connection
        .get_image(
            ImageFormat::Z_PIXMAP,
            window,
            0,
            0,
            geometry.width,
            geometry.height,
            u32::MAX,
        )
        .map_err(window_error)?
        .reply()
        .map_err(window_error)?;
    // Depths 24 and 32 are both sent as four bytes a pixel, blue first, on a little-endian server.
    let rgb = image
        .data
        .chunks_exact(4)
        .flat_map(|pixel| [pixel[2], pixel[1], pixel[0]])
        .collect();
    Ok(Picture {
        width: geometry.width.into(),
        height: geometry.height.into(),
        rgb,
    })
}

/// Shows a window.
pub(super) fn map(connection: &RustConnection, window: u32) -> Result<(), HostError> {
    connection.map_window(window).map_err(window_error)?;
    connection.sync().map_err(window_error)
}

/// Makes an empty window. Returns the connection, the window, the atom of a close request and the
/// screen's root.
pub(super) fn parent_window(
    title: &str,
    size: GuiSize,
) -> Result<(RustConnection, u32, u32, u32), Box<dyn std::error::Error>> {
    let (connection, screen_number) = RustConnection::connect(None)?;
    let screen = connection
        .setup()
        .roots
        .get(screen_number)
        .cloned()
        .ok_or("the display has no screen")?;
    let window = connection.generate_id()?;
    let settings = CreateWindowAux::new()
        .background_pixel(screen.black_pixel)
        .event_mask(EventMask::STRUCTURE_NOTIFY);
    connection.create_window(
        x11rb::COPY_DEPTH_FROM_PARENT,
        window,
        screen.root,
        0,
        0,
        u16::try_from(size.width)?,
        u16::try_from(size.height)?,
        0,
        WindowClass::INPUT_OUTPUT,
        screen.root_visual,
        &settings,
    )?;
    let protocols = connection.intern_atom(false, b"WM_PROTOCOLS")?.reply()?.atom;
    let delete_message = connection.intern_atom(false, b"WM_DELETE_WINDOW")?.reply()?.atom;
    connection.change_property32(
        PropMode::REPLACE,
        window,
        protocols,
        AtomEnum::ATOM,
        &[delete_message],
    )?;
    connection.change_property8(
        PropMode::REPLACE,
        window,
        AtomEnum::WM_NAME,
        AtomEnum::STRING,
        title.as_bytes(),
    )?;
    connection.sync()?;
    let root = screen.root;
    Ok((connection, window, delete_message, root))
}

pub(super) fn window_error(error: impl std::fmt::Display) -> HostError {
    HostError::Window(error.to_string())
}
