//! The plugin's window under a real pointer and a real keyboard, for the tests that need one.

use egui_kittest::kittest::Queryable;
use std::path::Path;
use std::time::Duration;
use sumproof_tests::host::editor::Editor;
use sumproof_tests::host::{Plugin, Realtime};
use sumproof_tests::render::Stage;

/// Waits until letters are drawn: the first frame takes long in software.
pub fn wait_for_letters(editor: &mut Editor, plugin: &mut Plugin, what: &str) {
    let mut colours = 0;
    editor.raise().unwrap();
    for _ in 0..100 {
        editor.pump(plugin, Duration::from_millis(100)).unwrap();
        colours = editor.capture().unwrap().colours();
        // Antialiased letters alone have dozens of shades.
        if colours > 16 {
            return;
        }
    }
    panic!("{what}: the window shows {colours} colours");
}

/// The window under a real pointer and a real keyboard.
pub struct Desk {
    pub plugin: Plugin,
    pub editor: Editor,
    pub running: Realtime,
    /// The same views without a host, which provide the positions of the widgets.
    pub stage: Stage,
}

impl Desk {
    /// The position of a widget, by the beginning of its accessible name.
    pub fn place(&self, name: &str) -> (f32, f32) {
        let node = self
            .stage
            .harness
            .get_by(|node| node.label().is_some_and(|label| label.starts_with(name)));
        let at = node.rect().center();
        (at.x, at.y)
    }

    pub fn click(&mut self, name: &str) {
        let at = self.place(name);
        self.editor.click(&mut self.plugin, at).unwrap();
    }

    pub fn text(&mut self, key: &str) -> String {
        self.plugin.param(key).unwrap().text
    }

    /// Waits for a condition. Not a timed assertion: a busy machine may take long, up to a limit.
    pub fn until(&mut self, what: &str, holds: impl FnMut(&mut Self) -> bool) {
        if !self.waits(holds) {
            self.picture("failed");
            panic!("{what} did not come true; see window-failed.png");
        }
    }

    /// The same, but returns whether it came true.
    pub fn waits(&mut self, mut holds: impl FnMut(&mut Self) -> bool) -> bool {
        (0..200).any(|_| {
            let done = holds(self);
            if !done {
                self.rest(50);
            }
            done
        })
    }

    pub fn rest(&mut self, milliseconds: u64) {
        self.editor
            .pump(&mut self.plugin, Duration::from_millis(milliseconds))
            .unwrap();
    }

    /// Stores a screenshot for inspection: `target/tmp/window-NAME.png`.
    pub fn picture(&self, name: &str) {
        let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("window-{name}.png"));
        self.editor.capture().unwrap().write_png(&path).unwrap();
    }

    /// Closes the window and stops playing.
    pub fn put_away(mut self) {
        self.editor.close(&mut self.plugin).unwrap();
        self.plugin.stop_realtime(self.running).unwrap();
    }
}
