//! The delay and polarity between the channels, and where sounds begin.
//!
//! In: cross-spectra and short windows of sound. Out: [`delay::ChannelDelay`], [`onset::OnsetEvidence`]. Uses `dsp`,
//! `spectrum` and, for the polarity, `routing`.

pub mod delay;
pub mod onset;
