//! A real guitar slide through the response of a real hall: a mix with known parts.
//!
//! Debian `sonic-pi-samples` guit_e_slide.flac (CC0 by its own stanza in the package's copyright file) as the dry,
//! Debian `guitarix-common` greathall.wav resampled from 48 to 44.1 kHz as the hall. The wet's change in mono, −4.617
//! dB, was computed by numpy 2.4.6 and scipy 1.17.1 (`resample_poly(147, 160)`), outside of this project's code.
use std::fs::File;
use std::path::Path;

use sumproof_core::dsp::db;
use sumproof_core::session::passes::SideChainTake;
use sumproof_core::session::take::Pass;
use sumproof_core::spectrum::grid::Grid;
use sumproof_core::split::Split;
use sumproof_core::split::side_chain::{Reference, SideChain};
use sumproof_core::split::two_pass::TwoPass;
use sumproof_signals::{Stereo, convolve, mean_power};
use sumproof_tests::methods::{hall_folder, mono_power, narrowed_pair, pass};
use symphonia::core::codecs::audio::AudioDecoderOptions;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, TrackType};
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;

const RATE_HZ: f64 = 44_100.0;
/// The wet's change in mono, dB.
const WET_CHANGE_DB: f64 = -4.617;

/// A file's channels.
fn decoded(path: &Path) -> Vec<Vec<f64>> {
    let file = File::open(path).unwrap_or_else(|e| panic!("{}: {e}; run `cargo xtask test`", path.display()));
    let stream = MediaSourceStream::new(Box::new(file), Default::default());
    let mut reader = symphonia::default::get_probe()
        .probe(
            &Hint::new(),
            stream,
            FormatOptions::default(),
            MetadataOptions::default(),
        )
        .unwrap();
    let track = reader.default_track(TrackType::Audio).unwrap();
    let parameters = track.codec_params.as_ref().unwrap().audio().unwrap();
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(parameters, &AudioDecoderOptions::default())
        .unwrap();
    let mut channels = Vec::new();
    let mut samples: Vec<f32> = Vec::new();
    while let Ok(Some(packet)) = reader.next_packet() {
        let sound = decoder.decode(&packet).unwrap();
        let count = sound.spec().channels().count();
        channels.resize(count, Vec::new());
        sound.copy_to_vec_interleaved(&mut samples);
        for frame in samples.chunks_exact(count) {
            for (channel, &sample) in channels.iter_mut().zip(frame) {
                channel.push(f64::from(sample));
            }
        }
    }
    channels
}

fn bessel_i0(x: f64) -> f64 {
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..100 {
        term *= x * x / 4.0 / f64::from(k * k);
        sum += term;
    }
    sum
}

/// From 48 to 44.1 kHz, like scipy's `resample_poly(x, 147, 160)`: a sinc with its cut-off at half the lower rate under
/// a Kaiser window of β = 5 over ten lower-rate samples to either side, gain 1 at 0 Hz, no delay.
fn resampled(signal: &[f64]) -> Vec<f64> {
    const UP: usize = 147;
    const DOWN: usize = 160;
    const HALF: usize = 10 * DOWN;
    let mut filter: Vec<f64> = (0..=2 * HALF)
        .map(|i| {
            let t = i as f64 - HALF as f64;
            let x = std::f64::consts::PI * t / DOWN as f64;
            let sinc = if t == 0.0 { 1.0 } else { x.sin() / x };
            sinc * bessel_i0(5.0 * (1.0 - (t / HALF as f64).powi(2)).max(0.0).sqrt())
        })
        .collect();
    let sum: f64 = filter.iter().sum();
    filter.iter_mut().for_each(|tap| *tap *= UP as f64 / sum);
    (0..(signal.len() * UP).div_ceil(DOWN))
        .map(|m| {
            let middle = m * DOWN + HALF;
            let first = (m * DOWN).saturating_sub(HALF).div_ceil(UP);
            let last = (middle / UP).min(signal.len() - 1);
            (first..=last)
                .filter_map(|n| Some(signal[n] * filter.get(middle - n * UP)?))
                .sum()
        })
        .collect()
}

struct Mix {
    reference: Vec<f64>,
    dry: Stereo,
    wet: Stereo,
    /// The part of the wet later than 20 ms after the dry.
    late: Stereo,
    /// Share of the response's energy within 20 ms.
    early_share: f64,
}

/// Dry and wet at equal power, with the hall delayed by `pre_delay_s`; as long as the tail.
fn mix(pre_delay_s: f64) -> Mix {
    let samples = sumproof_tests::host::setup::samples();
    let guitar = decoded(&samples.join("guit_e_slide.flac")).remove(0);
    let hall = decoded(&hall_folder().join("greathall.wav"));
    let silence = vec![0.0; (pre_delay_s * RATE_HZ).round() as usize];
    let response = |channel: usize| [silence.clone(), resampled(&hall[channel])].concat();
    let responses = [response(0), response(1)];
    let split = (0.020 * RATE_HZ) as usize;
    let late = responses.clone().map(|mut response| {
        response[..split].fill(0.0);
        response
    });
    let energy = |pair: &[Vec<f64>; 2]| pair.iter().flatten().map(|x| x * x).sum::<f64>();
    let early_share = 1.0 - energy(&late) / energy(&responses);
    let run = |[left, right]: &[Vec<f64>; 2]| Stereo::new(convolve(&guitar, left), convolve(&guitar, right));
    let (mut wet, mut late) = (run(&responses), run(&late));
    let mut reference = guitar.clone();
    reference.resize(wet.left.len(), 0.0);
    let gain = (2.0 * mean_power(&reference) / wet.power()).sqrt();
    wet.scale(gain);
    late.scale(gain);
    Mix {
        dry: Stereo::dual_mono(&reference),
        reference,
        wet,
        late,
        early_share,
    }
}

