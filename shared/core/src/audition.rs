//! Live audition: both lines and the feed in the time domain.
//!
//! While auditioning, every signal is late by [`COMMON_DELAY`] samples (both lines alike). Every change of
//! setting is a crossfade of [`FADE_S`]. When auditioning is off and the last fade is over ([`Auditioner::is_idle`]) the
//! buffer is not touched, so the sound passes bit for bit.

use core::f64::consts::{PI, SQRT_2};

use crate::feed::{Ending, Feed, Side};
use crate::fractional::{COMMON_DELAY, FractionalTable, TAPS};
use crate::line::Line;
use crate::sanitize;

/// Length of a crossfade, seconds.
pub const FADE_S: f64 = 0.010;

/// The longest delay of a line that can be auditioned, seconds: the player's own and a feed's fault.
pub const LONGEST_S: f64 = 0.032;

/// Loudness matching never changes the level by more than this, dB.
pub const MATCH_LIMIT_DB: f64 = 12.0;

const MATCH_SMOOTHING_S: f64 = 0.1;
const CEILING_RELEASE_S: f64 = 0.2;

/// What to audition.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AuditionSettings {
    /// The feed, or `None` to pass the sound through.
    pub feed: Option<Feed>,
    /// Loudness matching: the gain that makes the feed as loud as stereo, dB, limited to ±[`MATCH_LIMIT_DB`]; while it's
    /// on, samples are kept within full scale. `None` is off.
    pub match_db: Option<f64>,
}

/// The first-order high-pass of [`crate::response::high_pass`].
#[derive(Clone, Copy, Debug, Default)]
struct HighPass {
    gain: f64,
    pole: f64,
    state: f64,
}

impl HighPass {
    fn new(corner_hz: f64, rate_hz: f64) -> Option<Self> {
        (corner_hz > 0.0).then(|| {
            let k = (PI * corner_hz / rate_hz).tan();
            Self {
                gain: 1.0 / (1.0 + k),
                pole: (1.0 - k) / (1.0 + k),
                state: 0.0,
            }
        })
    }

    /// `y[n] = g·(x[n] − x[n−1]) + p·y[n−1]`, transposed: one state.
    #[inline]
    fn run(&mut self, input: f64) -> f64 {
        let scaled = self.gain * input;
        let output = scaled + self.state;
        self.state = self.pole * output - scaled;
        output
    }
}

/// The fourth-order low-pass of [`crate::response::low_pass_power`].
#[derive(Clone, Copy, Debug, Default)]
struct LowPass {
    b: f64,
    a: [f64; 2],
    states: [[f64; 2]; 2],
}

impl LowPass {
    fn new(corner_hz: f64, rate_hz: f64) -> Self {
        let k = (PI * corner_hz / rate_hz).tan();
        let norm = 1.0 + SQRT_2 * k + k * k;
        Self {
            b: k * k / norm,
            a: [2.0 * (k * k - 1.0) / norm, (1.0 - SQRT_2 * k + k * k) / norm],
            states: [[0.0; 2]; 2],
        }
    }

    #[inline]
    fn run(&mut self, input: f64) -> f64 {
        let mut signal = input;
        for [s0, s1] in &mut self.states {
            let scaled = self.b * signal;
            let output = scaled + *s0;
            *s0 = 2.0 * scaled - self.a[0] * output + *s1;
            *s1 = scaled - self.a[1] * output;
            signal = output;
        }
        signal
    }
}

/// One line, ready to run.
#[derive(Clone, Copy, Debug)]
struct LinePath {
    amplitude: f32,
    whole: usize,
    /// `None` for a delay of whole samples.
    kernel: Option<[f32; TAPS]>,
    high_passes: [Option<HighPass>; 2],
}

impl LinePath {
    fn new(line: &Line, rate_hz: f64, table: &FractionalTable) -> Self {
        let samples = line.delay_s.clamp(0.0, LONGEST_S) * rate_hz;
        let mut whole = samples.floor();
        let mut fraction = samples - whole;
        // A thousandth of a sample is 0.02 µs.
        if fraction > 0.999 {
            whole += 1.0;
            fraction = 0.0;
        }
        Self {
            amplitude: line.amplitude() as f32,
            whole: whole as usize,
            kernel: (fraction > 0.001).then(|| table.kernel(fraction)),
            high_passes: line.high_pass_hz.map(|corner| HighPass::new(corner, rate_hz)),
        }
    }

    #[inline]
    fn run(&mut self, history: &History, channel: usize) -> f32 {
        let delayed = match &self.kernel {
            Some(kernel) => {
                let window = history.window(channel, self.whole);
                // Four sums, so that the additions don't wait for each other.
                let mut sums = [0.0f32; 4];
                for (taps, samples) in kernel.chunks_exact(4).zip(window.chunks_exact(4)) {
                    for i in 0..4 {
                        sums[i] += taps[i] * samples[i];
                    }
                }
                (sums[0] + sums[1]) + (sums[2] + sums[3])
            }
            None => history.sample(channel, self.whole + COMMON_DELAY),
        };
        let mut signal = delayed * self.amplitude;
        for high_pass in self.high_passes.iter_mut().flatten() {
            signal = high_pass.run(f64::from(signal)) as f32;
        }
        signal
    }

