//! Prints a pair of signals and the spectra that core makes of them, as JSON, for another library to compute again
//! (`tests/hosts/spectra_scipy.py`).

use std::io::Write;

use serde_json::json;
use sumproof_core::welch::spectrum_of;
use sumproof_signals::{PresetKind, PresetSpec, Stereo, render, tones};

const RATE_HZ: f64 = 48_000.0;
const BLOCK: usize = 1024;

fn main() -> std::io::Result<()> {
    let noise = Stereo::new(tones::white_noise(20_000, 0.2, 1), {
        let shared = tones::white_noise(20_000, 0.2, 1);
        let own = tones::white_noise(20_000, 0.1, 2);
        // Late, flipped and with a sound of its own.
        (0..20_000)
            .map(|n: usize| own[n] - n.checked_sub(7).map_or(0.0, |n| 0.8 * shared[n]))
            .collect()
    });
    let guitar = render(&PresetSpec {
        seconds: 1.0,
        ..PresetSpec::new(PresetKind::TwoAmplifiers)
    })
    .full();
    let mut cases = Vec::new();
    for (name, pair) in [("noise", noise), ("guitar", guitar)] {
        let (_, spectrum) = spectrum_of(&pair.left, &pair.right, RATE_HZ, BLOCK);
        cases.push(json!({
            "name": name,
            "rate_hz": RATE_HZ,
            "block": BLOCK,
            "left": pair.left,
            "right": pair.right,
            "ll": spectrum.ll,
            "rr": spectrum.rr,
            "lr_re": spectrum.lr.iter().map(|c| c.re).collect::<Vec<_>>(),
            "lr_im": spectrum.lr.iter().map(|c| c.im).collect::<Vec<_>>(),
        }));
    }
    let mut out = std::io::stdout().lock();
    writeln!(out, "{}", serde_json::Value::from(cases))
}