fn wet_change_db(split: &Split, grid: &Grid) -> f64 {
    db::from_power(mono_power(&split.wet, grid, 1.0) / split.wet.mean_power())
}

fn side_chain(mix: &Mix) -> (SideChainTake, Grid) {
    let full = narrowed_pair(&mix.dry.plus(&mix.wet), 0.5);
    let reference: Vec<f32> = mix.reference.iter().map(|&x| (0.5 * x) as f32).collect();
    let mut side_chain = SideChain::new(RATE_HZ, Reference::Mono);
    side_chain.start_take();
    side_chain.push(&reference, &[], &full[0], &full[1]);
    let take = side_chain
        .finish_take("slide in a hall".into(), Pass::Full)
        .unwrap();
    (take, side_chain.grid().clone())
}

#[test]
fn the_mix_is_the_published_one() {
    let mix = mix(0.0);
    assert!(
        (mix.wet.sum_difference_db() - WET_CHANGE_DB).abs() < 0.002,
        "{}",
        mix.wet.sum_difference_db()
    );
    // The whole's change at equal powers, from the same source.
    let whole = mix.dry.plus(&mix.wet);
    assert!(
        (whole.sum_difference_db() + 1.613).abs() < 0.002,
        "{}",
        whole.sum_difference_db()
    );
    assert!(
        (whole.correlation() - 0.3825).abs() < 0.001,
        "{}",
        whole.correlation()
    );
}

#[test]
fn two_passes_reproduce_it_within_a_tenth() {
    let mix = mix(0.0);
    let (dry, wet) = (narrowed_pair(&mix.dry, 0.7), narrowed_pair(&mix.wet, 0.3));
    let full = narrowed_pair(&mix.dry.plus(&mix.wet), 0.5);
    let found = TwoPass::of_audio(
        &pass(&dry, RATE_HZ),
        &pass(&wet, RATE_HZ),
        Some(&pass(&full, RATE_HZ)),
    )
    .unwrap();
    assert!(found.check.as_ref().unwrap().holds(), "{:?}", found.check);
    let change_db = wet_change_db(&found.split, &found.grid);
    assert!((change_db - WET_CHANGE_DB).abs() < 0.1, "{change_db}");
    assert!(found.split.wet_over_dry_db().unwrap().abs() < 0.1);
}

/// Without a wet pass, and with another level, polarity and start of the dry pass.
#[test]
fn a_dry_and_a_full_pass_reproduce_it_within_a_tenth() {
    // A hall that begins together with the dry couldn't be separated from it.
    let mix = mix(0.01);
    let full = narrowed_pair(&mix.dry.plus(&mix.wet), 0.5);
    for (gain, late) in [(0.5, 0), (0.5, 4000), (-0.8, 0), (0.31, 4000)] {
        let mut dry = narrowed_pair(&mix.dry, gain);
        for channel in &mut dry {
            channel.splice(0..0, vec![0.0; late]);
        }
        let found = TwoPass::of_dry_and_full(&pass(&dry, RATE_HZ), &pass(&full, RATE_HZ)).unwrap();
        let change_db = wet_change_db(&found.split, &found.grid);
        let what = format!("{gain}, {late}: {change_db}, {:?}", found.dry_in_full);
        assert!((change_db - WET_CHANGE_DB).abs() < 0.1, "{what}");
        assert!(found.split.wet_over_dry_db().unwrap().abs() < 0.1, "{what}");
        let lies = found.dry_in_full.unwrap();
        assert_eq!(lies.flipped, gain < 0.0, "{what}");
        assert!((lies.offset_s + late as f64 / RATE_HZ).abs() < 1e-9, "{what}");
        assert!(
            (lies.gain_db - db::from_amplitude(0.5 / gain)).abs() <= lies.gain_error_db,
            "{what}"
        );
    }
}

#[test]
fn the_side_chain_reproduces_it_with_pre_delay() {
    let mix = mix(0.025);
    let (found, grid) = side_chain(&mix);
    let change_db = wet_change_db(&found.split, &grid);
    assert!((change_db - WET_CHANGE_DB).abs() < 0.3, "{change_db}");
    assert!(found.split.wet_over_dry_db().unwrap().abs() < 0.3);
}

#[test]
fn what_the_hall_does_within_the_split_time_counts_as_dry() {
    let mix = mix(0.0);
    // A quarter of this hall's energy.
    assert!((0.2..0.3).contains(&mix.early_share), "{}", mix.early_share);
    let (found, _) = side_chain(&mix);
    let left_out_db = db::from_power(found.split.wet.mean_power() / (0.25 * mix.wet.power() / 2.0));
    let expected_db = db::from_power(mix.late.power() / mix.wet.power());
    assert!(
        (left_out_db - expected_db).abs() < 0.3,
        "{left_out_db}, not {expected_db}"
    );
    assert!(expected_db < -0.5, "{expected_db}");
}
