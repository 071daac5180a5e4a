//! Everything that takes samples: any bits, any block sizes, any rate, settings that change in between.

use super::{Outcome, Target};
use sumproof_core::audition::{AuditionSettings, Auditioner};
use sumproof_core::dsp::samples;
use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::score::rig::Rig;
use sumproof_core::score::scorer::FeedScore;
use sumproof_core::session::meter::RunningCorrelation;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::reading::Reading;
use sumproof_core::session::span::Over;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::split::side_chain::{Reference, SideChain};
use sumproof_signals::Rng;

/// See the module. An input is a script: the first bytes choose rate and feed, then come steps of 8 bytes: kind,
/// length, and the source of the samples.
pub const TARGET: Target = Target {
    name: "analyser",
    about: "samples of any bits in blocks of any size through monitor, meter, audition and side-chain",
    seeds,
    words: &["\0\0\u{80}\u{7f}", "\0\0\u{a0}\u{7f}", "\u{1}\0\0\0"],
    damage: None,
    subject: || Box::new(run),
    longest: 1024,
    few: 60,
    fatal: false,
};

/// Bytes before the steps.
const HEAD: usize = 4;
/// Bytes of a step.
const STEP: usize = 8;
/// Most frames of a script: more would only take more time.
const MOST_FRAMES: usize = 60_000;

const RATES_HZ: [f64; 16] = [
    8_000.0,
    11_025.0,
    16_000.0,
    22_050.0,
    32_000.0,
    44_100.0,
    48_000.0,
    64_000.0,
    88_200.0,
    96_000.0,
    176_400.0,
    192_000.0,
    8_000.5,
    47_999.9,
    1.0,
    f64::NAN,
];

fn seeds() -> Vec<Vec<u8>> {
    let mut rng = Rng::new(11);
    (0..24u8)
        .map(|number| {
            let mut script = vec![number, number / 2, number, 0];
            for _ in 0..1 + rng.below(24) {
                script.extend_from_slice(&rng.next_u64().to_le_bytes());
            }
            script
        })
        .collect()
}

/// The content of a block.
fn block(step: &[u8], rng: &mut Rng) -> [Vec<f32>; 2] {
    let frames = 1 + usize::from(u16::from_le_bytes([step[1], step[2]])) % 8192;
    let level = 10.0f64.powf(-f64::from(step[3] % 8) + 1.0);
    let raw = f32::from_le_bytes([step[4], step[5], step[6], step[7]]);
    let mut channel = |shared: u64| -> Vec<f32> {
        let mut common = Rng::new(shared);
        (0..frames)
            .map(|frame| match step[0] % 10 {
                0 | 1 => (level * (common.between(-1.0, 1.0) + 0.3 * rng.between(-1.0, 1.0))) as f32,
                2 => f32::from_bits(rng.next_u64() as u32),
                3 => raw,
                4 => 0.0,
                5 => f32::from_bits(rng.next_u64() as u32 & 0x807f_ffff),
                6 if frame % 97 == 0 => raw,
                7 => (level * (frame as f64 * f64::from(step[4]) * 0.001).sin()) as f32,
                8 => {
                    if rng.below(64) == 0 {
                        f32::from_bits(rng.next_u64() as u32)
                    } else {
                        0.1
                    }
                }
                _ => (1000.0 * rng.between(-1.0, 1.0)) as f32,
            })
            .collect()
    };
    let shared = u64::from(step[7]);
    [channel(shared), channel(shared + u64::from(step[0] / 128))]
}

