//! The look of the window, stored with a project.

/// Paper or night.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Theme {
    /// Ink on paper.
    Paper,
    /// Reversed, for a dark stage.
    #[default]
    Night,
}

/// The look of the window; its owner stores it with the project.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// Paper or night.
    pub theme: Theme,
    /// Scale of everything: 1, 1.5 or 2.
    pub zoom: f32,
}

impl Default for Look {
    fn default() -> Self {
        Self {
            theme: Theme::default(),
            zoom: 1.0,
        }
    }
}

impl Look {
    /// The scales offered by the window.
    pub const ZOOMS: [f32; 3] = [1.0, 1.5, 2.0];

    /// The nearest available look.
    #[must_use]
    pub fn clamped(self) -> Self {
        let distance = |zoom: f32| (zoom - self.zoom).abs();
        let zoom = Self::ZOOMS
            .into_iter()
            .min_by(|a, b| distance(*a).total_cmp(&distance(*b)))
            .filter(|_| self.zoom.is_finite())
            .unwrap_or(1.0);
        Self { zoom, ..self }
    }
}
