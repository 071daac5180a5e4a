//! The properties that every preset must have.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test chooses the numbers it converts"
)]

use sumproof_signals::truth::{self, MonoFeed};
use sumproof_signals::{
    LineFault, Preset, PresetKind, PresetSpec, Source, Stereo, convolve, correlation, delay, demo_preset,
    mean_power, power_db, render,
};

fn short(kind: PresetKind) -> PresetSpec {
    PresetSpec {
        seconds: 4.0,
        ..PresetSpec::new(kind)
    }
}

fn samples(preset: &Preset) -> impl Iterator<Item = &f64> {
    [
        &preset.dry.left,
        &preset.dry.right,
        &preset.wet.left,
        &preset.wet.right,
        &preset.reference,
    ]
    .into_iter()
    .flatten()
}

#[test]
fn the_same_spec_gives_the_same_bits_and_another_seed_another_preset() {
    for kind in PresetKind::ALL {
        let spec = short(kind);
        let (first, again) = (render(&spec), render(&spec));
        assert_eq!(first, again, "{}", kind.id());
        let other = render(&PresetSpec { seed: 2, ..spec });
        let likeness = correlation(&first.reference, &other.reference);
        assert!(
            likeness.abs() < 0.3,
            "{}: seeds 1 and 2 correlate by {likeness}",
            kind.id()
        );
    }
}

#[test]
fn wet_over_dry_is_what_was_asked_for() {
    for kind in PresetKind::ALL {
        for wet_db in [-20.0, -6.0, 0.0, 6.0] {
            let true_db = render(&PresetSpec {
                wet_db,
                ..short(kind)
            })
            .true_wet_dry_db();
            match kind {
                PresetKind::DryOnly => assert_eq!(true_db, f64::NEG_INFINITY),
                PresetKind::WetOnly => assert_eq!(true_db, f64::INFINITY),
                _ => assert!(
                    (true_db - wet_db).abs() < 1e-9,
                    "{} {wet_db}: {true_db}",
                    kind.id()
                ),
            }
        }
    }
}

#[test]
fn dry_and_wet_are_all_of_the_sound() {
    for kind in PresetKind::ALL {
        let preset = render(&short(kind));
        let full = preset.full();
        for n in 0..preset.len() {
            assert_eq!(full.left[n], preset.dry.left[n] + preset.wet.left[n]);
            assert_eq!(full.right[n], preset.dry.right[n] + preset.wet.right[n]);
        }
        assert!(
            (20.0 * full.peak().log10() + 6.0).abs() < 1e-9,
            "{} peaks at {}",
            kind.id(),
            full.peak()
        );
    }
}

#[test]
fn the_wet_correlates_within_its_documented_range() {
    for seed in 1..=12 {
        for source in [Source::Guitar, Source::PinkNoise] {
            for kind in PresetKind::ALL {
                let preset = render(&PresetSpec {
                    seed,
                    source,
                    ..short(kind)
                });
                let Some((low, high)) = kind.wet_correlation_range() else {
                    assert_eq!(preset.wet.power(), 0.0);
                    continue;
                };
                let found = preset.wet.correlation();
                assert!(
                    (low - 1e-9..=high + 1e-9).contains(&found),
                    "{} seed {seed} {source:?}: {found}",
                    kind.id()
                );
            }
        }
    }
}

#[test]
fn levels_are_sane_at_every_rate() {
    let at = |rate_hz| {
        render(&PresetSpec {
            rate_hz,
            ..short(PresetKind::EqualDry)
        })
    };
    let usual = at(48_000.0);
    for rate_hz in [8000.0, 11_025.0, 22_050.0, 44_100.0, 96_000.0, 192_000.0] {
        let preset = at(rate_hz);
        assert_eq!(preset.len(), (4.0 * rate_hz) as usize);
        assert!(samples(&preset).all(|x| x.is_finite()));
        // Crest factor of the whole between that of a sine and that of single plucks.
        let rms_db = power_db(preset.full().power() / 2.0);
        assert!(
            (-26.0..-12.0).contains(&rms_db),
            "{rate_hz} Hz: rms {rms_db} dBFS"
        );
        let other = power_db(mean_power(&preset.reference) / mean_power(&usual.reference));
        assert!(other.abs() < 3.0, "{rate_hz} Hz: {other} dB from 48 kHz");
    }
}

#[test]
fn the_music_is_the_same_at_every_rate() {
    // Every second sample of a band-limited rendering at 96 kHz against the one at 48 kHz.
    let at = |rate_hz| {
        render(&PresetSpec {
            rate_hz,
            ..short(PresetKind::DryOnly)
        })
        .reference
    };
    let (fine, coarse) = (at(96_000.0), at(48_000.0));
    let decimated: Vec<f64> = fine.iter().step_by(2).copied().collect();
    // The antiderivative clipper is half a sample late at either inner rate, which is the same rate.
    let likeness = correlation(&decimated, &coarse);
    assert!(likeness > 0.97, "{likeness}");
}