fn run(script: &[u8]) -> Outcome {
    let (head, steps) = script.split_at(script.len().min(HEAD));
    let [rate, feed, how, _] = <[u8; HEAD]>::try_from(head).unwrap_or_default();
    let rate_hz = RATES_HZ[usize::from(rate) % RATES_HZ.len()];
    let feed = FeedId::ALL[usize::from(feed) % FeedId::ALL.len()];
    let mut rng = Rng::new(u64::from(how));
    let mut blocks: Vec<[Vec<f32>; 2]> = Vec::new();
    let mut frames = 0;
    for step in steps.chunks_exact(STEP) {
        let next = block(step, &mut rng);
        frames += next[0].len();
        if frames > MOST_FRAMES {
            break;
        }
        blocks.push(next);
    }
    let take = monitored(rate_hz, feed, &blocks, how)?;
    metered(rate_hz, &blocks)?;
    auditioned(rate_hz, feed, &blocks)?;
    if how % 16 == 3 && rate_hz < 50_000.0 {
        beside(rate_hz, &blocks)?;
    }
    Ok(match take {
        Some(take) => format!(
            "a take, invalid {}, correlated {}",
            take.invalid_frames > 0,
            take.sums.correlation().is_some()
        ),
        None => "no take".to_owned(),
    })
}

/// Runs the monitor block by block with readings in between; the take must not depend on the blocks.
fn monitored(rate_hz: f64, feed: FeedId, blocks: &[[Vec<f32>; 2]], how: u8) -> Result<Option<Take>, String> {
    let mut monitor = Monitor::new(rate_hz);
    let mut reading = Reading::default();
    monitor.start_take();
    for (number, [left, right]) in blocks.iter().enumerate() {
        monitor.push(left, right);
        if how & 4 != 0 && number % 5 == 0 {
            monitor.set_over(Over::Seconds(f64::from(how) * 0.1));
            monitor.read(feed, &mut reading);
            is_sensible(&reading)?;
        }
    }
    monitor.read(feed, &mut reading);
    is_sensible(&reading)?;
    let take = monitor.finish_take("a".to_owned(), Pass::Full);
    let whole = [0, 1].map(|channel| {
        blocks
            .iter()
            .flat_map(|block| &block[channel])
            .copied()
            .collect::<Vec<f32>>()
    });
    let mut at_once = Monitor::for_takes(rate_hz);
    at_once.start_take();
    at_once.push(&whole[0], &whole[1]);
    let once = at_once.finish_take("a".to_owned(), Pass::Full);
    if !alike(once.as_ref(), take.as_ref()) {
        return Err(format!("in blocks: {take:?}\nat once: {once:?}"));
    }
    if let Some(take) = &take {
        let good = whole[0]
            .iter()
            .zip(&whole[1])
            .filter(|(l, r)| samples::is_valid(**l, **r))
            .count() as u64;
        if (take.sums.frames, take.invalid_frames) != (good, whole[0].len() as u64 - good) {
            return Err(format!("{good} good frames, counted as {:?}", take.sums));
        }
        for row in take.rows(&Rig::default(), 0.0) {
            if !row.score.as_ref().is_none_or(is_number) {
                return Err(format!("a score that is no number: {row:?}"));
            }
        }
    }
    Ok(take)
}

/// Whether two takes are equal except for the rounding of their sums in different order.
fn alike(one: Option<&Take>, other: Option<&Take>) -> bool {
    let (Some(one), Some(other)) = (one, other) else {
        return one.is_none() && other.is_none();
    };
    let near = |a: f64, b: f64, scale: f64| a == b || (a - b).abs() <= 1e-9 * scale;
    let (a, b) = (&one.sums, &other.sums);
    (a.frames, one.invalid_frames) == (b.frames, other.invalid_frames)
        && near(a.left, b.left, a.left)
        && near(a.right, b.right, a.right)
        && near(a.cross, b.cross, a.left + a.right)
        && near(
            one.split.total.mean_power(),
            other.split.total.mean_power(),
            one.split.total.mean_power(),
        )
}

fn is_sensible(reading: &Reading) -> Result<(), String> {
    let range = |value: Option<f64>| value.is_none_or(|value| (-1.0..=1.0).contains(&value));
    let bands = &reading.bands[..reading.band_count];
    let sensible = range(reading.correlation)
        && !reading.left_db.is_nan()
        && !reading.right_db.is_nan()
        && reading.wet_over_dry_db.is_none_or(|db| !db.is_nan())
        && bands.iter().all(|band| {
            range(band.correlation.map(f64::from))
                && band.coherence.is_none_or(|share| (0.0..=1.0).contains(&share))
                && !band.level_db.is_nan()
        })
        && reading
            .rows
            .iter()
            .all(|row| row.score.as_ref().is_none_or(is_number));
    if sensible {
        Ok(())
    } else {
        Err(format!(
            "a reading that is no number: correlation {:?}, left {}, right {}, wet over dry {:?}, bands {bands:?}, rows {:?}",
            reading.correlation, reading.left_db, reading.right_db, reading.wet_over_dry_db, reading.rows
        ))
    }
}