    fn settle(&mut self) {
        for high_pass in self.high_passes.iter_mut().flatten() {
            high_pass.state = sanitize::settled(high_pass.state);
        }
    }
}

/// A feed, ready to run.
#[derive(Clone, Copy, Debug)]
struct Path {
    feed: Feed,
    lines: [LinePath; 2],
    low_passes: Option<[LowPass; 2]>,
}

impl Path {
    fn new(feed: &Feed, rate_hz: f64, table: &FractionalTable) -> Self {
        Self {
            feed: *feed,
            lines: [
                LinePath::new(&feed.left, rate_hz, table),
                LinePath::new(&feed.right, rate_hz, table),
            ],
            low_passes: feed.low_pass_hz.map(|corner| [LowPass::new(corner, rate_hz); 2]),
        }
    }

    #[inline]
    fn run(&mut self, history: &History) -> [f32; 2] {
        let [left_line, right_line] = &mut self.lines;
        let mut out = match self.feed.ending {
            Ending::Stereo => [left_line.run(history, 0), right_line.run(history, 1)],
            Ending::One(Side::Left) => [left_line.run(history, 0); 2],
            Ending::One(Side::Right) => [right_line.run(history, 1); 2],
            Ending::Difference => [left_line.run(history, 0) - right_line.run(history, 1); 2],
            Ending::Sum(law) => {
                [(left_line.run(history, 0) + right_line.run(history, 1)) * law.factor() as f32; 2]
            }
        };
        if let Some(low_passes) = &mut self.low_passes {
            for (sample, low_pass) in out.iter_mut().zip(low_passes) {
                *sample = low_pass.run(f64::from(*sample)) as f32;
            }
        }
        out
    }

    fn settle(&mut self) {
        self.lines.iter_mut().for_each(LinePath::settle);
        for state in self
            .low_passes
            .iter_mut()
            .flatten()
            .flat_map(|low_pass| low_pass.states.iter_mut().flatten())
        {
            *state = sanitize::settled(*state);
        }
    }
}

/// The last samples of both channels, newest first, so that a window of them is one slice.
#[derive(Clone, Debug)]
struct History {
    len: usize,
    newest: usize,
    channels: [Vec<f32>; 2],
}

impl History {
    fn new(rate_hz: f64) -> Self {
        let len = (LONGEST_S * rate_hz).ceil() as usize + TAPS + 2;
        // Everything is written twice, `len` apart, so that no window wraps.
        Self {
            len,
            newest: 0,
            channels: [vec![0.0; 2 * len], vec![0.0; 2 * len]],
        }
    }

    #[inline]
    fn push(&mut self, left: f32, right: f32) {
        self.newest = if self.newest == 0 {
            self.len - 1
        } else {
            self.newest - 1
        };
        for (channel, sample) in self.channels.iter_mut().zip([left, right]) {
            channel[self.newest] = sample;
            channel[self.newest + self.len] = sample;
        }
    }

    #[inline]
    fn sample(&self, channel: usize, age: usize) -> f32 {
        self.channels[channel][self.newest + age.min(self.len - 1)]
    }

    #[inline]
    fn window(&self, channel: usize, age: usize) -> &[f32] {
        let begin = self.newest + age.min(self.len - TAPS);
        &self.channels[channel][begin..begin + TAPS]
    }

    fn clear(&mut self) {
        self.channels.iter_mut().for_each(|channel| channel.fill(0.0));
    }
}

/// Runs the audition on the audio thread.
///
/// # Real-time
/// After construction: no allocation, no lock, no system call; O(frames), twice the cost during a fade. A garbage sample is
/// heard as silence in a feed and passed on as it came when nothing is auditioned.
#[derive(Clone, Debug)]
pub struct Auditioner {
    rate_hz: f64,
    table: FractionalTable,
    history: History,
    /// Frames until the history holds enough to begin.
    filling: usize,
    current: Option<Path>,
    next: Option<Path>,
    fading: bool,
    fade: f32,
    fade_step: f32,
    wanted: Option<Feed>,
    match_target: f32,
    match_gain: f32,
    match_smoothing: f32,
    ceiling: bool,
    ceiling_gain: f32,
    ceiling_release: f32,
}