#[test]
fn nothing_is_nan_for_any_kind_and_source() {
    for kind in PresetKind::ALL {
        for source in [Source::Guitar, Source::WhiteNoise, Source::PinkNoise] {
            let preset = render(&PresetSpec {
                source,
                seconds: 0.5,
                rate_hz: 8000.0,
                ..PresetSpec::new(kind)
            });
            assert!(
                samples(&preset).all(|x| x.is_finite()),
                "{} {source:?}",
                kind.id()
            );
            assert!(preset.full().power() > 1e-6, "{} {source:?} is silent", kind.id());
        }
    }
}

#[test]
fn an_equal_dry_is_the_reference() {
    for kind in PresetKind::ALL {
        let preset = render(&short(kind));
        let equal = preset.dry.left == preset.reference && preset.dry.right == preset.reference;
        let expected = matches!(
            kind,
            PresetKind::EqualDry
                | PresetKind::HalfCorrelatedReverb
                | PresetKind::AntiPhaseReverb
                | PresetKind::PingPong
                | PresetKind::StereoChorus
                | PresetKind::MonoReverb
                | PresetKind::DryOnly
        );
        assert_eq!(equal, expected, "{}", kind.id());
    }
}

#[test]
fn channel_faults_are_where_they_belong() {
    let plain = render(&short(PresetKind::EqualDry));
    let scaled = |kind| {
        // Each preset is normalised separately; this brings it to the level of the plain one.
        let mut preset = render(&short(kind));
        let gain = plain.reference[50_000] / preset.reference[50_000];
        preset.dry.scale(gain);
        preset.wet.scale(gain);
        preset
    };
    let close = |a: &[f64], b: &[f64]| a.iter().zip(b).all(|(x, y)| (x - y).abs() < 1e-9);

    let flipped = scaled(PresetKind::FlippedChannel);
    let minus = |x: &[f64]| x.iter().map(|x| -x).collect::<Vec<_>>();
    assert!(close(&flipped.dry.right, &minus(&plain.dry.right)) && close(&flipped.dry.left, &plain.dry.left));
    assert!(close(&flipped.wet.right, &minus(&plain.wet.right)) && close(&flipped.wet.left, &plain.wet.left));

    let late = scaled(PresetKind::LateChannel12Ms);
    assert!(close(&late.dry.right[576..], &plain.dry.right) && close(&late.dry.left, &plain.dry.left));
    // The wet is scaled to the dry, which lost the last 12 ms of one channel: a constant factor close to 1.
    let likeness = correlation(&late.wet.right[576..], &plain.wet.right[..plain.len() - 576]);
    assert!((likeness - 1.0).abs() < 1e-9, "{likeness}");

    let late = scaled(PresetKind::LateChannel300Us);
    let expected = delay::delayed(&plain.dry.right, 14.4);
    assert!(close(&late.dry.right, &expected));

    let offset = render(&short(PresetKind::DryOffset6Db)).dry;
    let offset_db = power_db(mean_power(&offset.left) / mean_power(&offset.right));
    assert!((offset_db - 6.0).abs() < 1e-9, "{offset_db}");
}

#[test]
fn the_wet_waits_for_its_time() {
    // Early samples of the wet are silent until the reference has sounded for the pre-delay.
    for kind in PresetKind::ALL
        .into_iter()
        .filter(|kind| kind.is_time_invariant())
    {
        let preset = render(&short(kind));
        let loud = 1e-9;
        let Some(first) = preset.reference.iter().position(|x| x.abs() > loud) else {
            panic!("no sound")
        };
        let wait = (kind.wet_begins_s() * preset.rate_hz) as usize;
        let early = preset.wet.clone().resized(first + wait - 100);
        assert!(
            early.peak() < 1e-6,
            "{}: wet of {} before {wait} samples",
            kind.id(),
            early.peak()
        );
    }
}

#[test]
fn the_sign_trap_looks_like_a_flipped_dry_when_the_wet_is_strong() {
    // Two-channel model of Faller, JAES 54(11), 2006: when the dry is weaker than the shared part of the wet, the sum
    // of both channels has less power than their difference, although the dry is equal in both.
    let full = render(&PresetSpec {
        wet_db: 6.0,
        ..short(PresetKind::AntiPhaseReverb)
    })
    .full();
    assert!(full.correlation() < -0.2, "{}", full.correlation());
    let full = render(&PresetSpec {
        wet_db: -6.0,
        ..short(PresetKind::AntiPhaseReverb)
    })
    .full();
    assert!(full.correlation() > 0.2, "{}", full.correlation());
}