/// Whether no figure of a feed is NaN.
pub(super) fn is_number(score: &FeedScore) -> bool {
    let parts = [score.dry_db, score.wet_db, score.balance_shift_db, score.tone_db];
    !score.total_db.is_nan() && !score.makeup_db.is_nan() && parts.iter().flatten().all(|db| !db.is_nan())
}

fn metered(rate_hz: f64, blocks: &[[Vec<f32>; 2]]) -> Result<(), String> {
    let rate_hz = if rate_hz.is_nan() {
        48_000.0
    } else {
        rate_hz.max(1000.0)
    };
    let mut meter = RunningCorrelation::new(rate_hz, 0.3);
    for [left, right] in blocks {
        meter.push(left, right);
        let (left, right) = meter.powers();
        let correlation = meter.correlation();
        if !left.is_finite() || !right.is_finite() || correlation.is_some_and(|c| !(-1.0..=1.0).contains(&c))
        {
            return Err(format!("the meter reads {left}, {right}, {correlation:?}"));
        }
    }
    Ok(())
}

/// The audition's output must always be finite, and afterwards the sound must pass bit for bit.
fn auditioned(rate_hz: f64, feed: FeedId, blocks: &[[Vec<f32>; 2]]) -> Result<(), String> {
    let rate_hz = if rate_hz.is_nan() { 48_000.0 } else { rate_hz };
    let rig = Rig::default();
    let mut auditioner = Auditioner::new(rate_hz);
    let wanted = AuditionSettings {
        feed: Some(rig.feed(feed, Side::Right)),
        match_db: Some(3.0),
    };
    auditioner.set(&wanted);
    // Once the fade is over, no invalid input passes through a feed.
    let mut settled = 0;
    for [left, right] in blocks {
        let (mut l, mut r) = (left.clone(), right.clone());
        auditioner.process(&mut l, &mut r);
        settled += l.len();
        let faded = settled.saturating_sub(l.len()) as f64 > 0.1 * rate_hz.max(1000.0);
        if faded && l.iter().chain(&r).any(|x| !x.is_finite()) {
            return Err(format!(
                "{feed:?} is heard as {:?}",
                l.iter().chain(&r).find(|x| !x.is_finite())
            ));
        }
    }
    auditioner.set(&AuditionSettings::default());
    let mut quiet = [vec![0.0; 40_000], vec![0.0; 40_000]];
    let [l, r] = &mut quiet;
    auditioner.process(l, r);
    for [left, right] in blocks {
        let (mut l, mut r) = (left.clone(), right.clone());
        auditioner.process(&mut l, &mut r);
        let same = |a: &[f32], b: &[f32]| a.iter().zip(b).all(|(a, b)| a.to_bits() == b.to_bits());
        if !auditioner.is_idle() || !same(&l, left) || !same(&r, right) {
            return Err("after the audition the sound does not pass bit for bit".to_owned());
        }
    }
    Ok(())
}

/// Runs the side-chain with the same sound as its reference.
fn beside(rate_hz: f64, blocks: &[[Vec<f32>; 2]]) -> Result<(), String> {
    let mut side_chain = SideChain::new(rate_hz, Reference::Mono);
    side_chain.start_take();
    for [left, right] in blocks {
        side_chain.push(left, &[], left, right);
        side_chain.work(2);
    }
    let _ = side_chain.state();
    if let Some(found) = side_chain.finish_take("a".to_owned(), Pass::Full) {
        let share = found.state.unexplained;
        if !(0.0..=1.0).contains(&share) || found.split.wet_over_dry_db().is_some_and(f64::is_nan) {
            return Err(format!("the side-chain says {:?}", found.state));
        }
    }
    Ok(())
}
