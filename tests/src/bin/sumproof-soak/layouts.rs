//! Busses that the plugin does not offer.

use crate::{Outcome, noise, plugin, same_bits, text};
use sumproof_tests::host::{Blocks, Play};

/// CLAP has no way to ask for a bus that a plugin doesn't list; a host that passes others all the same must not cause a
/// crash.
pub fn layouts(turns: u32) -> Outcome {
    let audio = noise(4, 48_000.0, 10_000);
    let mut plugin = plugin()?;
    let ports = plugin.input_ports();
    if ports.len() != 1 || ports[0].1 != 2 {
        return Err(format!("the plain plugin offers {ports:?}, not one stereo port"));
    }
    for turn in 0..turns {
        for channels in [1, 0] {
            let how = Play {
                channels,
                blocks: Blocks::Random {
                    seed: turn.into(),
                    max: 700,
                },
                ..Play::default()
            };
            // It may play or refuse; its output must be finite.
            if let Ok(out) = plugin.play(&audio, &how)
                && channels == 1
                && out.left.iter().any(|x| !x.is_finite())
            {
                return Err("on one channel it gives what is no number".to_owned());
            }
        }
        let out = plugin.play(&audio, &Play::default()).map_err(text)?;
        same_bits(
            &out,
            &audio,
            "in stereo, after a host that handed over other busses",
        )?;
    }
    Ok("one stereo port is offered; with none or one channel it goes on".to_owned())
}
