//! Rates, blocks, automation, renderings, bypass.

use crate::{Outcome, noise, plugin, same_bits, text};
use sumproof_core::routing::feed::FeedId;
use sumproof_signals::Rng;
use sumproof_tests::host::{Blocks, Buffers, ParamEvent, Play, State};

const RATES_HZ: [f64; 11] = [
    8_000.0, 11_025.0, 16_000.0, 22_050.0, 32_000.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 176_400.0,
    192_000.0,
];

/// Random activation parameters each time.
pub fn rates(turns: u32) -> Outcome {
    let mut rng = Rng::new(5);
    let mut plugin = plugin()?;
    let mut seconds = 0.0;
    for turn in 0..turns {
        let rate_hz = RATES_HZ[rng.below(RATES_HZ.len())];
        let audio = noise(turn.into(), rate_hz, 1 + rng.below(20_000));
        let how = Play {
            blocks: match rng.below(3) {
                0 => Blocks::Fixed([1, 2, 17, 64, 512, 8192][rng.below(6)]),
                _ => Blocks::Random {
                    seed: rng.next_u64(),
                    max: 1 + rng.below(8192) as u32,
                },
            },
            buffers: if rng.below(2) == 0 {
                Buffers::Separate
            } else {
                Buffers::InPlace
            },
            offline: rng.below(2) == 0,
            ..Play::default()
        };
        let what = format!(
            "turn {turn}, {rate_hz} Hz, {:?}, offline {}",
            how.blocks, how.offline
        );
        same_bits(&plugin.play(&audio, &how).map_err(text)?, &audio, &what)?;
        if plugin.latency_samples() != 0 {
            return Err(format!("{what}: a latency of {}", plugin.latency_samples()));
        }
        seconds += audio.seconds();
    }
    Ok(format!("{seconds:.1} s of sound passed bit for bit"))
}

/// Automates every parameter at every sample.
pub fn automation(turns: u32) -> Outcome {
    const RATE_HZ: f64 = 48_000.0;
    const FRAMES: usize = 4800;
    let mut rng = Rng::new(6);
    let mut plugin = plugin()?;
    let params = plugin.params().map_err(text)?;
    let mut changes = 0;
    for turn in 0..turns {
        let audio = noise(turn.into(), RATE_HZ, FRAMES);
        let mut events = Vec::with_capacity(FRAMES * params.len());
        for at_sample in 0..FRAMES {
            for param in &params {
                let value = rng.between(param.min, param.max);
                events.push(ParamEvent {
                    at_sample,
                    param: param.id,
                    value: if param.stepped { value.round() } else { value },
                });
            }
        }
        changes += events.len();
        let how = Play {
            blocks: Blocks::Random {
                seed: turn.into(),
                max: 256,
            },
            offline: turn % 2 == 1,
            events,
            cut_at_events: turn % 10 == 9,
            ..Play::default()
        };
        let out = plugin.play(&audio, &how).map_err(text)?;
        if out
            .left
            .iter()
            .chain(&out.right)
            .any(|x| !x.is_finite() || x.abs() > 100.0)
        {
            return Err(format!("turn {turn}: what is heard is no sound"));
        }
    }
    // Resets everything, and leaves time for the fade and for finishing takes.
    let back = params
        .iter()
        .map(|param| ParamEvent {
            at_sample: 0,
            param: param.id,
            value: param.default,
        })
        .collect();
    let how = Play {
        events: back,
        ..Play::default()
    };
    plugin.play(&noise(1, RATE_HZ, FRAMES), &how).map_err(text)?;
    let audio = noise(2, RATE_HZ, FRAMES);
    same_bits(
        &plugin.play(&audio, &Play::default()).map_err(text)?,
        &audio,
        "all parameters back",
    )?;
    State::decode(&plugin.save_state().map_err(text)?)
        .and_then(|state| state.takes())
        .map_err(text)?;
    Ok(format!("{changes} changes of {} parameters", params.len()))
}

/// Offline and real-time output are equal, bit for bit, through every feed without a fault. (A fault is put on the line
/// where it does more harm; the analysis decides that, offline with every block, live at times that depend on the
/// clock.)
pub fn renders(turns: u32) -> Outcome {
    let faultless: Vec<(usize, FeedId)> = FeedId::ALL
        .into_iter()
        .enumerate()
        .filter(|(_, id)| !id.has_fault())
        .collect();
    for turn in 0..turns {
        let audio = noise(turn.into(), 44_100.0 + 3900.0 * f64::from(turn % 2), 24_000);
        for (number, id) in &faultless {
            let [offline, real_time] = [true, false].map(|offline| {
                let mut plugin = plugin()?;
                let how = Play {
                    offline,
                    blocks: Blocks::Fixed(480),
                    events: vec![
                        plugin.change(0, "r_del", "1.25 ms").map_err(text)?,
                        plugin.change(0, "l_hp", "30 Hz").map_err(text)?,
                        ParamEvent::step("audbnc", 1),
                        ParamEvent::step("feed", *number as u32),
                        ParamEvent::step("aud", 1),
                    ],
                    ..Play::default()
                };
                plugin.play(&audio, &how).map_err(text)
            });
            let offline = offline?;
            same_bits(
                &real_time?,
                &offline,
                &format!("{}, offline and in real time", id.id()),
            )?;
            if same_bits(&offline, &audio, "").is_ok() {
                return Err(format!("{}: nothing was done to the sound", id.id()));
            }
        }
    }
    Ok(format!("{} feeds, the same bits", faultless.len()))
}

/// Bypass and suspension while a take is recorded and a feed is auditioned.
pub fn suspend(turns: u32) -> Outcome {
    let mut rng = Rng::new(7);
    let mut plugin = plugin()?;
    let mut bypassed_turns = 0;
    for turn in 0..turns {
        let audio = noise(turn.into(), 48_000.0, 1 + rng.below(9000));
        let bypassed = rng.below(2) == 0;
        bypassed_turns += u32::from(bypassed);
        let how = Play {
            events: vec![
                ParamEvent::step("byp", bypassed.into()),
                ParamEvent::step("aud", u32::from(rng.below(3) == 0)),
                ParamEvent::step("rec", u32::from(rng.below(2) == 0)),
            ],
            blocks: Blocks::Random {
                seed: turn.into(),
                max: 600,
            },
            ..Play::default()
        };
        // Each run activates, starts, stops and deactivates, which is a suspension.
        let out = plugin.play(&audio, &how).map_err(text)?;
        if bypassed {
            same_bits(&out, &audio, &format!("turn {turn}, bypassed"))?;
        }
        if turn.is_multiple_of(8) {
            plugin.save_state().map_err(text)?;
        }
    }
    let off = [
        ParamEvent::step("byp", 0),
        ParamEvent::step("aud", 0),
        ParamEvent::step("rec", 0),
    ];
    let how = Play {
        events: off.to_vec(),
        ..Play::default()
    };
    let audio = noise(9, 48_000.0, 9000);
    plugin.play(&audio, &how).map_err(text)?;
    same_bits(
        &plugin.play(&audio, &Play::default()).map_err(text)?,
        &audio,
        "resumed",
    )?;
    let takes = State::decode(&plugin.save_state().map_err(text)?)
        .and_then(|state| state.takes())
        .map_err(text)?;
    Ok(format!("{bypassed_turns} bypassed, {} takes kept", takes.len()))
}
