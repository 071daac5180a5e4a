//! The three cuts of Libertinus Serif (SIL Open Font License 1.1) used by the window, the report and the rig card; a
//! program that contains all of these has one copy. OpenType files.
#![forbid(unsafe_code)]

/// For running text.
pub static REGULAR: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/regular.otf"));
/// For the strongest text.
pub static SEMIBOLD: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/semibold.otf"));
/// For labels.
pub static ITALIC: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/italic.otf"));
