//! The cost of each host call on its thread, while a take with a side-chain is recorded.

use crate::{Outcome, text};
use std::time::Duration;
use sumproof_host::ParamId;
use sumproof_host::cost::costs;
use sumproof_host::setup::vst3_bundle;
use sumproof_host::vst3::{Library, OFFLINE, Plugin, REAL_TIME};
use sumproof_signals::Rng;

/// Index of the plugin with a side-chain in the library.
const SIDE_CHAIN: i32 = 1;
/// Most processor time that a call may take of its thread.
const LONGEST: Duration = Duration::from_millis(20);
/// Lowest, usual and highest sample rate of hosts, Hz.
const RATES_HZ: [f64; 3] = [8_000.0, 48_000.0, 192_000.0];
/// Length of a take, s.
const TAKE_S: f64 = 3.0;
const FRAMES: usize = 512;

/// The calls measured.
const CALLS: [&str; 6] = ["make", "set up", "process", "save", "load", "suspend"];

/// The longest time of each call, at one rate, per turn.
type Longest = [Vec<Duration>; CALLS.len()];

fn noted(longest: &mut [Duration; CALLS.len()], call: usize, cost: Duration) {
    longest[call] = longest[call].max(cost);
}

/// A dry of noise, and the pair made of it: the noise and a delayed copy.
fn block(rng: &mut Rng) -> ([Vec<f32>; 2], [Vec<f32>; 2]) {
    let dry: Vec<f32> = (0..FRAMES).map(|_| rng.between(-0.3, 0.3) as f32).collect();
    let pair = [1.0, -0.5].map(|gain| {
        (0..FRAMES)
            .map(|at| dry[at] + gain * dry[at.saturating_sub(100)])
            .collect()
    });
    (pair, [dry.clone(), dry])
}

/// One take, with everything that a host may do during it and at its end.
fn take(
    plugin: &Plugin,
    rate_hz: f64,
    mode: i32,
    longest: &mut [Duration; CALLS.len()],
) -> Result<(), String> {
    let mut rng = Rng::new(rate_hz as u64);
    let record = ParamId::from_key("rec").0;
    let (done, cost) = costs(|| plugin.setup(rate_hz, FRAMES as i32, mode));
    done.map_err(text)?;
    noted(longest, 1, cost);
    let player = plugin.player();
    let blocks = (TAKE_S * rate_hz) as usize / FRAMES;
    let mut changes = &[(record, 1.0)][..];
    for at in 0..blocks {
        let (mut pair, mut dry) = block(&mut rng);
        let (done, cost) = costs(|| player.block_beside(&mut pair, &mut dry, changes));
        done.map_err(text)?;
        noted(longest, 2, cost);
        changes = &[];
        if at % (blocks / 3) == blocks / 6 {
            let (saved, cost) = costs(|| plugin.save());
            saved.map_err(text)?;
            noted(longest, 3, cost);
        }
    }
    let (mut pair, mut dry) = block(&mut rng);
    let (done, cost) = costs(|| player.block_beside(&mut pair, &mut dry, &[(record, 0.0)]));
    done.map_err(text)?;
    noted(longest, 2, cost);
    let (saved, cost) = costs(|| plugin.save());
    noted(longest, 3, cost);
    let ((), cost) = costs(|| plugin.suspend());
    noted(longest, 5, cost);
    let (loaded, cost) = costs(|| saved.and_then(|saved| plugin.load(saved)));
    loaded.map_err(text)?;
    noted(longest, 4, cost);
    Ok(())
}

/// The median.
fn median(costs: &mut [Duration]) -> Duration {
    costs.sort_unstable();
    costs.get(costs.len() / 2).copied().unwrap_or_default()
}

fn at_rate(library: &Library, rate_hz: f64, turns: u32) -> Result<Longest, String> {
    let mut all = Longest::default();
    for _ in 0..turns {
        let mut longest = [Duration::ZERO; CALLS.len()];
        let (plugin, cost) = costs(|| library.make(SIDE_CHAIN));
        let plugin = plugin.map_err(text)?;
        noted(&mut longest, 0, cost);
        for mode in [REAL_TIME, OFFLINE] {
            take(&plugin, rate_hz, mode, &mut longest)?;
        }
        for (all, longest) in all.iter_mut().zip(longest) {
            all.push(longest);
        }
    }
    Ok(all)
}

/// The limit applies to the median over the turns of each call's longest time: a busy machine makes single calls
/// slower.
pub fn calls(turns: u32) -> Outcome {
    let library = Library::load(&vst3_bundle()).map_err(text)?;
    let (mut said, mut dear) = (Vec::new(), Vec::new());
    for rate_hz in RATES_HZ {
        let mut figures = Vec::new();
        for (call, mut costs) in CALLS.iter().zip(at_rate(&library, rate_hz, turns)?) {
            let median = median(&mut costs);
            let ms = |time: Duration| 1e3 * time.as_secs_f64();
            let most = costs.last().copied().unwrap_or_default();
            figures.push(format!("{call} {:.2} ({:.2})", ms(median), ms(most)));
            if median > LONGEST {
                dear.push(format!("{call} at {rate_hz:.0} Hz takes {:.1} ms", ms(median)));
            }
        }
        said.push(format!("{:.0} kHz: {}", rate_hz / 1e3, figures.join(", ")));
    }
    if dear.is_empty() {
        Ok(format!(
            "longest call in ms of processor time, the median turn (the worst): {}",
            said.join("; ")
        ))
    } else {
        Err(format!("{}; {}", dear.join(", "), said.join("; ")))
    }
}
