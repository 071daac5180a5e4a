//! Recordings of the line check's signal, spoilt in the ways of phones and rooms and in impossible ways.

use super::{Outcome, Target, one_line};
use serde::de::IgnoredAny;
use std::sync::OnceLock;
use sumproof_core::line_check::{Findings, Generator, Mode, Plan, SignalSettings, read};
use sumproof_report::line_check::{html, json, save, text};
use sumproof_signals::Rng;

/// See the module. An input is a script: the first bytes choose signal and rate, then come steps of 8 bytes: action,
/// position, length, amount.
pub const TARGET: Target = Target {
    name: "linecheck",
    about: "recordings of the test signal, spoilt, through the line check's reader",
    seeds,
    words: &[],
    damage: None,
    subject: || Box::new(run),
    longest: 400,
    few: 12,
    fatal: false,
};

const HEAD: usize = 4;
const STEP: usize = 8;
const RATES_HZ: [f64; 8] = [
    44_100.0, 48_000.0, 32_000.0, 22_050.0, 16_000.0, 8_000.0, 96_000.0, 37_800.0,
];

fn seeds() -> Vec<Vec<u8>> {
    let mut rng = Rng::new(3);
    (0..12u8)
        .map(|number| {
            let mut script = vec![number % 6, number, 0, 0];
            for _ in 0..rng.below(6) {
                script.extend_from_slice(&rng.next_u64().to_le_bytes());
            }
            script
        })
        .collect()
}

fn plan(mono: bool) -> Plan {
    let mode = if mono {
        Mode::Mono { pause_s: 2.0 }
    } else {
        Mode::Stereo
    };
    let settings = SignalSettings {
        mode,
        // The shortest possible: the test is about reading bad sound.
        sweep_s: 1.0,
        ..SignalSettings::default()
    };
    Plan::new(settings).expect("these settings make a signal")
}

/// The signal of a mode at a rate, computed once.
fn signal(mono: bool, rate: usize) -> &'static [Vec<f32>; 2] {
    static MADE: [OnceLock<[Vec<f32>; 2]>; 16] = [const { OnceLock::new() }; 16];
    MADE[2 * rate + usize::from(mono)].get_or_init(|| {
        let mut generator = Generator::new(plan(mono), RATES_HZ[rate]);
        let frames = generator.frames() as usize;
        let mut made = [vec![0.0; frames], vec![0.0; frames]];
        let [left, right] = &mut made;
        generator.fill(left, right);
        made
    })
}

fn run(script: &[u8]) -> Outcome {
    let (head, steps) = script.split_at(script.len().min(HEAD));
    let [rate, how, seed, _] = <[u8; HEAD]>::try_from(head).unwrap_or_default();
    let rate = usize::from(rate) % RATES_HZ.len();
    let mono = how & 1 != 0;
    let [left, right] = signal(mono, rate);
    let add = |weights: [f32; 2]| {
        left.iter()
            .zip(right)
            .map(|(l, r)| weights[0] * l + weights[1] * r)
            .collect()
    };
    let mut channels: Vec<Vec<f32>> = match how / 2 % 6 {
        0 => vec![add([0.5, 0.5])],
        1 => vec![add([0.5, -0.5])],
        2 => vec![add([1.0, 0.0])],
        3 => vec![left.clone(), right.clone()],
        4 => vec![add([0.6, 0.3]), add([0.4, 0.5])],
        _ => vec![left.clone(), right.clone(), add([1.0, 1.0])],
    };
    let mut rng = Rng::new(u64::from(seed));
    for step in steps.chunks_exact(STEP) {
        for channel in &mut channels {
            spoil(channel, step, &mut rng);
        }
    }
    let heard: Vec<&[f32]> = channels.iter().map(Vec::as_slice).collect();
    match read(&heard, RATES_HZ[rate], &plan(mono)) {
        Ok(finding) => is_sensible(&finding),
        Err(failure) => {
            let said = failure.to_string();
            one_line(&said)?;
            Ok(said)
        }
    }
}

fn spoil(channel: &mut Vec<f32>, step: &[u8], rng: &mut Rng) {
    if channel.is_empty() {
        return;
    }
    let share = f64::from(u16::from_le_bytes([step[1], step[2]])) / 65_536.0;
    let at = (share * channel.len() as f64) as usize;
    let most = channel.len() - at;
    let length = (f64::from(step[3]) / 255.0).powi(3) * most as f64;
    let end = at + (length as usize).clamp(1, most);
    let amount = f32::from(step[4]) / 64.0;
    let odd = f32::from_le_bytes([step[4], step[5], step[6], step[7]]);
    match step[0] % 16 {
        0 => channel[at..end].fill(0.0),
        1 => drop(channel.drain(at..end)),
        2 => {
            let silence = vec![0.0; end - at];
            channel.splice(at..at, silence);
        }
        3 => channel[at..end].iter_mut().for_each(|x| *x *= amount),
        4 => channel[at..end].iter_mut().for_each(|x| *x = -*x),
        5 => channel[at..end]
            .iter_mut()
            .for_each(|x| *x = x.clamp(-0.02, 0.02)),
        6 => channel
            .iter_mut()
            .for_each(|x| *x += 0.1 * amount * rng.between(-1.0, 1.0) as f32),
        7 => channel.truncate(at.max(1)),
        8 => drop(channel.drain(..at)),
        9 => channel[at..end]
            .iter_mut()
            .for_each(|x| *x = f32::from_bits(rng.next_u64() as u32)),
        10 => channel[at] = odd,
        11 => channel[at..end].reverse(),
        12 => {
            // A different clock: drops a sample at regular intervals.
            let every = 200 + 100 * usize::from(step[5]);
            let mut frame = 0;
            channel.retain(|_| {
                frame += 1;
                frame % every != 0
            });
        }
        13 => {
            let copy = channel[at..end].to_vec();
            for (into, from) in channel.iter_mut().zip(copy) {
                *into += from;
            }
        }
        14 => {
            // A first-order low-pass.
            let mut state = 0.0;
            for x in channel.iter_mut() {
                state += (*x - state) * (amount / 4.0).clamp(0.01, 1.0);
                *x = state;
            }
        }
        _ => channel
            .iter_mut()
            .for_each(|x| *x = (*x * 128.0).round() / 128.0 + 0.01 * amount),
    }
}

fn is_sensible(finding: &Findings) -> Outcome {
    let said = text(finding, "a.wav", sumproof_report::Form::default());
    let page = html(finding, "a.wav");
    let document = json(finding, "a.wav");
    for (what, text) in [("text", &said), ("page", &page), ("JSON", &document)] {
        if text.contains("NaN") || text.contains("inf ") {
            return Err(format!("the {what} has what is no number: {text}"));
        }
    }
    serde_json::from_str::<IgnoredAny>(&document).map_err(|error| format!("{error} in {document}"))?;
    if let Some(pair) = &finding.pair {
        let numbers = [pair.delay_s, pair.level_db]
            .into_iter()
            .filter_map(|answer| answer.known());
        for number in numbers {
            if !number.value.is_finite() || number.within.is_nan() || number.within < 0.0 {
                return Err(format!("a finding that is no number: {number:?}"));
            }
        }
    }
    if let Some(feed) = finding.own_feed() {
        if feed.left.clamped() != feed.left || feed.right.clamped() != feed.right {
            return Err(format!("a feed out of range: {feed:?}"));
        }
        save("", finding, "a").map_err(|error| format!("the feed it found can't be saved: {error}"))?;
    }
    Ok(format!("heard {:?}", finding.feeding.heard.value()))
}
