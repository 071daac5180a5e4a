//! A feed, prepared for the audio thread.

use super::filters::{self, HighPasses, LowPasses};
use super::ring::DelayRing;
use super::{Frames, LONGEST_S};
use crate::dsp::fractional::{COMMON_DELAY, FractionalTable, Kernel, TAPS};
use crate::dsp::numbers::{to_index, to_single};
use crate::routing::feed::{Ending, Feed, Side};

/// Fractions of a sample below this count as none: a thousandth is 0.02 µs.
const NONE: f64 = 0.001;

/// One line's gain and delay, prepared for the audio thread.
#[derive(Clone, Copy, Debug)]
struct LinePath {
    channel: usize,
    /// 0 where nothing arrives.
    amplitude: f32,
    whole: usize,
    /// The interpolation kernel times the amplitude; `None` for a delay of whole samples.
    kernel: Option<Kernel>,
}

impl LinePath {
    fn new(channel: usize, feed: &Feed, samples: f64, table: &FractionalTable) -> Self {
        let (mut whole, mut fraction) = (samples.floor(), samples.fract());
        if fraction > 1.0 - NONE {
            whole += 1.0;
            fraction = 0.0;
        }
        let (line, other) = match channel {
            0 => (&feed.left, Ending::One(Side::Right)),
            _ => (&feed.right, Ending::One(Side::Left)),
        };
        let amplitude = if feed.ending == other {
            0.0
        } else {
            to_single(line.amplitude())
        };
        Self {
            channel,
            amplitude,
            whole: to_index(whole),
            kernel: (fraction > NONE).then(|| Kernel::new(&table.kernel(fraction), amplitude)),
        }
    }

    /// Writes what arrives at the line's end for the last frames pushed.
    fn run(&self, history: &DelayRing, out: &mut [f32]) {
        let frames = out.len();
        if self.amplitude == 0.0 {
            out.fill(0.0);
        } else if let Some(kernel) = &self.kernel {
            kernel.run(history.stretch(self.channel, frames, self.whole, TAPS - 1), out);
        } else {
            let samples = history.stretch(self.channel, frames, self.whole + COMMON_DELAY, 0);
            for (out, sample) in out.iter_mut().zip(samples) {
                *out = sample * self.amplitude;
            }
        }
    }
}

/// Both delays, samples, shifted together by less than a sample to leave at most one of them a fraction. The shift is
/// inaudible, interpolation costs more than all the rest, and equal delays then need none.
fn moved(delays: [f64; 2]) -> [f64; 2] {
    let [left, right] = delays;
    let by = if left >= right.fract() {
        right.fract()
    } else {
        left
    };
    [left - by, right - by]
}

/// A feed, prepared for the audio thread.
#[derive(Clone, Copy, Debug)]
pub(super) struct Path {
    feed: Feed,
    lines: [LinePath; 2],
    high_passes: HighPasses<2>,
    low_passes: Option<LowPasses>,
}

impl Path {
    pub(super) fn new(feed: &Feed, rate_hz: f64, table: &FractionalTable) -> Self {
        let lines = [&feed.left, &feed.right];
        let delays = moved(lines.map(|line| line.delay_s.clamp(0.0, LONGEST_S) * rate_hz));
        Self {
            feed: *feed,
            lines: core::array::from_fn(|channel| LinePath::new(channel, feed, delays[channel], table)),
            high_passes: HighPasses::new(lines.map(|line| line.high_pass_hz), rate_hz),
            low_passes: feed.low_pass_hz.map(|corner| LowPasses::new(corner, rate_hz)),
        }
    }

    pub(super) fn feed(&self) -> &Feed {
        &self.feed
    }

    /// Writes both loudspeakers' signals for the last `count` frames pushed, at most a chunk.
    pub(super) fn run(&mut self, history: &DelayRing, count: usize, out: &mut Frames) {
        self.begin(history, count, out);
        if self.high_passes.are_there() {
            let [left, right] = out;
            filters::run(&mut self.high_passes, &mut left[..count], &mut right[..count]);
        }
        self.finish(count, out);
    }

    /// Runs two feeds for less than twice the cost of one.
    pub(super) fn run_both(paths: [&mut Self; 2], history: &DelayRing, count: usize, outs: [&mut Frames; 2]) {
        let ([one, two], [out, other]) = (paths, outs);
        one.begin(history, count, out);
        two.begin(history, count, other);
        let mut joined = one.high_passes.joined(&two.high_passes);
        filters::run_both(&mut joined, out, other, count);
        one.high_passes.resume(&joined, false);
        two.high_passes.resume(&joined, true);
        one.finish(count, out);
        two.finish(count, other);
    }

