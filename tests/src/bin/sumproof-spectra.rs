//! Prints a pair of signals and the core's spectra of them as JSON, for recomputation by another library
//! (`tests/hosts/spectra_scipy.py`).

use std::io::Write;

use serde_json::json;
use sumproof_core::spectrum::welch::spectrum_of;
use sumproof_signals::{PresetKind, PresetSpec, Stereo, amplitude, render, tones};

/// Rates, Hz, and levels, dB against the generated signal, at which the noise is compared.
const CASES: [(f64, f64); 6] = [
    (8_000.0, 0.0),
    (22_050.0, -80.0),
    (44_100.0, -40.0),
    (48_000.0, 0.0),
    (96_000.0, 20.0),
    (192_000.0, -20.0),
];
const BLOCK: usize = 1024;

fn main() -> std::io::Result<()> {
    let noise = Stereo::new(tones::white_noise(20_000, 0.2, 1), {
        let shared = tones::white_noise(20_000, 0.2, 1);
        let own = tones::white_noise(20_000, 0.1, 2);
        // Late, flipped and with a sound of its own added.
        (0..20_000)
            .map(|n: usize| own[n] - n.checked_sub(7).map_or(0.0, |n| 0.8 * shared[n]))
            .collect()
    });
    let guitar = render(&PresetSpec {
        seconds: 1.0,
        ..PresetSpec::new(PresetKind::TwoAmplifiers)
    })
    .full();
    let mut signals = vec![("guitar 48000 Hz, +0 dB".to_owned(), 48_000.0, guitar)];
    for (rate_hz, level_db) in CASES {
        let mut scaled = noise.clone();
        scaled.scale(amplitude(level_db));
        signals.push((format!("noise {rate_hz} Hz, {level_db:+} dB"), rate_hz, scaled));
    }
    let mut cases = Vec::new();
    for (name, rate_hz, pair) in signals {
        let (_, spectrum) = spectrum_of(&pair.left, &pair.right, rate_hz, BLOCK);
        cases.push(json!({
            "name": name,
            "rate_hz": rate_hz,
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
