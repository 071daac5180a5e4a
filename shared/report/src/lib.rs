//! Reports on takes, for people ([`table`], [`verdict`]) and for programs ([`json`], described in `SCHEMA.md`).
//!
//! # Contract
//! Pure functions of the core's types: no file, no clock, no terminal. Nothing here measures or judges; figures and
//! outcomes come from the core.
//!
//! Every figure states its reference. Changes of dry, wet and total are relative to stereo (the mean power of both
//! channels), without the gain that a fader can make up; those relative to the mono sum without the fault say so in
//! their names. The exact broadband figures are sums over the frames of the whole take.
//!
//! A power that vanished is a word in text, and `null` with a word beside it in JSON, never a large finite number.
//!
//! ```
//! use sumproof_core::score::rig::Rig;
//! use sumproof_core::session::{monitor::Monitor, take::Pass};
//! use sumproof_report::{Form, Judged, View, table_of};
//!
//! let sound: Vec<f32> = (0..48_000u32).map(|n| 0.1 * (f64::from(n) * 0.05).sin() as f32).collect();
//! let mut monitor = Monitor::new(48_000.0);
//! monitor.start_take();
//! monitor.push(&sound, &sound);
//! let take = monitor.finish_take("lead".into(), Pass::Full).expect("frames came");
//! let view = View::all(Rig::default(), None);
//! assert!(table_of(&Judged::of_take(&take, &view), Form::default()).contains("mono wedge"));
//! ```
#![forbid(unsafe_code)]

pub mod formats;
mod judge;
pub mod line_check;
pub mod names;
pub mod rig;
mod tables;

pub use formats::csv::csv;
pub use formats::html::html;
pub use formats::picture::{Ink, picture, svg};
#[cfg(feature = "png")]
pub use formats::png::png;
pub use formats::schema::{Document, SCHEMA, TakeReport, document, json, json_of_set, report};
pub use formats::trend::trend_page;
pub use judge::judged::{FeedRow, Judged};
pub use judge::set::{Entry, Loudness, Shown, View};
pub use judge::trend::{Change, Pair, Trend};
pub use judge::verdict::verdict;
pub use tables::comparison::comparison;
pub use tables::form::Form;
pub use tables::overview::overview;
pub use tables::table::{table, table_of};
pub use tables::trend::trend;

/// How far the total of the full band and the one above 40 Hz may differ before both are given, dB.
pub const RUMBLE_DB: f64 = 0.5;
