//! The splits' errors on synthetic presets: shared by the accuracy table and its tests.

use sumproof_core::Complex;
use sumproof_core::dsp::db;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::spectrum::cross_spectrum::CrossSpectrum;
use sumproof_core::spectrum::grid::Grid;
use sumproof_core::spectrum::welch::spectrum_of;
use sumproof_core::split::side_chain::{Reference, SideChain};
use sumproof_core::split::two_pass::{PassAudio, TwoPass};
use sumproof_core::split::{Method, Split};
use sumproof_signals::truth::{MonoFeed, change_db, wet_dry_db};
use sumproof_signals::{LineFault, Preset, PresetKind, PresetSpec, Stereo};

/// Wet/dry ratios of the table, dB.
pub const WET_DB: [f64; 5] = [-20.0, -10.0, -6.0, 0.0, 6.0];

/// The figures compared with the truth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratios {
    /// Wet over dry in stereo, dB.
    pub stereo_db: f64,
    /// Wet over dry in a mono wedge, dB.
    pub mono_db: f64,
    /// Change of the dry in a mono wedge with one line flipped, dB.
    pub flipped_db: f64,
}

/// The average sum of a spectrum's channels, the right one flipped if `sign` is −1.
#[must_use]
pub fn mono_power(spectrum: &CrossSpectrum, grid: &Grid, sign: f64) -> f64 {
    let (left, right) = spectrum.powers();
    let cross: Complex<f64> = (0..grid.len()).map(|cell| spectrum.cross(grid, cell, 0.0)).sum();
    (left + right + 2.0 * sign * cross.re) / 4.0
}

/// The figures of a split.
#[must_use]
pub fn ratios(split: &Split, grid: &Grid) -> Ratios {
    let mono = |spectrum, sign| mono_power(spectrum, grid, sign);
    Ratios {
        stereo_db: db::from_power(split.wet.mean_power() / split.dry.mean_power()),
        mono_db: db::from_power(mono(&split.wet, 1.0) / mono(&split.dry, 1.0)),
        flipped_db: db::from_power(mono(&split.dry, -1.0) / split.dry.mean_power()),
    }
}

/// The true figures.
#[must_use]
pub fn truth(preset: &Preset) -> Ratios {
    let flipped = MonoFeed::wedge_with(LineFault::NONE, LineFault::FLIP);
    Ratios {
        stereo_db: preset.true_wet_dry_db(),
        mono_db: wet_dry_db(preset, &MonoFeed::wedge()),
        flipped_db: change_db(&preset.dry, &flipped, preset.rate_hz),
    }
}

/// Whether a preset of this kind has both a dry and a wet, so that there is a ratio.
#[must_use]
pub fn has_both(kind: PresetKind) -> bool {
    !matches!(kind, PresetKind::DryOnly | PresetKind::WetOnly)
}

/// The preset of one row of the table.
#[must_use]
pub fn spec(kind: PresetKind, wet_db: f64, seed: u64) -> PresetSpec {
    PresetSpec {
        wet_db,
        seed,
        ..PresetSpec::new(kind)
    }
}

fn narrowed(signal: &[f64]) -> Vec<f32> {
    signal.iter().map(|&x| x as f32).collect()
}

/// Left and right in single precision, scaled.
#[must_use]
pub fn narrowed_pair(pair: &Stereo, gain: f64) -> [Vec<f32>; 2] {
    [&pair.left, &pair.right].map(|channel| channel.iter().map(|&x| (x * gain) as f32).collect())
}

/// A pass for [`TwoPass`].
#[must_use]
pub fn pass([left, right]: &[Vec<f32>; 2], rate_hz: f64) -> PassAudio<'_> {
    PassAudio { rate_hz, left, right }
}

