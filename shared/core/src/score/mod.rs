//! The changes of dry, wet and total in each feed: figures, outcomes, and the board of all feeds.
//!
//! In: a [`crate::split::Split`] and a [`rig::Rig`]. Out: [`board::Board`]. Uses `split`, `routing` and below.

pub mod balance;
pub mod board;
pub mod colour;
pub mod outcome;
mod part_changes;
pub mod rig;
pub mod scorer;
mod tone;
pub mod verdict;
