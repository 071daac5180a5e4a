//! How the window looks: what is kept with a project.

/// Paper or night.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Theme {
    /// Ink on paper.
    Paper,
    /// The same in reverse, for a dark stage.
    #[default]
    Night,
}

/// How the window looks; kept with the project by its owner.
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
    /// The scales offered.
    pub const ZOOMS: [f32; 3] = [1.0, 1.5, 2.0];

    /// The nearest look there is.
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
