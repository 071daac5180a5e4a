//! The view for reading from two metres away.

use egui::Key;
use sumproof_views::{DEFAULT_SIZE, MIN_SIZE, Snapshot};

use super::set::taking;
use super::{Scene, flipped, good, named};

pub fn all() -> Vec<Scene> {
    vec![
        Scene::new("afar", good).pressed(&[Key::F5]),
        Scene::new("afar-paper", flipped).pressed(&[Key::F5]).paper(),
        Scene::new("afar-first-run", Snapshot::default).pressed(&[Key::F5]),
        Scene::new("afar-recording", taking).pressed(&[Key::F5]).paper(),
        Scene::new("smallest-afar", named)
            .sized([MIN_SIZE.0, MIN_SIZE.1])
            .pressed(&[Key::F5]),
        Scene::new("smallest-afar-paper", taking)
            .sized([MIN_SIZE.0, MIN_SIZE.1])
            .pressed(&[Key::F5])
            .paper(),
        Scene::new("largest-afar", named)
            .sized([3.0 * DEFAULT_SIZE.0, 2160.0])
            .pressed(&[Key::F5]),
        Scene {
            pixels_per_point: 2.0,
            ..Scene::new("double-afar", good).pressed(&[Key::F5]).paper()
        },
    ]
}
