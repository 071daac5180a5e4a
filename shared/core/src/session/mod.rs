//! The rooms put together over time: the live meter, the monitor that owns all averages, what it reads, and takes.
//!
//! In: frames. Out: [`reading::Reading`], [`take::Take`]. Uses every room but `audition` and `line_check`.

pub mod calm;
pub mod meter;
pub mod monitor;
pub mod part;
pub mod phrase;
pub mod phrase_sound;
pub mod reading;
pub mod recommend;
pub mod set;
pub mod span;
pub mod take;