impl Auditioner {
    /// For a sample rate. Allocates the history (about 0.5 MB at 192 kHz less) and the interpolation table.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let rate_hz = rate_hz.clamp(1000.0, 1_000_000.0);
        Self {
            rate_hz,
            table: FractionalTable::new(),
            history: History::new(rate_hz),
            filling: 0,
            current: None,
            next: None,
            fading: false,
            fade: 0.0,
            fade_step: (1.0 / (FADE_S * rate_hz)) as f32,
            wanted: None,
            match_target: 1.0,
            match_gain: 1.0,
            match_smoothing: (1.0 - (-1.0 / (MATCH_SMOOTHING_S * rate_hz)).exp()) as f32,
            ceiling: false,
            ceiling_gain: 1.0,
            ceiling_release: (1.0 - (-1.0 / (CEILING_RELEASE_S * rate_hz)).exp()) as f32,
        }
    }

    /// The samples by which both lines alike are late while a feed is auditioned.
    #[must_use]
    pub fn common_delay() -> usize {
        COMMON_DELAY
    }

    /// Sets what is wanted; [`Self::process`] fades to it.
    pub fn set(&mut self, settings: &AuditionSettings) {
        self.wanted = settings.feed;
        self.ceiling = settings.match_db.is_some();
        let match_db = settings.match_db.filter(|db| db.is_finite()).unwrap_or(0.0);
        self.match_target = crate::db::to_amplitude(match_db.clamp(-MATCH_LIMIT_DB, MATCH_LIMIT_DB)) as f32;
    }

    /// Whether the sound passes untouched, so that [`Self::process`] would write nothing.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        self.wanted.is_none() && self.current.is_none() && !self.fading
    }

    /// Forgets all sound and fades; the settings stay and begin anew.
    pub fn reset(&mut self) {
        self.history.clear();
        self.filling = 0;
        self.current = None;
        self.next = None;
        self.fading = false;
        self.match_gain = 1.0;
        self.ceiling_gain = 1.0;
    }

    /// Replaces a block by what the listener gets (as many frames as the shorter slice has). Writes nothing when idle.
    pub fn process(&mut self, left: &mut [f32], right: &mut [f32]) {
        if self.is_idle() {
            self.filling = 0;
            return;
        }
        for (l, r) in left.iter_mut().zip(right.iter_mut()) {
            self.frame(l, r);
        }
        for path in [&mut self.current, &mut self.next].into_iter().flatten() {
            path.settle();
        }
    }

    #[inline]
    fn frame(&mut self, left: &mut f32, right: &mut f32) {
        self.history
            .push(sanitize::measured(*left), sanitize::measured(*right));
        if !self.fading {
            self.consider();
        }
        if self.filling < self.history.len {
            self.filling += 1;
        }
        if self.current.is_none() && !self.fading {
            return;
        }
        let through = [*left, *right];
        let gain = self.gain();
        let feed_out = |path: &mut Option<Path>| match path {
            Some(path) => path.run(&self.history).map(|sample| sample * gain),
            None => through,
        };
        let mut out = feed_out(&mut self.current);
        if self.fading {
            let next = feed_out(&mut self.next);
            self.fade += self.fade_step;
            // A raised-cosine shape by its cubic: no corner at either end.
            let f = self.fade.min(1.0);
            let share = f * f * (3.0 - 2.0 * f);
            for (sample, new) in out.iter_mut().zip(next) {
                *sample += (new - *sample) * share;
            }
            if self.fade >= 1.0 {
                out = next;
                self.fading = false;
                self.current = self.next.take();
            }
        }
        if self.ceiling {
            out = self.under_the_ceiling(out);
        }
        [*left, *right] = out;
    }

    /// Starts a fade when something else is wanted than what is heard.
    #[inline]
    fn consider(&mut self) {
        let heard = self.current.as_ref().map(|path| path.feed);
        if heard == self.wanted {
            return;
        }
        // Before the history is full, a late line would begin with a step.
        if self.current.is_none() && self.filling < self.history.len {
            return;
        }
        self.next = self
            .wanted
            .map(|feed| Path::new(&feed, self.rate_hz, &self.table));
        self.fading = true;
        self.fade = 0.0;
    }

    #[inline]
    fn gain(&mut self) -> f32 {
        self.match_gain += (self.match_target - self.match_gain) * self.match_smoothing;
        self.match_gain
    }

    /// Turns both channels down at once when one would exceed full scale, and lets go slowly.
    #[inline]
    fn under_the_ceiling(&mut self, out: [f32; 2]) -> [f32; 2] {
        self.ceiling_gain += (1.0 - self.ceiling_gain) * self.ceiling_release;
        let peak = out[0].abs().max(out[1].abs());
        if peak * self.ceiling_gain > 1.0 {
            self.ceiling_gain = 1.0 / peak;
        }
        // Rounding may leave the product a hair above 1; infinite or NaN samples that pass through are left as they are.
        out.map(|sample| {
            if sample.is_finite() {
                (sample * self.ceiling_gain).clamp(-1.0, 1.0)
            } else {
                sample
            }
        })
    }
}
