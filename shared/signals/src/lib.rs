//! Synthetic stereo presets whose dry and wet are known, and the test signals that go with them.
//!
//! A real recording shows how a preset sounds, but not how much of it is dry. Here every preset is made as two pairs,
//! dry and wet, whose sum is the preset; so an analyser's figures for either can be compared with the truth, also after
//! the lines were flipped, padded, delayed or lost ([`truth`]).
//!
//! ```
//! use sumproof_signals::{PresetKind, PresetSpec, render, truth};
//!
//! let preset = render(&PresetSpec { seconds: 2.0, wet_db: -6.0, ..PresetSpec::new(PresetKind::EqualDry) });
//! assert!((preset.true_wet_dry_db() + 6.0).abs() < 1e-9);
//!
//! // In a mono wedge the equal dry stays, the decorrelated reverb loses half its power.
//! let changes = truth::changes(&preset, &truth::MonoFeed::wedge());
//! assert!(changes.dry_db.abs() < 1e-9);
//! assert!((changes.wet_db + 3.01).abs() < 0.01);
//! ```
//!
//! # Conventions
//! - Samples are `f64`, full scale is ±1.0, a positive sample is a positive pressure. Channels are left, right, always
//!   of equal length.
//! - Power is the mean square; powers of a pair are summed over both channels; ratios are `10·log10`, and −∞ is a
//!   value.
//! - 'Late' and 'flipped' mean the right channel; the dry offset puts the left channel 6 dB above the right one.
//! - A fault of a *channel* (late, flipped) belongs to the sound, so it sits on dry and wet alike. A fault of a *line*
//!   ([`LineFault`]) happens on the way to the desk, and is applied separately.
//! - Everything is a function of its arguments: the same spec gives the same bits on the same machine (the FFT selects
//!   its kernels by processor, so another machine may differ in the last digits). Different seeds give different riffs,
//!   tones, rooms.
//! - Rates from 8 to 192 kHz are supported; the music keeps its pitch and tempo at all of them, the random tails
//!   differ.
//! - This crate makes things for tests and demonstrations: it allocates, and an invalid spec panics.

#![forbid(unsafe_code)]
#![cfg_attr(
    test,
    allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_possible_wrap,
        reason = "a test chooses the numbers it converts"
    )
)]

pub mod delay;
mod demo;
pub mod ebu;
mod effects;
mod fft;
pub mod filter;
mod guitar;
mod line;
mod numbers;
mod preset;
mod rng;
mod stereo;
pub mod tones;
pub mod truth;
pub mod venue;

pub use demo::demo_preset;
pub use fft::convolve;
pub use line::{LineFault, faulty};
pub use preset::{Preset, PresetKind, PresetSpec, Source, render};
pub use rng::Rng;
pub use stereo::{Stereo, amplitude, correlation, mean_power, power_db};