/// A take of the whole preset, dry and wet estimated.
///
/// # Panics
/// If the preset has no frames.
#[must_use]
pub fn heard(preset: &Preset) -> Take {
    let full = narrowed_pair(&preset.full(), 1.0);
    let mut monitor = Monitor::new(preset.rate_hz);
    monitor.start_take();
    monitor.push(&full[0], &full[1]);
    monitor
        .finish_take(preset.name.clone(), Pass::Full)
        .expect("a preset has frames")
}

/// Wet over dry in stereo, dB, of a split that is *given* the true dry's level difference and phase in every bin and
/// takes everything with that direction for dry. Its error is due to the chance interference of dry and wet; a split
/// that has to find the direction in the same recording can't be expected to do better.
#[must_use]
pub fn told_the_direction_db(preset: &Preset) -> f64 {
    let block_len = sumproof_core::spectrum::grid::block_len(preset.rate_hz);
    let spectrum = |pair: &Stereo| spectrum_of(&pair.left, &pair.right, preset.rate_hz, block_len).1;
    let (total, dry) = (spectrum(&preset.full()), spectrum(&preset.dry));
    let (mut found, mut both) = (0.0, 0.0);
    for k in 1..total.len() {
        let (q, cross) = (dry.ll[k] - dry.rr[k], 2.0 * dry.lr[k]);
        let length = (q * q + cross.norm_sqr()).sqrt();
        both += total.ll[k] + total.rr[k];
        if length > 0.0 {
            let along = (2.0 * total.lr[k] * cross.conj()).re;
            found += ((total.ll[k] - total.rr[k]) * q + along) / length;
        }
    }
    db::from_power((both - found) / found)
}

/// A method's figures for a preset.
///
/// The two-pass split gets a dry pass 3 dB too loud and a wet pass 2 dB too soft, as when a mix-type block is bypassed,
/// and the full pass to detect that.
///
/// # Panics
/// If the preset is silent.
#[must_use]
pub fn measured(method: Method, preset: &Preset) -> Ratios {
    let rate_hz = preset.rate_hz;
    let full = narrowed_pair(&preset.full(), 1.0);
    match method {
        Method::Estimated => {
            let take = heard(preset);
            ratios(&take.split, &take.grid())
        }
        Method::TwoPass => {
            let dry = narrowed_pair(&preset.dry, sumproof_signals::amplitude(3.0));
            let wet = narrowed_pair(&preset.wet, sumproof_signals::amplitude(-2.0));
            let found = TwoPass::of_audio(
                &pass(&dry, rate_hz),
                &pass(&wet, rate_hz),
                Some(&pass(&full, rate_hz)),
            )
            .expect("a preset with dry and wet");
            ratios(&found.split, &found.grid)
        }
        Method::SideChain => {
            let (reference, first, second) = match &preset.stereo_reference {
                Some(both) => (Reference::Stereo, narrowed(&both.left), narrowed(&both.right)),
                None => (Reference::Mono, narrowed(&preset.reference), Vec::new()),
            };
            let mut side_chain = SideChain::new(rate_hz, reference);
            side_chain.start_take();
            side_chain.push(&first, &second, &full[0], &full[1]);
            let found = side_chain
                .finish_take(preset.name.clone(), Pass::Full)
                .expect("a preset has frames");
            ratios(&found.split, side_chain.grid())
        }
    }
}

/// The folder that holds the real hall response (Debian's `guitarix-common`; GPL, so it is only used as a test's
/// input).
///
/// # Panics
/// When there is none.
#[must_use]
pub fn hall_folder() -> std::path::PathBuf {
    let by_hand = "cache/guitarix-common/usr/share/gx_head/sounds";
    let folder = std::env::var_os("SUMPROOF_GUITARIX").map_or_else(
        || {
            std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
                .join("../target")
                .join(by_hand)
        },
        Into::into,
    );
    assert!(
        folder.exists(),
        "{} is missing (SUMPROOF_GUITARIX names it): run `cargo xtask test`, which fetches it",
        folder.display()
    );
    folder
}