    /// Runs the lines, up to the high-passes.
    fn begin(&self, history: &DelayRing, count: usize, out: &mut Frames) {
        for (line, out) in self.lines.iter().zip(out) {
            line.run(history, &mut out[..count]);
        }
    }

    /// Runs everything from the lines' ends on.
    fn finish(&mut self, count: usize, out: &mut Frames) {
        let [left, right] = out;
        let (left, right) = (&mut left[..count], &mut right[..count]);
        self.end(left, right);
        if let Some(low_passes) = &mut self.low_passes {
            filters::run(low_passes, left, right);
        }
    }

    /// Combines the lines where they end.
    fn end(&self, left: &mut [f32], right: &mut [f32]) {
        match self.feed.ending {
            Ending::Stereo => {}
            Ending::One(Side::Left) => right.copy_from_slice(left),
            Ending::One(Side::Right) => left.copy_from_slice(right),
            Ending::Difference => both(left, right, |left, right| left - right),
            Ending::Sum(law) => {
                let factor = to_single(law.factor());
                both(left, right, |left, right| (left + right) * factor);
            }
        }
    }

    pub(super) fn settle(&mut self) {
        self.high_passes.settle();
        self.low_passes.iter_mut().for_each(LowPasses::settle);
    }
}

/// Sends the same signal to both loudspeakers.
fn both(left: &mut [f32], right: &mut [f32], of: impl Fn(f32, f32) -> f32) {
    for (left, right) in left.iter_mut().zip(right) {
        *left = of(*left, *right);
        *right = *left;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn delays_keep_their_difference_and_one_of_them_is_whole() {
        for delays in [
            [0.0, 0.0],
            [3.25, 0.0],
            [0.0, 3.25],
            [0.25, 0.75],
            [0.75, 0.25],
            [1440.0, 7.999],
            [5.5, 5.5],
        ] {
            let now = moved(delays);
            assert!(
                (now[0] - now[1] - (delays[0] - delays[1])).abs() < 1e-9,
                "{delays:?}: {now:?}"
            );
            let fractions = now.map(|delay: f64| (delay - delay.round()).abs());
            assert!(fractions[0].min(fractions[1]) < 1e-9, "{delays:?}: {now:?}");
            assert!(
                (0..2).all(|line| now[line] >= 0.0 && delays[line] - now[line] < 1.0),
                "{delays:?}: {now:?}"
            );
        }
    }

    #[test]
    fn two_feeds_at_once_are_the_two_of_them() {
        use crate::routing::line::{Line, Polarity};
        let line = |delay_s, corners| Line {
            delay_s,
            high_pass_hz: corners,
            gain_db: -2.0,
            ..Line::STRAIGHT
        };
        let feeds = [
            Feed {
                left: line(0.001_03, [80.0, 0.0]),
                right: line(0.0, [20.0, 150.0]),
                ..Feed::straight(Ending::Stereo)
            },
            Feed {
                right: Line {
                    polarity: Polarity::Flipped,
                    ..Line::STRAIGHT
                },
                low_pass_hz: Some(100.0),
                ..Feed::straight(Ending::Sum(crate::routing::feed::SumLaw::Average))
            },
        ];
        let table = FractionalTable::new();
        let alone = feeds.map(|feed| Path::new(&feed, 48_000.0, &table));
        let (mut alone, mut together) = (alone, alone);
        let mut history = DelayRing::new(48_000.0);
        for round in 0..40 {
            let sound = |of: usize| -> [f32; 64] {
                core::array::from_fn(|n| ((round * 64 + n) * of % 97) as f32 / 97.0 - 0.5)
            };
            history.push(&sound(31), &sound(57));
            let mut want = [[[0.0; 64]; 2]; 2];
            let mut got = want;
            for (path, out) in alone.iter_mut().zip(&mut want) {
                path.run(&history, 64, out);
            }
            let ([one, two], [first, second]) = (&mut together, &mut got);
            Path::run_both([one, two], &history, 64, [first, second]);
            assert_eq!(got, want, "chunk {round}");
            assert!(round < 2 || want.iter().flatten().flatten().any(|sample| *sample != 0.0));
        }
    }
}
