//! What a stereo preset becomes in every feed downstream: the analysis and the verdicts.
//!
//! # Contract
//! * No I/O, no clock, no thread, no plugin API, no screen. Time is counted in frames.
//! * Everything allocates when it is built. What the audio thread calls ([`meter`], [`audition`], [`samples`]) and what
//!   runs once a hop ([`welch`], [`split`], [`score`]) allocates nothing afterwards, takes no lock and does bounded work.
//! * Non-finite samples, samples above +60 dBFS and subnormals are defined input: see [`samples`].
//!
//! # Conventions
//! * A *channel* is left or right inside the DAW; a *line* is the physical path of one channel to the desk; a *feed* is
//!   both lines and where they end.
//! * Samples are linear, ±1 is full scale. Powers are mean squares; 0 dBFS of a power is a mean square of 1.
//! * Spectra are one-sided: the cells of a channel's spectrum add up to its mean square.
//! * `S_LR = E[X_L·conj(X_R)]`. A *delay between the channels* is positive when the right channel is the later one.
//! * Decibels of a vanished power are −∞ (`f64::NEG_INFINITY`), never a large finite number.
#![forbid(unsafe_code)]

pub mod alignment;
pub mod audition;
pub mod dsp;
pub mod explain;
pub mod line_check;
pub mod routing;
pub mod score;
pub mod session;
pub mod spectrum;
pub mod split;

pub use realfft::num_complex::Complex;
