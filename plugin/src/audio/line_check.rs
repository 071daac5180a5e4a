//! Output of the line check's signal: the only code here that generates sound.
//!
//! # What starts it, and what ends it
//! * It takes two steps of the user in the window: first the input is held back from the output ([`Switch::hold`]),
//!   then a signal is ordered ([`Switch::allow`], by the analysis, which also prepares it). No parameter, state or host
//!   event can do either.
//! * An order that is not taken within a second is void ([`crate::analysis::engine`]); one that the switch no longer
//!   allows is given back unplayed.
//! * It ends with a short fade when the switch says so, with the bypass, when the host records, when frames are lost,
//!   and when the window has drawn nothing for [`PATIENCE_S`]: a window may vanish without notice. It ends at once,
//!   without a trace in the first frame, when the host bounces, resets or stops.
//!
//! # Real-time
//! [`Sender`] allocates and frees nothing: signals arrive and leave whole, through the ring.

use sumproof_core::dsp::numbers::{to_frames, to_single};

use crate::bridge::line_check::{End, Signal, Switch};
use crate::bridge::ring::{AudioEnd, Command};

/// How long a window may draw nothing before the signal it asked for ends, s of sound.
pub const PATIENCE_S: f64 = 2.0;
/// Length of a fade, s.
const FADE_S: f64 = 0.010;
/// Frames made at once.
const CHUNK: usize = 64;

/// What is output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Output {
    /// The input, unchanged.
    Input,
    /// Silence.
    Silence,
    /// The signal.
    Signal,
}

/// The audio thread's part, for one activation.
#[derive(Debug)]
pub struct Sender {
    signal: Option<Box<Signal>>,
    /// Why the signal that is fading out ends.
    ending: Option<End>,
    /// An end not yet reported to the analysis.
    unsaid: Option<(u64, End)>,
    /// Gain of the input, 0 to 1.
    passing: f32,
    /// Gain of the signal, 0 to 1.
    level: f32,
    /// Change of either gain per frame.
    step: f32,
    /// Frames of silence still to come after the signal.
    behind_frames: u64,
    beats: u64,
    unattended_frames: u64,
    patience_frames: u64,
}

