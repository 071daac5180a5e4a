//! Why the feeds come out as they do, how much more the preset can take, and what to change.
//!
//! In: a split, its onsets, the board's scores. Out: [`diagnosis::Diagnosis`], [`margin`], [`advice::Advice`] as data; the
//! sentences are said elsewhere. Uses `score` and below.

pub mod advice;
pub mod diagnosis;
pub mod direct;
pub mod margin;
pub mod movement;
