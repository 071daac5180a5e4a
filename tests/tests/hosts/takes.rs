//! Real recordings through the bundled `.clap`: the take's figures against values that numpy computed from the files.
use sumproof_core::session::take::Take;
use sumproof_core::spectrum::bands::BandMap;
use sumproof_core::split::Method;
use sumproof_signals::{PresetKind, render};
use sumproof_tests::host::setup::{plugin, samples};
use sumproof_tests::host::{Blocks, ParamEvent, Play, Plugin, State, Stereo};
use sumproof_tests::methods::{narrowed_pair, ratios, spec, truth};

/// One recording of Debian's `sonic-pi-samples` 3.2.2~repack-8 with its reference values, computed by numpy 2.4.6 in
/// float64 from the 16-bit samples: `rho0 = Σlr / √(Σl²·Σr²)`, and the mono and flipped sum over the mean power of both
/// channels, dB.
struct Reference {
    file: &'static str,
    correlation: f64,
    sum_db: f64,
    flipped_db: f64,
    left_over_right_db: f64,
    /// Nominal 1/3-octave middle (Hz), correlation and sum difference (dB), from one FFT of the whole file.
    thirds: &'static [(f64, f64, f64)],
}

const REFERENCES: [Reference; 2] = [
    Reference {
        file: "guit_em9.flac",
        correlation: 0.7927,
        sum_db: -0.485,
        flipped_db: -9.761,
        left_over_right_db: 0.87,
        thirds: &[
            (100.0, 0.595, -0.99),
            (200.0, 0.771, -0.53),
            (400.0, 0.859, -0.32),
            (500.0, 0.628, -0.93),
            (1000.0, 0.789, -0.48),
            (2000.0, 0.891, -0.25),
            (4000.0, 0.938, -0.14),
            (8000.0, 0.966, -0.07),
            (10_000.0, 0.658, -0.81),
        ],
    },
    Reference {
        file: "guit_e_fifths.flac",
        correlation: 0.8124,
        sum_db: -0.434,
        flipped_db: -10.222,
        left_over_right_db: -0.67,
        thirds: &[
            (125.0, 0.351, -1.71),
            (250.0, 0.801, -0.53),
            (500.0, 0.767, -0.54),
            (1000.0, 0.792, -0.48),
            (2000.0, 0.880, -0.27),
            (4000.0, 0.940, -0.13),
            (8000.0, 0.968, -0.07),
        ],
    },
];

/// Broadband tolerances that the project guarantees.
const CORRELATION_TOLERANCE: f64 = 0.001;
const SUM_TOLERANCE_DB: f64 = 0.02;
const BAND_TOLERANCE_DB: f64 = 0.1;
/// Half of the last printed digit of a reference value.
const CORRELATION_PRINTED: f64 = 0.000_05;
const SUM_PRINTED_DB: f64 = 0.000_5;
const BAND_PRINTED_DB: f64 = 0.005;

fn recording(file: &str) -> Stereo {
    let read = sumproof_cli::read_stereo(&samples().join(file)).unwrap();
    Stereo::new(read.rate_hz, read.left, read.right)
}

fn take_of(audio: &Stereo, blocks: Blocks, offline: bool) -> Take {
    let mut plugin = plugin().unwrap();
    plugin.record_take(audio, blocks, offline).unwrap();
    let mut takes = State::decode(&plugin.save_state().unwrap())
        .unwrap()
        .takes()
        .unwrap();
    assert_eq!(takes.len(), 1);
    takes.remove(0)
}

#[track_caller]
fn assert_near(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!(
        (got - want).abs() <= tolerance,
        "{what}: {got:.5}, not {want} ± {tolerance}"
    );
}

