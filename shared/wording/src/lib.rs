//! The core's results in words: every sentence and every formatted figure of the window, the report, the rig card, the
//! line check and the command.
//!
//! # Contract
//! The core returns data; this crate turns it into text, with pure functions. Nothing is measured, judged or left out
//! here, and no sentence claims more than its figures do. A sentence ends with a full stop; a fragment of one doesn't.
//! Everything allocates, so nothing here may run on the audio thread.
//!
//! No other crate contains a sentence about a verdict, a cause or advice, or turns a figure into text, so a thing shown
//! in two places reads the same in both. `tests/one_place.rs` enforces this.
//!
//! | text | module |
//! |---|---|
//! | a figure with its unit | [`numbers`] |
//! | names | [`Name`], [`feeds`] |
//! | a preset's result in the feeds | [`verdict`], [`scores`] |
//! | the relation of the channels | [`channels`] |
//! | the sound that figures describe | [`phrase`] |
//! | whether a sentence is news | [`calm`] |
//! | the diagnosis | [`diagnosis`] |
//! | advice | [`advice`] |
//! | the lines' settings | [`lines`] |
//! | a line check's findings | [`line_check`] |
//! | how dry and wet were told apart | [`methods`], [`passes`], [`side_chain`] |
//! | what changed, or why that can't be told | [`comparisons`] |
//! | the rig behind the figures | [`rigs`] |
//! | a set of presets | [`sets`] |
//! | explanations of marks and short words | [`help`] |
//! | points for and against a box | [`boxes`] |
//!
//! ```
//! use sumproof_core::routing::feed::FeedId;
//! use sumproof_wording::{Name, numbers};
//!
//! assert_eq!(FeedId::MonoWedge.name(), "mono wedge");
//! assert_eq!(numbers::hertz(1250.0), "1.25 kHz");
//! assert_eq!(numbers::signed(-3.01, 1), "\u{2212}3.0");
//! ```
#![forbid(unsafe_code)]

pub mod advice;
pub mod boxes;
pub mod calm;
pub mod channels;
pub mod comparisons;
pub mod diagnosis;
pub mod feeds;
pub mod hearing;
pub mod help;
pub mod line_check;
pub mod lines;
pub mod methods;
mod names;
pub mod numbers;
pub mod passes;
pub mod phrase;
pub mod rigs;
pub mod scores;
pub mod sets;
pub mod side_chain;
pub mod verdict;

pub use names::Name;
