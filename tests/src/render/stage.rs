//! The window without a host: it is shown a snapshot, and its intents are collected.

use egui_kittest::Harness;
use image::RgbaImage;
use sumproof_views::{Intent, Look, Snapshot, Window};

use super::raster::CpuRenderer;

/// The window, its snapshot, and its intents.
pub struct Actor {
    /// The window.
    pub window: Window,
    /// The snapshot it is shown.
    pub snapshot: Snapshot,
    /// Its intents so far.
    pub intents: Vec<Intent>,
}

/// A window that can be captured, clicked and typed into.
pub struct Stage {
    /// The harness around it.
    pub harness: Harness<'static, Actor>,
}

impl Stage {
    /// Shows a snapshot in a window of `size` logical pixels, each of them `pixels_per_point` real ones.
    pub fn new(snapshot: Snapshot, look: Look, size: [f32; 2], pixels_per_point: f32) -> Self {
        let mut window = Window::new(look);
        let actor = Actor {
            window: Window::new(look),
            snapshot,
            intents: Vec::new(),
        };
        let harness = Harness::builder()
            .with_size(size)
            .with_pixels_per_point(pixels_per_point)
            .with_max_steps(8)
            .with_render_cursor(false)
            .renderer(CpuRenderer::default())
            .with_context_setup(move |ctx| window.prepare(ctx))
            .build_ui_state(
                |ui, actor: &mut Actor| actor.window.ui(ui, &actor.snapshot, &mut actor.intents),
                actor,
            );
        let mut stage = Self { harness };
        stage.harness.run();
        stage
    }

    /// Takes a picture.
    ///
    /// # Errors
    /// When something on it can't be drawn.
    pub fn picture(&mut self) -> Result<RgbaImage, String> {
        self.harness.render()
    }

    /// The intents since the last call.
    pub fn take_intents(&mut self) -> Vec<Intent> {
        std::mem::take(&mut self.harness.state_mut().intents)
    }
}
