//! The three cuts of Libertinus Serif (SIL Open Font License 1.1) that the window, the report and the rig card are set in: one
//! family, and in a program that makes all of them, one copy. OpenType files.
#![forbid(unsafe_code)]

/// For text.
pub static REGULAR: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/regular.otf"));
/// For what is said loudest.
pub static SEMIBOLD: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/semibold.otf"));
/// For labels.
pub static ITALIC: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/italic.otf"));