impl Sender {
    /// A sender for a sample rate, Hz.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            signal: None,
            ending: None,
            unsaid: None,
            passing: 1.0,
            level: 0.0,
            step: to_single(1.0 / (FADE_S * rate_hz).max(1.0)),
            behind_frames: 0,
            beats: 0,
            unattended_frames: 0,
            patience_frames: to_frames(PATIENCE_S * rate_hz),
        }
    }

    /// Called before a block is handed to the analysis: takes an order, if there is one. The analysis is notified, so
    /// it records the input from this block on.
    pub fn begin<const C: usize>(&mut self, switch: &Switch, end: &mut AudioEnd<C>) {
        if self.signal.is_some() || self.unsaid.is_some() {
            return;
        }
        let Some(signal) = end.take_order() else { return };
        let run = signal.run;
        if switch.allows(run) && end.send(Command::CheckBegins(run)) {
            self.behind_frames = signal.behind_frames;
            self.unattended_frames = 0;
            self.level = 0.0;
        } else {
            // It was cancelled before it began, or its beginning can't be reported.
            self.ending = Some(End::Stopped);
        }
        self.signal = Some(signal);
    }

    /// Whether a signal is going out.
    pub fn is_busy(&self) -> bool {
        self.signal.is_some()
    }

    /// Frames were lost on their way to the analysis: the signal ends.
    pub fn lost(&mut self) {
        if self.signal.is_some() {
            self.ending = self.ending.or(Some(End::Lost));
        }
    }

    /// The host was reset: the signal ends without a fade.
    pub fn cut(&mut self) {
        if self.signal.is_some() {
            self.ending = Some(End::HostStopped);
            self.level = 0.0;
        }
    }

    /// Called after a block was handed over: replaces it by the output. `hindered` is the reason why no signal may go
    /// out now, if there is one.
    pub fn put_out<const C: usize>(
        &mut self,
        switch: &Switch,
        end: &mut AudioEnd<C>,
        hindered: Option<End>,
        left: &mut [f32],
        right: &mut [f32],
    ) -> Output {
        let frames = left.len().min(right.len());
        let attended = self.is_attended(switch, frames);
        let hindered = hindered.or((!attended).then_some(End::Unattended));
        if let Some(signal) = &self.signal {
            let stopped = (!switch.allows(signal.run)).then_some(End::Stopped);
            self.ending = self.ending.or(hindered).or(stopped);
        }
        if hindered == Some(End::Bounces) {
            // A bounce has no time for a fade.
            (self.passing, self.level) = (1.0, 0.0);
        }
        let held = switch.is_held() && hindered.is_none();
        let mut output = Output::Input;
        if held || self.signal.is_some() || self.passing < 1.0 {
            output = if self.signal.is_some() && self.ending.is_none() {
                Output::Signal
            } else if held {
                Output::Silence
            } else {
                Output::Input
            };
            for (left, right) in left[..frames]
                .chunks_mut(CHUNK)
                .zip(right[..frames].chunks_mut(CHUNK))
            {
                self.chunk(held, left, right);
            }
        }
        self.finish(switch, end);
        output
    }

    fn is_attended(&mut self, switch: &Switch, frames: usize) -> bool {
        let beats = switch.beats();
        if beats != self.beats {
            (self.beats, self.unattended_frames) = (beats, 0);
        } else if switch.is_held() || self.signal.is_some() {
            self.unattended_frames += frames as u64;
        } else {
            self.unattended_frames = 0;
        }
        let attended = self.unattended_frames <= self.patience_frames;
        if !attended {
            switch.release();
        }
        attended
    }

    /// One chunk, of at most [`CHUNK`] frames.
    fn chunk(&mut self, held: bool, left: &mut [f32], right: &mut [f32]) {
        let (mut l, mut r) = ([0.0f32; CHUNK], [0.0f32; CHUNK]);
        if let Some(signal) = &mut self.signal {
            let frames = left.len().min(CHUNK);
            if !signal.generator.fill(&mut l[..frames], &mut r[..frames]) {
                self.behind_frames = self.behind_frames.saturating_sub(frames as u64);
                if self.behind_frames == 0 {
                    self.ending = self.ending.or(Some(End::Whole));
                }
            }
        }
        let sounds = self.signal.is_some() && self.ending.is_none();
        let towards = |now: f32, on: bool, step: f32| {
            if on {
                (now + step).min(1.0)
            } else {
                (now - step).max(0.0)
            }
        };
        let passes = !held && !sounds;
        for ((left, right), (l, r)) in left.iter_mut().zip(right).zip(l.into_iter().zip(r)) {
            self.passing = towards(self.passing, passes, self.step);
            self.level = towards(self.level, sounds, self.step);
            if self.passing < 1.0 || self.level > 0.0 {
                *left = faded(*left, self.passing) + l * self.level;
                *right = faded(*right, self.passing) + r * self.level;
            }
        }
    }

    /// Gives a finished signal back and reports its end; what finds no room is tried again with the next block.
    fn finish<const C: usize>(&mut self, switch: &Switch, end: &mut AudioEnd<C>) {
        if let (Some(why), true) = (self.ending, self.level == 0.0)
            && let Some(signal) = self.signal.take()
        {
            let run = signal.run;
            switch.end(run);
            match end.give_back(signal) {
                Ok(()) => {
                    self.unsaid = Some((run, why));
                    self.ending = None;
                }
                Err(signal) => self.signal = Some(signal),
            }
        }
        if let Some((run, why)) = self.unsaid
            && end.send(Command::CheckEnds(run, why))
        {
            self.unsaid = None;
        }
    }
}

/// A sample of the input times `gain`. A sample that is not finite becomes 0.
fn faded(sample: f32, gain: f32) -> f32 {
    if gain > 0.0 && sample.is_finite() {
        sample * gain
    } else {
        0.0
    }
}
