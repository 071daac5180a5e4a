//! The analysis of a stereo preset and the verdicts for every feed downstream.
//!
//! # Contract
//! * No I/O, no clock, no thread, no plugin API, no screen. Time is counted in frames.
//! * Everything allocates when it is built. What the audio thread calls ([`meter`], [`audition`], [`samples`]) and what
//!   runs once a hop ([`welch`], [`split`], [`score`]) allocates nothing afterwards, takes no lock and does bounded
//!   work.
//! * Non-finite samples, samples above +60 dBFS and subnormals are defined input: see [`samples`].
//!
//! # Conventions
//! * A *channel* is left or right inside the DAW; a *line* is the physical path of one channel to the desk; a *feed* is
//!   both lines and where they end.
//! * Samples are linear, ±1 is full scale. Powers are mean squares; 0 dBFS of a power is a mean square of 1.
//! * Spectra are one-sided: the cells of a channel's spectrum add up to its mean square.
//! * `S_LR = E[X_L·conj(X_R)]`. A *delay between the channels* is positive when the right channel is the later one.
//! * Decibels of a vanished power are −∞ (`f64::NEG_INFINITY`), never a large finite number.
//!
//! # From a sound to a verdict
//! ```
//! use sumproof_core::routing::feed::FeedId;
//! use sumproof_core::score::rig::Rig;
//! use sumproof_core::session::{monitor::Monitor, take::Pass};
//!
//! // One and the same sound in both channels, for a second.
//! let sound: Vec<f32> = (0..48_000u32).map(|n| 0.1 * (f64::from(n) * 0.05).sin() as f32).collect();
//! let mut monitor = Monitor::new(48_000.0);
//! monitor.start_take();
//! monitor.push(&sound, &sound);
//! let take = monitor.finish_take("lead".into(), Pass::Full).expect("frames came");
//! let rows = take.rows(&Rig::default(), 0.0);
//! let total_db = |id: FeedId| rows.iter().find(|row| row.id == id).and_then(|row| row.score).map(|score| score.total_db);
//! // In a mono wedge it is as loud as in stereo; with one line's polarity inverted it cancels.
//! assert!(total_db(FeedId::MonoWedge).is_some_and(|db| db.abs() < 1e-6));
//! assert!(total_db(FeedId::WedgeLineFlipped).is_some_and(|db| db < -100.0));
//! ```
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
