//! Transitions between settings: never louder than requested, and without a step that the fade doesn't explain.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test chooses the numbers it converts"
)]

use core::f64::consts::TAU;

use sumproof_core::audition::{AuditionSettings, Auditioner, FADE_S, LONGEST_S};
use sumproof_core::dsp::db;
use sumproof_core::routing::feed::{Ending, Feed, FeedId, Side, SumLaw};
use sumproof_core::routing::line::Line;
use sumproof_core::score::rig::Rig;

/// Seeded random numbers, the same on every machine.
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % limit
    }
}

/// Slow sounds with small steps only: a larger step was made by a transition.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Sound {
    /// Above full scale.
    Over,
    /// Up to full scale.
    Hot,
    /// 40 dB below.
    Quiet,
    /// Occasional swells of 80 ms, up to full scale, in one channel or the other.
    Sparse,
}

impl Sound {
    const ALL: [Self; 4] = [Self::Over, Self::Hot, Self::Quiet, Self::Sparse];

    fn at(self, n: usize, rate_hz: f64) -> [f32; 2] {
        let t = n as f64 / rate_hz;
        let both = |amplitude: f64| {
            [
                amplitude * (TAU * 9.0 * t).sin(),
                amplitude * (TAU * 14.0 * t + 0.7).sin(),
            ]
        };
        let [left, right] = match self {
            Self::Over => both(1.7),
            Self::Hot => both(1.0),
            Self::Quiet => both(0.01),
            Self::Sparse => [0.27, 0.31].map(|every: f64| {
                let since = t % every;
                let swell = 0.5 - 0.5 * (TAU * 12.5 * since).cos();
                if since < 0.08 { swell } else { 0.0 }
            }),
        };
        [left as f32, right as f32]
    }

    /// The largest step between two frames.
    fn slope(self, rate_hz: f64) -> f64 {
        let per_second = match self {
            Self::Over => 1.7 * TAU * 14.0,
            Self::Hot => TAU * 14.0,
            Self::Quiet => 0.01 * TAU * 14.0,
            Self::Sparse => 0.5 * TAU * 12.5,
        };
        per_second / rate_hz
    }

    fn most(self) -> f64 {
        match self {
            Self::Over => 1.7,
            Self::Hot | Self::Sparse => 1.0,
            Self::Quiet => 0.01,
        }
    }
}

fn feeds() -> Vec<Option<Feed>> {
    let rig = Rig::default();
    let padded = Line {
        gain_db: 6.0,
        delay_s: 4.1e-3,
        ..Line::STRAIGHT
    };
    let louder = Feed {
        left: padded,
        ..Feed::straight(Ending::Sum(SumLaw::Average))
    };
    let cut = Feed {
        right: Line {
            gain_db: -20.0,
            high_pass_hz: [30.0, 0.0],
            ..Line::STRAIGHT
        },
        ..louder
    };
    vec![
        None,
        None,
        Some(Feed::straight(Ending::Sum(SumLaw::Unity))),
        Some(Feed::straight(Ending::Difference)),
        Some(Feed::straight(Ending::Stereo)),
        Some(rig.feed(FeedId::MonoSubs, Side::Left)),
        Some(louder),
        Some(cut),
    ]
}

/// The largest gain of these feeds.
const FEED_MOST: f64 = 2.0;

/// Settings by first frame; `None` is a reset.
type Script = Vec<(usize, Option<AuditionSettings>)>;