#[test]
fn truth_agrees_with_closed_forms() {
    let preset = render(&short(PresetKind::EqualDry));
    let sum_of = |left, right| truth::changes(&preset, &MonoFeed::wedge_with(left, right));
    let none = LineFault::NONE;

    // Equal dry: nothing is lost in the sum, nor by a pad once the fader has made up for it; a flip loses everything.
    assert!(sum_of(none, none).dry_db.abs() < 1e-9);
    assert!(sum_of(none, LineFault::gain(-20.0)).dry_db.abs() < 1e-9);
    assert_eq!(sum_of(none, LineFault::FLIP).dry_db, f64::NEG_INFINITY);
    assert_eq!(sum_of(none, LineFault::FLIP).balance_shift_db(), f64::INFINITY);
    // Uncorrelated wet: 10 log10(1/2) in the sum, flipped or not, 0 in a line.
    assert!((sum_of(none, none).wet_db + 3.0103).abs() < 1e-4);
    assert!((sum_of(none, LineFault::FLIP).wet_db + 3.0103).abs() < 1e-4);
    assert!(truth::changes(&preset, &MonoFeed::left_only()).wet_db.abs() < 1e-9);
    assert!(truth::changes(&preset, &MonoFeed::right_only()).dry_db.abs() < 1e-9);
    // Half correlated 10 log10(3/4), antiphase 10 log10(0.15).
    for (kind, db) in [
        (PresetKind::HalfCorrelatedReverb, -1.249_39),
        (PresetKind::AntiPhaseReverb, -8.239_09),
    ] {
        let change = truth::changes(&render(&short(kind)), &MonoFeed::wedge()).wet_db;
        assert!((change - db).abs() < 1e-4, "{}: {change}", kind.id());
    }
    // Sum and difference share the whole power, for any pair (closed form).
    let full = preset.full();
    let share = |feed: &MonoFeed| 10f64.powf(truth::change_db(&full, feed, preset.rate_hz) / 10.0);
    let flipped = MonoFeed {
        factor: truth::AVERAGE,
        ..MonoFeed::stereo_jack_in_balanced_input()
    };
    assert!((share(&MonoFeed::wedge()) + share(&flipped) - 1.0).abs() < 1e-9);
    // The sum law cancels in the change, but not in the raw one.
    let unity = MonoFeed {
        factor: truth::UNITY,
        ..MonoFeed::wedge()
    };
    let change = |feed: &MonoFeed| truth::change_db(&full, feed, preset.rate_hz);
    assert!((change(&unity) - change(&MonoFeed::wedge())).abs() < 1e-9);
    let raw = |feed: &MonoFeed| truth::raw_change_db(&full, feed, preset.rate_hz);
    assert!((raw(&unity) - raw(&MonoFeed::wedge()) - 6.0206).abs() < 1e-4);
    // Nothing arrives.
    let dead = MonoFeed::wedge_with(LineFault::UNPLUGGED, LineFault::UNPLUGGED);
    assert_eq!(change(&dead), f64::NEG_INFINITY);
}

#[test]
fn a_late_line_is_a_comb() {
    // Equal sines a delay apart: 20 log10 |cos(π f τ)| (closed form); 1 ms takes 500 Hz away and leaves 1 kHz.
    let rate_hz = 48_000.0;
    for (hz, delay_s, expected_db) in [
        (1000.0, 0.001, 0.0),
        (250.0, 0.001, -3.0103),
        (1000.0, 0.000_25, -3.0103),
    ] {
        let tone = Stereo::dual_mono(&sumproof_signals::tones::sine(480_000, rate_hz, hz, 0.1, 0.0));
        let feed = MonoFeed::wedge_with(LineFault::NONE, LineFault::late(delay_s));
        let change = truth::change_db(&tone, &feed, rate_hz);
        assert!(
            (change - expected_db).abs() < 0.002,
            "{hz} Hz {delay_s} s: {change}"
        );
    }
    let tone = Stereo::dual_mono(&sumproof_signals::tones::sine(480_000, rate_hz, 500.0, 0.1, 0.0));
    let feed = MonoFeed::wedge_with(LineFault::NONE, LineFault::late(0.001));
    let change = truth::change_db(&tone, &feed, rate_hz);
    // Only the two ends are left, 48 samples each at half the amplitude, of 480000: 10 log10(96 / (4 · 480000)).
    assert!((change + 43.0103).abs() < 0.001, "{change}");
}

