//! The audition against slow references, for any block sizes and any content.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "a test chooses the numbers it converts"
)]

use sumproof_core::audition::{AuditionSettings, Auditioner};
use sumproof_core::dsp::db;
use sumproof_core::routing::feed::{Ending, Feed, FeedId, Side, SumLaw};
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_core::score::rig::Rig;

const RATE_HZ: f64 = 48_000.0;

fn noise(seed: u64, len: usize) -> Vec<f32> {
    let mut word = seed;
    (0..len)
        .map(|_| {
            word = word
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((word >> 40) as f32 / (1u64 << 24) as f32 - 0.5) * 0.8
        })
        .collect()
}

/// A feed with every setting used in both lines.
fn feed(ending: Ending) -> Feed {
    Feed {
        left: Line {
            polarity: Polarity::Flipped,
            gain_db: -3.0,
            delay_s: 9.31e-3,
            high_pass_hz: [30.0, 60.0],
            ..Line::STRAIGHT
        },
        right: Line {
            gain_db: 2.0,
            delay_s: 0.77e-3,
            high_pass_hz: [0.0, 20.0],
            ..Line::STRAIGHT
        },
        ..Feed::straight(ending)
    }
}

/// Settings by frame.
type Script = [(usize, AuditionSettings)];

/// Plays a script in blocks of at most `block` frames.
fn played(left: &[f32], right: &[f32], script: &Script, block: usize) -> [Vec<f32>; 2] {
    let mut auditioner = Auditioner::new(RATE_HZ);
    let mut out = [left.to_vec(), right.to_vec()];
    let [left, right] = &mut out;
    for (index, (from, settings)) in script.iter().enumerate() {
        let to = script.get(index + 1).map_or(left.len(), |(next, _)| *next);
        auditioner.set(settings);
        for (l, r) in left[*from..to]
            .chunks_mut(block)
            .zip(right[*from..to].chunks_mut(block))
        {
            auditioner.process(l, r);
        }
    }
    out
}

fn hearing(feed: Feed, match_db: Option<f64>) -> AuditionSettings {
    AuditionSettings {
        feed: Some(feed),
        match_db,
    }
}

/// A script: on, other feeds, matched up to the ceiling, off again.
fn eventful() -> Vec<(usize, AuditionSettings)> {
    let rig = Rig::default();
    vec![
        (0, hearing(feed(Ending::Sum(SumLaw::Average)), None)),
        (5_000, hearing(feed(Ending::Stereo), Some(12.0))),
        // Before the previous fade is over.
        (
            5_111,
            hearing(rig.feed(FeedId::MonoSubsLineFlipped, Side::Left), Some(12.0)),
        ),
        (9_000, hearing(feed(Ending::Difference), Some(-3.0))),
        (12_000, AuditionSettings::default()),
        (15_000, hearing(feed(Ending::One(Side::Right)), Some(1.0))),
    ]
}

fn bits(channels: &[Vec<f32>; 2]) -> Vec<u32> {
    channels.iter().flatten().map(|sample| sample.to_bits()).collect()
}

#[test]
fn blocks_change_nothing() {
    let (left, right) = (noise(1, 20_000), noise(2, 20_000));
    let whole = played(&left, &right, &eventful(), 8192);
    assert_ne!(whole[0], left);
    for block in [1, 7, 63, 64, 65, 1000] {
        assert!(
            bits(&played(&left, &right, &eventful(), block)) == bits(&whole),
            "blocks of {block}"
        );
    }
}

#[test]
fn invalid_stays_in_its_own_frames() {
    let (left, right) = (noise(3, 20_000), noise(4, 20_000));
    let (mut bad, mut silent) = ([left.clone(), right.clone()], [left, right]);
    let invalid = [
        f32::NAN,
        f32::INFINITY,
        f32::NEG_INFINITY,
        1e30,
        -1e30,
        f32::MAX,
        1000.1,
    ];
    let mut hurt = vec![false; 20_000];
    // During the fade-in, in feeds, in a fade between them, under the ceiling, in the fade-out, after it, and a whole
    // block.
    for at in [1_700, 3_000, 5_050, 5_130, 7_000, 12_100, 13_500, 16_000] {
        let count = if at == 7_000 { 512 } else { invalid.len() };
        for index in 0..count {
            bad[index % 2][at + index] = invalid[index % invalid.len()];
            silent[index % 2][at + index] = 0.0;
            hurt[at + index] = true;
        }
    }
    for value in [1, 64, 8192] {
        let got = played(&bad[0], &bad[1], &eventful(), value);
        let want = played(&silent[0], &silent[1], &eventful(), value);
        for (channel, (got, want)) in got.iter().zip(&want).enumerate() {
            for (at, (got, want)) in got.iter().zip(want).enumerate() {
                assert!(
                    got.to_bits() == want.to_bits() || hurt[at],
                    "channel {channel}, frame {at}: {got} instead of {want}"
                );
            }
        }
    }
}

