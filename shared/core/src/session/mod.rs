//! All folders combined over time: the live meter, the monitor that owns all averages, its readings, and takes.
//!
//! In: frames. Out: [`reading::Reading`], [`take::Take`]. Uses every folder but `audition` and `line_check`.

pub mod calm;
pub mod meter;
pub mod monitor;
pub mod part;
pub mod passes;
pub mod phrase;
pub mod phrase_sound;
pub mod reading;
pub mod recommend;
pub mod set;
pub mod span;
pub mod take;