fn script(dice: &mut Dice, len: usize, rate_hz: f64) -> Script {
    let (feeds, matches) = (
        feeds(),
        [None, None, Some(12.0), Some(12.0), Some(4.0), Some(-8.0)],
    );
    let mut now = AuditionSettings::default();
    let mut script = vec![(0, Some(now))];
    let mut at = 0;
    loop {
        // From during a fade to long after it.
        let gaps_s = [0.002, 0.01, 0.03, 0.1, 0.25, 0.4];
        at += 1 + (gaps_s[dice.below(gaps_s.len())] * rate_hz) as usize + dice.below(97);
        if at >= len {
            return script;
        }
        match dice.below(12) {
            0 => {
                script.push((at, None));
                continue;
            }
            1..=4 => now.match_db = matches[dice.below(matches.len())],
            5..=9 => now.feed = feeds[dice.below(feeds.len())],
            _ => {
                now.match_db = matches[dice.below(matches.len())];
                now.feed = feeds[dice.below(feeds.len())];
            }
        }
        script.push((at, Some(now)));
    }
}

/// Plays a script, with its loudness matching or without any.
fn played(sound: Sound, script: &Script, len: usize, rate_hz: f64, matched: bool) -> [Vec<f32>; 2] {
    let frames = (0..len).map(|n| sound.at(n, rate_hz));
    let mut out: [Vec<f32>; 2] = frames.map(|[left, right]| (left, right)).unzip().into();
    let mut auditioner = Auditioner::new(rate_hz);
    let [left, right] = &mut out;
    for (index, (from, what)) in script.iter().enumerate() {
        let to = script.get(index + 1).map_or(len, |(next, _)| *next);
        match what {
            Some(settings) => auditioner.set(&AuditionSettings {
                match_db: settings.match_db.filter(|_| matched),
                ..*settings
            }),
            None => auditioner.reset(),
        }
        for (l, r) in left[*from..to]
            .chunks_mut(300)
            .zip(right[*from..to].chunks_mut(300))
        {
            auditioner.process(l, r);
        }
    }
    out
}

/// Whether loudness has been matched for longer than a fade, frame by frame.
fn is_matched(script: &Script, len: usize, rate_hz: f64) -> Vec<bool> {
    let settled = (FADE_S * rate_hz).ceil() as usize;
    let mut matched = vec![false; len];
    let (mut since, mut on) = (0, false);
    for (index, (from, what)) in script.iter().enumerate() {
        if let Some(settings) = what
            && settings.match_db.is_some() != on
        {
            (since, on) = (*from, settings.match_db.is_some());
        }
        let to = script.get(index + 1).map_or(len, |(next, _)| *next);
        matched[*from..to].fill(on);
        matched[*from..to.min(since + settled).max(*from)].fill(false);
    }
    matched
}

#[test]
fn nothing_is_louder_than_asked_and_no_step_is_larger_than_the_fade() {
    for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
        let len = (4.0 * rate_hz) as usize;
        for seed in 0..8 {
            let mut dice = Dice(seed);
            let script = script(&mut dice, len, rate_hz);
            for sound in Sound::ALL {
                check(sound, &script, len, rate_hz, seed);
            }
        }
    }
}

fn check(sound: Sound, script: &Script, len: usize, rate_hz: f64, seed: u64) {
    let heard = played(sound, script, len, rate_hz, true);
    let asked = played(sound, script, len, rate_hz, false);
    let is_matched = is_matched(script, len, rate_hz);
    // A raised cosine's cubic is steepest in its middle: half again its mean slope. The worst case is a fade between
    // the largest matched feed and its inverse.
    let gain = db::to_amplitude(12.0);
    let (slope, most) = (
        FEED_MOST * gain * sound.slope(rate_hz),
        (FEED_MOST * gain * sound.most()).min(FEED_MOST * sound.most().max(1.0)),
    );
    // A smoothed gain, and the release of the ceiling.
    let moving = most * (gain / (0.1 * rate_hz) + 1.0 / (0.2 * rate_hz));
    let explained = 2.0 * slope + 1.5 * 2.0 * most / (FADE_S * rate_hz) + moving;
    let resets: Vec<usize> = script
        .iter()
        .filter(|(_, what)| what.is_none())
        .map(|(at, _)| *at)
        .collect();
    for n in 0..len {
        let input = sound.at(n, rate_hz);
        for channel in 0..2 {
            let now = heard[channel][n];
            let through = input[channel].abs();
            let limit = if is_matched[n] {
                1.0f32.max(through)
            } else {
                1.0f32.max(through).max(asked[channel][n].abs())
            };
            assert!(
                now.abs() <= limit * (1.0 + 1e-6),
                "{sound:?}, {rate_hz} Hz, seed {seed}, frame {n}: {now} with {limit} asked for"
            );
            // The first frame after a reset has no predecessor.
            if n > 0 && resets.binary_search(&n).is_err() {
                let step = f64::from(now - heard[channel][n - 1]).abs();
                assert!(
                    step <= explained,
                    "{sound:?}, {rate_hz} Hz, seed {seed}, frame {n}: a step of {step}, {explained} is explained"
                );
            }
        }
    }
}

