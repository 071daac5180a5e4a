//! Plugins created and removed, alone and many at once.

use crate::held::Held;
use crate::{Outcome, library, noise, plugin, same_bits, text};
use std::time::{Duration, Instant};
use sumproof_tests::host::setup::CLAP_ID;
use sumproof_tests::host::{Play, Plugin};

/// Loads and unloads.
pub fn load(turns: u32) -> Outcome {
    let audio = noise(1, 48_000.0, 2400);
    let round = || -> Result<(), String> {
        let library = library()?;
        let mut plugin = library.instantiate(CLAP_ID).map_err(text)?;
        same_bits(
            &plugin.play(&audio, &Play::default()).map_err(text)?,
            &audio,
            "loaded anew",
        )?;
        plugin.save_state().map(drop).map_err(text)
    };
    // First the allocations made once per process, and the growth of the allocator's arenas.
    for _ in 0..10 {
        round()?;
    }
    let before = Held::now();
    for _ in 0..turns {
        round()?;
    }
    // Measured: 16 kB after 200 turns.
    Held::now().grown_since(before, 64 + u64::from(turns) / 2)
}

/// Sixty-four plugins that play at the same time.
pub fn crowd(turns: u32) -> Outcome {
    const CROWD: usize = 64;
    let audio = noise(2, 48_000.0, 48_000);
    let library = library()?;
    let round = |time: Duration| -> Result<usize, String> {
        let mut crowd: Vec<Plugin> = (0..CROWD)
            .map(|_| library.instantiate(CLAP_ID).map_err(text))
            .collect::<Result<_, _>>()?;
        let playing: Vec<_> = crowd
            .iter_mut()
            .map(|one| one.start_realtime(audio.clone(), Play::default()).map_err(text))
            .collect::<Result<_, _>>()?;
        let begin = Instant::now();
        while begin.elapsed() < time || playing.iter().any(|one| one.played_samples() == 0) {
            for one in &mut crowd {
                one.answer();
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        let threads = Held::now().threads;
        for (one, running) in crowd.iter_mut().zip(playing) {
            let [left, _] = running.heard();
            if left.iter().all(|x| *x == 0.0) {
                return Err("one of them is silent".to_owned());
            }
            one.stop_realtime(running).map_err(text)?;
        }
        for one in &mut crowd {
            one.save_state().map_err(text)?;
        }
        let short = noise(3, 96_000.0, 3000);
        for one in &mut crowd {
            same_bits(
                &one.play(&short, &Play::default()).map_err(text)?,
                &short,
                "one of a crowd",
            )?;
        }
        Ok(threads)
    };
    round(Duration::from_millis(100))?;
    let before = Held::now();
    let mut threads = 0;
    for _ in 0..turns {
        threads = round(Duration::from_secs(1))?;
    }
    let grown = Held::now().grown_since(before, 256)?;
    // Another one can still be created.
    plugin()?.play(&audio, &Play::default()).map_err(text)?;
    Ok(format!("{threads} threads at most, {grown}"))
}