#[test]
fn the_take_of_a_real_recording_says_what_numpy_says() {
    for reference in &REFERENCES {
        let audio = recording(reference.file);
        let take = take_of(&audio, Blocks::Random { seed: 4, max: 2048 }, true);
        let file = reference.file;
        assert_eq!(take.rate_hz, 44_100.0, "{file}");
        assert_eq!(
            take.sums.frames,
            audio.len_samples() as u64,
            "{file}: not the whole file, or more than it"
        );
        assert_near(
            take.sums.correlation().unwrap(),
            reference.correlation,
            CORRELATION_TOLERANCE + CORRELATION_PRINTED,
            &format!("{file}: correlation"),
        );
        assert_near(
            take.sums.sum_difference_db().unwrap(),
            reference.sum_db,
            SUM_TOLERANCE_DB + SUM_PRINTED_DB,
            &format!("{file}: mono sum"),
        );
        assert_near(
            take.sums.flipped_difference_db().unwrap(),
            reference.flipped_db,
            SUM_TOLERANCE_DB + SUM_PRINTED_DB,
            &format!("{file}: flipped sum"),
        );
        assert_near(
            take.sums.level_difference_db().unwrap(),
            reference.left_over_right_db,
            SUM_TOLERANCE_DB + BAND_PRINTED_DB,
            &format!("{file}: left over right"),
        );
    }
}

#[test]
fn the_bands_of_a_real_recording_say_what_numpy_says() {
    let mut off = Vec::new();
    for reference in &REFERENCES {
        let take = take_of(&recording(reference.file), Blocks::Fixed(512), true);
        let grid = take.grid();
        let map = BandMap::thirds(&grid);
        let total = &take.split.total;
        for &(nominal_hz, correlation, sum_db) in reference.thirds {
            let band = map
                .bands()
                .iter()
                .position(|band| band.nominal_hz == nominal_hz)
                .unwrap();
            let reading = total.band(&grid, &map, band);
            // 10·lg((1 + ρ·2√(LR)/(L+R)) / 2), an identity (algebra).
            let both = reading.left + reading.right;
            let cross = reading.correlation.unwrap() * (reading.left * reading.right).sqrt();
            let got_db = 10.0 * ((both + 2.0 * cross) / (2.0 * both)).log10();
            if (got_db - sum_db).abs() > BAND_TOLERANCE_DB + BAND_PRINTED_DB {
                let rho = reading.correlation.unwrap();
                off.push(format!(
                    "{} {nominal_hz} Hz: {got_db:.3} dB (ρ {rho:.3}), not {sum_db} dB (ρ {correlation})",
                    reference.file
                ));
            }
        }
    }
    assert!(off.is_empty(), "{}", off.join("\n"));
}

#[test]
fn a_take_does_not_depend_on_block_sizes_nor_on_the_kind_of_rendering() {
    let mut audio = recording("guit_e_fifths.flac");
    audio.left.truncate(100_000);
    audio.right.truncate(100_000);
    let reference = take_of(&audio, Blocks::Fixed(512), true);
    for (blocks, offline) in [
        (Blocks::Fixed(64), true),
        (Blocks::Fixed(8192), true),
        (Blocks::Random { seed: 9, max: 3000 }, true),
    ] {
        let take = take_of(&audio, blocks, offline);
        let what = format!("{blocks:?}, offline {offline}");
        assert_eq!(take.sums.frames, reference.sums.frames, "{what}");
        for (got, want) in [
            (take.sums.left, reference.sums.left),
            (take.sums.right, reference.sums.right),
            (take.sums.cross, reference.sums.cross),
            (take.split.total.mean_power(), reference.split.total.mean_power()),
        ] {
            assert_near(got / want, 1.0, 1e-6, &what);
        }
    }
}

