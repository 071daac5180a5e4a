//! The window as a whole.

use crate::{Intent, Look, Snapshot};

/// Size of a window never resized, logical points.
pub const DEFAULT_SIZE: (f32, f32) = (1120.0, 760.0);
/// Smallest size the views are laid out for, logical points.
pub const MIN_SIZE: (f32, f32) = (640.0, 420.0);

/// The window's own memory: nothing of the sound.
#[derive(Debug, Default)]
pub struct Window {
    look: Look,
}

impl Window {
    /// A window with that look.
    #[must_use]
    pub fn new(look: Look) -> Self {
        Self { look: look.clamped() }
    }

    /// The look it has now.
    #[must_use]
    pub fn look(&self) -> Look {
        self.look
    }

    /// Whether a text is being typed: only then may the window keep the space bar from the host.
    #[must_use]
    pub fn is_typing(&self) -> bool {
        false
    }

    /// Fonts, colours and scale. Call once for every new [`egui::Context`], before the first frame.
    pub fn prepare(&mut self, ctx: &egui::Context) {
        ctx.set_zoom_factor(self.look.zoom);
    }

    /// Draws everything into `ui` (the whole window) and adds what the player wants to `intents`.
    pub fn ui(&mut self, ui: &mut egui::Ui, snapshot: &Snapshot, intents: &mut Vec<Intent>) {
        let _ = intents;
        ui.label(format!("{:?}", snapshot.hearing));
    }
}
