//! The three cuts of Libertinus Serif (SIL Open Font License 1.1) used by the window, the report and the rig card; a
//! program that contains all of these has one copy. OpenType files.
#![forbid(unsafe_code)]

/// For running text.
pub static REGULAR: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/regular.otf"));
/// For the strongest text.
pub static SEMIBOLD: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/semibold.otf"));
/// For labels.
pub static ITALIC: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/italic.otf"));

/// The same cuts without the outlines of other alphabets: as long as the whole ones, but with the rest as zeros, so that
/// compressed they are a small part. What isn't there is no character of the file either (see `trim.rs`).
#[cfg(feature = "latin")]
pub mod latin {
    /// Latin letters with all their accents, punctuation, currencies, and a few signs.
    pub static REGULAR: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/latin-regular.otf"));
    /// Plain letters and punctuation: what the card's own words need.
    pub static SEMIBOLD: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/latin-semibold.otf"));
    /// As [`SEMIBOLD`].
    pub static ITALIC: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/latin-italic.otf"));
}
