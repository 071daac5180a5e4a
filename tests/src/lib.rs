//! What the tests that span crates share: a CLAP host that treats the plugin as a DAW does, and the paths of what
//! they need.

pub mod fuzz;
pub mod methods;
pub mod obvious;
pub mod presets;
pub mod render;
pub mod why;

pub use sumproof_host as host;