/// The first-order high-pass by its difference equation.
fn high_passed(signal: &mut [f64], corner_hz: f64) {
    if corner_hz == 0.0 {
        return;
    }
    let k = (core::f64::consts::PI * corner_hz / RATE_HZ).tan();
    let (mut x1, mut y1) = (0.0, 0.0);
    for sample in signal {
        let y = (*sample - x1) / (1.0 + k) + (1.0 - k) / (1.0 + k) * y1;
        (x1, y1) = (*sample, y);
        *sample = y;
    }
}

/// A line in double precision: its delay by a windowed sinc four times as long as the audition's, with the audition's
/// latency.
fn through(line: &Line, channel: &[f32]) -> Vec<f64> {
    let delay = line.delay_s * RATE_HZ + Auditioner::common_delay() as f64;
    let reach = 128;
    let mut out: Vec<f64> = (0..channel.len() as i64)
        .map(|n| {
            let middle = (n as f64 - delay).round() as i64;
            let near = (middle - reach..=middle + reach).filter(|&k| (0..channel.len() as i64).contains(&k));
            near.map(|k| {
                let t = n as f64 - delay - k as f64;
                let sinc = if t == 0.0 {
                    1.0
                } else {
                    (core::f64::consts::PI * t).sin() / (core::f64::consts::PI * t)
                };
                let window = (core::f64::consts::PI * t / (2.0 * reach as f64 + 2.0))
                    .cos()
                    .powi(2);
                f64::from(channel[k as usize]) * sinc * window
            })
            .sum::<f64>()
                * line.amplitude()
        })
        .collect();
    line.high_pass_hz
        .iter()
        .for_each(|&corner| high_passed(&mut out, corner));
    out
}

/// The output equals the reference over a settled stretch, to 60 dB below the sound.
#[test]
fn a_feed_is_both_lines_as_they_are_defined() {
    let len = 24_000;
    // Up to 12 kHz: there the audition's interpolation is practically exact, and the comparison tests everything else.
    let smooth = |seed| {
        let white = noise(seed, len + 3);
        (0..len)
            .map(|n| (white[n] + 3.0 * white[n + 1] + 3.0 * white[n + 2] + white[n + 3]) / 8.0)
            .collect::<Vec<f32>>()
    };
    let (left, right) = (smooth(5), smooth(6));
    for ending in [
        Ending::Stereo,
        Ending::Sum(SumLaw::Minus3Db),
        Ending::Difference,
        Ending::One(Side::Left),
        Ending::One(Side::Right),
    ] {
        let mut wanted = feed(ending);
        // Both lines may be shifted together by less than a sample; with these delays the shift is known.
        wanted.left.delay_s = 447.25 / RATE_HZ;
        wanted.right.delay_s = 37.5 / RATE_HZ;
        let heard = played(&left, &right, &[(0, hearing(wanted, None))], 64);
        let mut moved = wanted;
        moved.left.delay_s = 446.75 / RATE_HZ;
        moved.right.delay_s = 37.0 / RATE_HZ;
        let lines = [through(&moved.left, &left), through(&moved.right, &right)];
        let reference = |side: usize, n: usize| match ending {
            Ending::Stereo => lines[side][n],
            Ending::Sum(law) => law.factor() * (lines[0][n] + lines[1][n]),
            Ending::Difference => lines[0][n] - lines[1][n],
            Ending::One(one) => lines[usize::from(one == Side::Right)][n],
        };
        for (side, heard) in heard.iter().enumerate() {
            let (mut sound, mut error) = (0.0, 0.0);
            // The feed begins with a full history, so its filters start later than the reference's.
            for (n, &heard) in heard.iter().enumerate().take(len - 200).skip(12_000) {
                let want = reference(side, n);
                sound += want * want;
                error += (f64::from(heard) - want).powi(2);
            }
            let below_db = db::from_power(error / sound);
            assert!(below_db < -60.0, "{ending:?}, side {side}: {below_db:.1} dB");
        }
    }
}
