//! Why the feeds come out as they do, how much more the preset tolerates, and what to change.
//!
//! In: a split, its onsets, the board's scores. Out: [`diagnosis::Diagnosis`], [`margin`], [`advice::Advice`] as data;
//! the sentences are in `shared/wording`. Uses `score` and below.

pub mod advice;
pub mod diagnosis;
pub mod direct;
pub mod margin;
pub mod movement;