/// With loudness matching, no output sample exceeds full scale at all.
#[test]
fn with_loudness_matched_no_sample_is_above_full_scale() {
    let rate_hz = 48_000.0;
    let len = 400_000;
    for seed in 100..112 {
        let mut dice = Dice(seed);
        let mut script = script(&mut dice, len, rate_hz);
        for (_, settings) in &mut script {
            if let Some(settings) = settings {
                settings.match_db = Some(settings.match_db.unwrap_or(7.5));
            }
        }
        let noise: [Vec<f32>; 2] = core::array::from_fn(|_| {
            // Mostly silence, then full scale.
            let mut word = |limit| dice.below(limit);
            (0..len)
                .map(|n| match (n / 8000) % 3 {
                    0 => 0.0,
                    1 => word(2001) as f32 / 1000.0 - 1.0,
                    _ => (word(2001) as f32 / 1000.0 - 1.0) * 0.003,
                })
                .collect()
        });
        let [mut left, mut right] = noise;
        let mut auditioner = Auditioner::new(rate_hz);
        for (index, (from, what)) in script.iter().enumerate() {
            let to = script.get(index + 1).map_or(len, |(next, _)| *next);
            match what {
                Some(settings) => auditioner.set(settings),
                None => auditioner.reset(),
            }
            auditioner.process(&mut left[*from..to], &mut right[*from..to]);
        }
        let most = left
            .iter()
            .chain(&right)
            .fold(0.0f32, |most, sample| most.max(sample.abs()));
        assert!(most <= 1.0, "seed {seed}: {most}");
    }
}

/// A feed with a large match, followed by one without: it fades in at its own level, not at the other's.
#[test]
fn a_feed_comes_with_its_own_match() {
    let rate_hz = 48_000.0;
    let fade = (FADE_S * rate_hz) as usize + 128;
    let begun = (LONGEST_S * rate_hz) as usize + 1000 + fade;
    let sound = |n: usize| 0.05 * (TAU * 200.0 * n as f64 / rate_hz).sin() as f32;
    let len = begun + 48_000;
    let (mut left, mut right): (Vec<f32>, Vec<f32>) = (0..len).map(|n| (sound(n), sound(n))).unzip();
    let mut auditioner = Auditioner::new(rate_hz);
    let hearing = |ending, match_db| AuditionSettings {
        feed: Some(Feed::straight(ending)),
        match_db: Some(match_db),
    };
    // A line 20 dB below the other would have such a match; here it is simply set.
    auditioner.set(&hearing(Ending::One(Side::Left), 12.0));
    auditioner.process(&mut left[..begun + 24_000], &mut right[..begun + 24_000]);
    auditioner.set(&hearing(Ending::Stereo, 0.0));
    let rest = begun + 24_000;
    auditioner.process(&mut left[rest..], &mut right[rest..]);
    let most = |samples: &[f32]| samples.iter().fold(0.0f32, |most, sample| most.max(sample.abs()));
    assert!((most(&left[begun..rest]) / 0.05 - 3.98).abs() < 0.01);
    assert!(
        most(&left[rest + fade..]) < 0.0501,
        "{}",
        most(&left[rest + fade..])
    );
}