#[test]
fn a_take_recorded_in_real_time_is_the_one_of_a_bounce() {
    let mut audio = recording("guit_e_fifths.flac");
    audio.left.truncate(88_200);
    audio.right.truncate(88_200);
    let bounced = take_of(&audio, Blocks::Fixed(512), true);

    let mut plugin = plugin().unwrap();
    let running = plugin.start_realtime_take(&audio, Blocks::Fixed(512)).unwrap();
    // The state may be saved during playing, and repeatedly.
    while !running.has_ended() {
        plugin.answer();
        plugin.save_state().unwrap();
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    plugin.stop_realtime(running).unwrap();
    let takes = State::decode(&plugin.save_state().unwrap())
        .unwrap()
        .takes()
        .unwrap();
    assert_eq!(takes.len(), 1);
    let (live, bounced) = (&takes[0].sums, &bounced.sums);
    assert_eq!(live.frames, bounced.frames);
    assert_near(
        live.correlation().unwrap(),
        bounced.correlation().unwrap(),
        1e-6,
        "correlation",
    );
    assert_near(
        live.sum_difference_db().unwrap(),
        bounced.sum_difference_db().unwrap(),
        1e-5,
        "mono sum",
    );
}

/// Plays the passes one after the other in one run, recorded by the two parameters alone, as a DAW's automation would.
/// The dry pass is 3 dB too loud and the wet one 2 dB too soft, as when a mix-type block is bypassed. Waits up to
/// `most_s` seconds for a pair.
fn automated(passes: &[(&str, [Vec<f32>; 2])], rate_hz: f64, most_s: u32) -> Vec<Take> {
    const PAUSE: usize = 4_800;
    let mut plugin = plugin().unwrap();
    let mut audio = Stereo::new(rate_hz, Vec::new(), Vec::new());
    let mut events = Vec::new();
    for (kind, [left, right]) in passes {
        let from = audio.len_samples();
        events.push(plugin.change(from, "kind", kind).unwrap());
        events.push(ParamEvent {
            at_sample: from,
            ..ParamEvent::step("rec", 1)
        });
        audio.left.extend_from_slice(left);
        audio.right.extend_from_slice(right);
        events.push(ParamEvent {
            at_sample: audio.len_samples(),
            ..ParamEvent::step("rec", 0)
        });
        let padded = audio.len_samples() + PAUSE;
        audio.left.resize(padded, 0.0);
        audio.right.resize(padded, 0.0);
    }
    let how = Play {
        offline: true,
        events,
        cut_at_events: true,
        ..Play::default()
    };
    plugin.play(&audio, &how).unwrap();
    let stored = |plugin: &mut Plugin| {
        let state = State::decode(&plugin.save_state().unwrap()).unwrap();
        state.takes().unwrap()
    };
    // Passes are lined up in the background; the pair is stored when that is done.
    for _ in 0..10 * most_s {
        let takes = stored(&mut plugin);
        if takes.iter().any(|take| take.method() == Method::TwoPass) {
            return takes;
        }
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    stored(&mut plugin)
}

fn pass_of(pair: &sumproof_signals::Stereo, gain_db: f64) -> [Vec<f32>; 2] {
    narrowed_pair(pair, sumproof_signals::amplitude(gain_db))
}

#[test]
fn three_automated_passes_give_the_true_ratio() {
    for (kind, wet_db) in [
        (PresetKind::HalfCorrelatedReverb, -6.0),
        (PresetKind::PingPong, -10.0),
    ] {
        let preset = render(&spec(kind, wet_db, 11));
        let takes = automated(
            &[
                ("Full preset", pass_of(&preset.full(), 0.0)),
                ("Dry only", pass_of(&preset.dry, 3.0)),
                ("Wet only", pass_of(&preset.wet, -2.0)),
            ],
            preset.rate_hz,
            60,
        );
        let pairs: Vec<&Take> = takes
            .iter()
            .filter(|take| take.method() == Method::TwoPass)
            .collect();
        let [pair] = pairs.as_slice() else {
            panic!("{}: {} two-pass takes", preset.name, pairs.len())
        };
        let (found, true_) = (ratios(&pair.split, &pair.grid()), truth(&preset));
        let told = format!("{}: {found:?}, not {true_:?}", preset.name);
        assert!((found.stereo_db - true_.stereo_db).abs() < 0.1, "{told}");
        assert!((found.mono_db - true_.mono_db).abs() < 0.1, "{told}");
        assert!(found.flipped_db < -60.0, "{told}");
        assert_eq!((takes.len(), pair.name.as_str()), (4, "Take 1, dry and wet"));
    }
}

#[test]
fn passes_of_two_performances_make_no_take() {
    let (one, other) = (
        render(&spec(PresetKind::EqualDry, -6.0, 12)),
        render(&spec(PresetKind::EqualDry, -6.0, 13)),
    );
    let takes = automated(
        &[
            ("Full preset", pass_of(&one.full(), 0.0)),
            ("Dry only", pass_of(&other.dry, 0.0)),
            ("Wet only", pass_of(&other.wet, 0.0)),
        ],
        one.rate_hz,
        8,
    );
    assert_eq!(takes.len(), 3);
    assert!(takes.iter().all(|take| take.method() == Method::Estimated));
}
