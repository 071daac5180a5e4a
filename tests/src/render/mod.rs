//! The window without a host and without a graphics card: a software renderer, the states the window can be in, and the
//! comparison with stored pictures.

mod golden;
mod raster;
mod scenes;
mod stage;

pub use golden::{Difference, compare_with_golden, difference, write};
pub use raster::CpuRenderer;
pub use scenes::{Scene, playing, scenes};
pub use stage::{Actor, Stage};