#[test]
fn band_limits_split_the_power() {
    let preset = render(&PresetSpec {
        rate_hz: 44_100.0,
        ..short(PresetKind::EqualDry)
    });
    let full = preset.full();
    let energy = |part: &Stereo| part.power() * part.len() as f64;
    let bands = [(0.0, 300.0), (300.0, 2000.0), (2000.0, 30_000.0)];
    let parts = bands.map(|(low, high)| truth::band_limited(&full, low, high, preset.rate_hz));
    let sum: f64 = parts.iter().map(energy).sum();
    assert!((sum / energy(&full) - 1.0).abs() < 1e-9);
    assert!(
        parts.iter().all(|part| energy(part) > 0.001 * sum),
        "a guitar has something in every band"
    );
}

#[test]
fn two_amplifiers_are_linear_in_the_reference_and_differ_in_phase() {
    let preset = render(&short(PresetKind::TwoAmplifiers));
    let likeness = preset.dry.correlation();
    assert!((-0.5..0.9).contains(&likeness), "{likeness}");
    let levels_db = power_db(mean_power(&preset.dry.left) / mean_power(&preset.dry.right));
    assert!(levels_db.abs() < 1e-9, "{levels_db}");
    // A fixed filter commutes with another: the first channel's filter, taken from noise, fits the guitar too. Here it
    // is enough that a short filter explains each channel; the spectra must follow each other where there is sound.
    let impulse_like = render(&PresetSpec {
        source: Source::WhiteNoise,
        ..short(PresetKind::TwoAmplifiers)
    });
    let left_over_right = |preset: &Preset| {
        // Cross-filtering by the other's dry makes both equal if H_L and H_R are the same filters in both renderings.
        let slice = |x: &[f64]| x[20_000..60_000].to_vec();
        (slice(&preset.dry.left), slice(&preset.dry.right))
    };
    let (noise_left, noise_right) = left_over_right(&impulse_like);
    let (guitar_left, guitar_right) = (&preset.dry.left, &preset.dry.right);
    let one = convolve(guitar_left, &noise_right);
    let two = convolve(guitar_right, &noise_left);
    let fit = correlation(&one, &two);
    assert!(fit > 0.98, "{fit}");
}

#[test]
fn two_performances_are_alike_only_from_afar() {
    let preset = render(&short(PresetKind::DoubleTracked));
    assert!(
        preset.dry.correlation().abs() < 0.4,
        "{}",
        preset.dry.correlation()
    );
    let pair = preset.stereo_reference.as_ref().expect("two performances");
    assert_eq!(*pair, preset.dry);
    for n in 0..preset.len() {
        assert!((preset.reference[n] - 0.5 * (pair.left[n] + pair.right[n])).abs() < 1e-12);
    }
}

#[test]
fn ids_are_stable_and_distinct() {
    let ids = PresetKind::ALL.map(PresetKind::id);
    let expected = "equal-dry half-correlated-reverb anti-phase-reverb ping-pong stereo-chorus late-channel-300-us \
                    late-channel-12-ms two-amplifiers dry-offset-6-db flipped-channel double-tracked mono-reverb \
                    dry-only wet-only";
    assert_eq!(ids.join(" "), expected);
    assert!(
        PresetKind::ALL
            .iter()
            .all(|kind| kind.description().ends_with('.'))
    );
}

#[test]
fn the_demo_fits_its_description() {
    for rate_hz in [8000.0, 44_100.0, 48_000.0, 192_000.0] {
        let demo = demo_preset(rate_hz);
        assert_eq!(demo.len(), (12.0 * rate_hz) as usize);
        let full = demo.full();
        assert!(samples(&demo).all(|x| x.is_finite()));
        assert!(
            full.peak() < 10f64.powf(-3.0 / 20.0) && full.peak() > 0.5,
            "peak {}",
            full.peak()
        );
        assert!((demo.true_wet_dry_db() + 5.0).abs() < 1e-9);
        // It ends in silence, so repeating it makes no click.
        let end = full.len() - (0.05 * rate_hz) as usize;
        let last = Stereo::new(full.left[end..].to_vec(), full.right[end..].to_vec());
        assert!(
            power_db(last.power() / full.power()) < -40.0,
            "{rate_hz}: {}",
            power_db(last.power() / full.power())
        );
    }
    let changes = truth::changes(&demo_preset(48_000.0), &MonoFeed::wedge());
    assert!(
        changes.dry_db.abs() < 1e-9 && (-4.0..-2.0).contains(&changes.wet_db),
        "{changes:?}"
    );
}

#[test]
#[should_panic(expected = "rate")]
fn a_rate_out_of_range_is_refused() {
    render(&PresetSpec {
        rate_hz: 4000.0,
        ..PresetSpec::new(PresetKind::EqualDry)
    });
}
