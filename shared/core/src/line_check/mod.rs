//! The line check: a known signal goes out on both lines, what arrives somewhere is recorded, and from the two it is read
//! what the lines do: polarity, delay, level, low end, and whether the place where it was recorded sums them.
//!
//! The signal ([`Plan`], played by [`Generator`]) is made of exponential sweeps (A. Farina, "Simultaneous Measurement of
//! Impulse Response and Distortion with a Swept-Sine Technique", AES 108th convention, 2000): left, right, both equal, both
//! opposite, each behind a train of one-sided pulses, with a pair of shorter sweeps as a marker at either end.
//!
//! * The parts are found by matched filters, all at once: their distances are all different, so any two of them say which
//!   two they are, and a recording may begin late.
//! * The clocks' difference comes from the same line's arrival at the start and at the end.
//! * The response of a part is `Y·X*/(|X|² + ε·max|X|²)`, with the template `X` made on the recorder's clock, so nothing is
//!   resampled.
//! * What one line does against the other is the ratio of their responses: room, loudspeaker and microphone are in both and
//!   fall out. Delay and polarity come from their generalised cross-correlation with weights by signal to noise (Knapp &
//!   Carter 1976), the corner of a high-pass from the phase and level of the ratio over frequency.
//! * Whether a soft line is there at all is a matched filter's answer: the louder line's response, all of its room with it, is
//!   looked for in the softer one's part.
//! * A phone's automatic gain and clipping treat a loud part unlike a soft one, which falsifies levels from part to part. In
//!   both equal, both opposite and the markers both lines sound at once, and so with the same gain: each band of these is fitted
//!   with the louder line's response and the softer one's as it follows from it.
//!
//! # What it cannot know
//! Every receiver that is linear hears the third and fourth part as sum and difference of the first two, whatever it is: a
//! flipped line into a sum and a balanced input that takes left minus right are the same sound. So are a line that is
//! unplugged and a feed that doesn't take it. Both flipped at once is a matter of absolute polarity, which only a path without
//! a loudspeaker shows. [`Findings`] names all feeds that fit.
//!
//! # Contract
//! Pure functions of the samples; [`Generator::fill`] is for the audio thread, all else allocates.

mod fit;
mod read;
mod response;
mod result;
mod signal;
mod trust;

pub use read::{LONGEST_S, ReadFailure, SHORTEST_S, read};
pub use result::{Arrival, Curve, Feeding, Findings, LineFinding, Notice, PairFinding, Pictures, Reception};
pub use signal::generator::Generator;
pub use signal::plan::{Mode, Part, Plan, PlanError, SignalSettings, limits};
pub use trust::{Answer, Estimate, Trust, Unknown};
