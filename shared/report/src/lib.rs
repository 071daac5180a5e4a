//! What a take says, for people ([`table`], [`verdict`]) and for programs ([`json`], described in `SCHEMA.md`).
//!
//! # Contract
//! Pure functions of the core's types: no file, no clock, no terminal. Nothing here measures or judges; figures and
//! outcomes are the core's.
//!
//! Every figure says what it is against. Changes of dry, wet and total are against stereo (the mean power of both
//! channels), with the gain a fader can give back taken out; those against the un-faulted mono sum say so in their
//! names. The exact broadband figures are sums over the frames of the whole take.
//!
//! A power that vanished is a word in text and `null` beside a word in JSON, never a large finite number.
#![forbid(unsafe_code)]

pub mod card;
pub mod lines;
pub mod rig_file;
pub mod schema;
mod table;
mod text;
mod verdict;

use sumproof_core::board::{FEEDS, Rig, Row};
use sumproof_core::feed::FeedId;
use sumproof_core::meter::LOWEST_HZ;
use sumproof_core::take::Take;

pub use schema::{Document, SCHEMA, TakeReport, json, report};
pub use table::table;
pub use verdict::verdict;

/// How far the total of the full band and the one above 40 Hz may differ before both are given, dB.
pub const RUMBLE_DB: f64 = 0.5;

/// The feeds a reader is shown: all of them, but for the user's own as long as nobody has described one.
fn shown(rows: &[Row; FEEDS], rig: &Rig) -> Vec<Row> {
    let described = rig.own != Rig::default().own;
    rows.iter()
        .filter(|row| row.id != FeedId::Own || described)
        .copied()
        .collect()
}

/// The change of the total above 40 Hz, where it differs from the full band's by more than [`RUMBLE_DB`]: in the order of
/// the rows.
fn without_rumble(take: &Take, rig: &Rig, rows: &[Row; FEEDS]) -> [Option<f64>; FEEDS] {
    let above = take.rows(rig, LOWEST_HZ);
    core::array::from_fn(|index| {
        let (full, limited) = (rows[index].score?.total_db, above[index].score?.total_db);
        // Both gone is no difference.
        (full != limited && (full - limited).abs() > RUMBLE_DB).then_some(limited)
    })
}
