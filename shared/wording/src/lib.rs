//! What the core found, in words: every sentence and every formatted figure of the window, the report, the rig card, the
//! line check and the command.
//!
//! # Contract
//! The core returns data; this crate says it. Pure functions from the core's types to text: nothing is measured, judged or
//! left out here, and no sentence claims more than its figures do. A sentence ends with a full stop; what goes into one
//! doesn't. Everything allocates, so nothing here is for the audio thread.
//!
//! Whoever shows something in two places takes it from here both times: nobody else writes a sentence about a verdict, a
//! cause or advice, and nobody else turns a figure into text. `tests/one_place.rs` holds the other crates to it.
//!
//! | to say | room |
//! |---|---|
//! | a figure with its unit | [`numbers`] |
//! | what a thing is called | [`Name`], [`feeds`] |
//! | what a preset does in its feeds | [`verdict`], [`scores`] |
//! | what is between the channels | [`channels`] |
//! | of what sound figures are | [`phrase`] |
//! | whether a sentence is worth saying anew | [`calm`] |
//! | why it is so | [`diagnosis`] |
//! | what to do about it | [`advice`] |
//! | how the lines are set | [`lines`] |
//! | what a line check found | [`line_check`] |
//! | how dry and wet were told apart | [`methods`], [`passes`], [`side_chain`] |
//! | what changed, or why that can't be told | [`comparisons`] |
//! | for which lines and limits | [`rigs`] |
//! | what to do first with a set | [`sets`] |
//! | what marks and short words mean | [`help`] |
//! | what speaks for a box and against it | [`boxes`] |
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
