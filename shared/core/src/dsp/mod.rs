//! Building blocks without any idea of a preset: decibels, which samples are valid, rings of past samples, transforms,
//! fractional delay, K-weighting.
//!
//! In: samples. Out: samples and numbers. Every other room may use this one; it uses none.

pub mod db;
pub(crate) mod fft;
pub mod fractional;
pub(crate) mod history;
pub mod k_weighting;
pub mod samples;
