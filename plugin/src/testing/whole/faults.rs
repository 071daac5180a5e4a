//! Effects of invalid samples, of a stalled analysis and of a panic in it, on the sound and on the readings.

use super::*;
use nice_plug::prelude::FloatParam;
use sumproof_views::{Integration, Snapshot};
use sumproof_wording::Name;

use crate::parameters::choices::Choice;

fn put(param: &FloatParam, value: f32) {
    // SAFETY: what the wrapper does when the host sets a parameter; the value is an atomic.
    unsafe { param._internal_set_plain_value(value) };
}

/// What the window would show now.
fn shown(instance: &mut Instance) -> Snapshot {
    instance.analysis.lock().show_now();
    let mut snapshot = Snapshot::default();
    let published = instance.published.read();
    published.fill(&instance.params.host, &instance.shared, &mut snapshot);
    snapshot
}

/// An instance that renders, so that the result does not depend on when a thread looks, with or without an audition.
fn rendering(rate_hz: f64, audition: bool) -> Instance {
    let mut instance = Instance::new(Shared::default());
    let host = instance.host();
    choose(&host.integration, Choice(Integration::Short));
    set(&host.audition, audition);
    set(&host.audition_in_bounces, true);
    set(&host.loudness_match, true);
    choose(&host.feed, Choice(FeedId::MonoWedge));
    put(&host.left.delay_ms, 0.37);
    put(&host.left.gain_db, -3.0);
    put(&host.left.corner_hz, 30.0);
    put(&host.right.corner_hz, 20.0);
    instance.audio.activate(&Drive {
        rate_hz,
        longest_block: 8192,
        mode: Mode::Offline,
        reference: Reference::Stereo,
    });
    instance.audio.reset();
    instance
}

/// Compares a second of sound, one bad block and two seconds of sound with the same sound and silence in place of the
/// bad block.
fn one_bad_block(rate_hz: f64, block: usize, audition: bool) {
    let what = format!("{rate_hz} Hz, blocks of {block}, audition {audition}");
    // Whole blocks before the bad one, so that it is a single block.
    let before = (rate_hz as usize).div_ceil(block) * block;
    let after = (2.0 * rate_hz) as usize;
    let [left, right] = noise(before + block + after);
    let invalid = [
        f32::NAN,
        1e30,
        f32::INFINITY,
        f32::MIN,
        f32::NEG_INFINITY,
        -f32::NAN,
        1001.0,
    ];
    let (mut bad, mut silent) = ([left.clone(), right.clone()], [left, right]);
    for index in 0..block {
        for channel in 0..2 {
            bad[channel][before + index] = invalid[(index + channel) % invalid.len()];
            silent[channel][before + index] = 0.0;
        }
    }
    let (mut hurt, mut whole) = (rendering(rate_hz, audition), rendering(rate_hz, audition));
    let out = hurt.play(&bad[0], &bad[1], block, false);
    let wanted = whole.play(&silent[0], &silent[1], block, false);
    if audition {
        // An invalid sample is heard as silence, and leaves no trace in delays, filters, the match or its limiter.
        assert!(out.iter().flatten().all(|sample| sample.is_finite()), "{what}");
        for (out, wanted) in out.iter().zip(&wanted) {
            let last = before + block + after - after / 10..;
            let power =
                |samples: &mut dyn Iterator<Item = f32>| samples.map(|x| f64::from(x).powi(2)).sum::<f64>();
            let sound = power(&mut wanted[last.clone()].iter().copied());
            let off = power(&mut out[last.clone()].iter().zip(&wanted[last]).map(|(a, b)| a - b));
            assert!(sound > 0.0 && off < 1e-4 * sound, "{what}: {off} of {sound}");
        }
    } else {
        assert!(
            bits(&out[0]) == bits(&bad[0]) && bits(&out[1]) == bits(&bad[1]),
            "{what}"
        );
    }
    let (now, should) = (shown(&mut hurt), shown(&mut whole));
    assert_eq!(now.notices.invalid_frames, block as u64, "{what}");
    assert_eq!(should.notices.invalid_frames, 0);
    let near = |one: f64, other: f64, by: f64, which: &str| {
        assert!(
            (one - other).abs() <= by,
            "{what}: {which} {one} instead of {other}"
        );
    };
    let (reading, reference) = (&now.reading, &should.reading);
    near(reading.left_db, reference.left_db, 0.1, "left");
    near(reading.right_db, reference.right_db, 0.1, "right");
    let correlation = |snapshot: &Snapshot| snapshot.reading.correlation.expect("there is sound");
    near(correlation(&now), correlation(&should), 0.02, "correlation");
    // Measurements of the sum recover; dry and wet, which noise leaves open, only within their bounds. So the two may
    // judge different lines the worse, and their sums are then not those of one feed: each is in the rows of the single
    // lines.
    for (row, wanted) in reading.rows.iter().zip(&reference.rows) {
        let name = row.id.name();
        let [score, other] = [row, wanted].map(|row| row.score.expect("there is sound"));
        let [dry, other_dry] = [score, other].map(|score| score.dry.expect("there is sound"));
        assert!(
            dry.low <= other_dry.high && other_dry.low <= dry.high,
            "{what}: {name} {dry:?} instead of {other_dry:?}"
        );
        assert_eq!(row.worse.is_some(), wanted.worse.is_some(), "{what}: {name}");
        if row.worse == wanted.worse {
            near(score.level_lu, other.level_lu, 0.2, name);
            near(score.total_db, other.total_db, 0.1, name);
        }
    }
    let meter = |instance: &Instance| f64::from(instance.shared.correlation.load(Ordering::Relaxed));
    near(
        meter(&hurt),
        meter(&whole),
        0.01,
        "the audio thread's correlation",
    );
}

#[test]
fn one_bad_block_is_counted_and_shown_and_gone_within_two_seconds() {
    let cases = [
        (8_000.0, 1),
        (8_000.0, 8_192),
        (44_100.0, 64),
        (48_000.0, 17),
        (96_000.0, 2_048),
        (192_000.0, 8_192),
    ];
    for (rate_hz, block) in cases {
        for audition in [false, true] {
            one_bad_block(rate_hz, block, audition);
        }
    }
}

#[test]
fn what_a_stall_cost_is_shown() {
    let [left, right] = noise(48_000 * 3);
    let mut instance = Instance::new(Shared::aged(Duration::from_secs(3600)));
    instance.activate(false);
    let stalled = instance.analysis.clone();
    let lock = stalled.lock();
    instance.shared.forget_emptied();
    instance.play(&left, &right, 64, false);
    drop(lock);
    assert_eq!(shown(&mut instance).notices.lost_frames, 48_000);
}

/// The end of a take with a side-chain blocks the analysis for seconds: the ring holds that much sound.
#[test]
fn the_ring_beside_a_side_chain_holds_eleven_seconds() {
    let host = Arc::new(HostParams::new(true));
    let shared = Arc::new(Shared::aged(Duration::from_secs(3600)));
    let (own, own_out) = triple_buffer(&Rig::default().own);
    let (published, _) = triple_buffer(&Published::default());
    let analysis = Analysis::new(Engine::new(Links {
        params: Arc::clone(&host),
        shared: Arc::clone(&shared),
        own,
        published,
        repaint: RepaintNotifier::new(),
    }));
    let mut audio = AudioSide::<4>::new(host, Arc::clone(&shared), analysis.clone(), own_out);
    for rate_hz in [8_000.0, 192_000.0] {
        audio.activate(&Drive {
            rate_hz,
            longest_block: 8192,
            mode: Mode::Playing,
            reference: Reference::Stereo,
        });
        let busy = analysis.lock();
        let [mut left, mut right] = noise(512);
        for _ in 0..(1.9 * rate_hz / 512.0) as usize {
            audio.process(&mut [&mut left, &mut right], [&[0.1; 512]; 2], false);
        }
        assert_eq!(shared.lost_frames.load(Ordering::Relaxed), 0, "{rate_hz} Hz");
        drop(busy);
    }
}

#[test]
fn without_a_window_or_an_audition_the_analysis_takes_its_time() {
    let [left, right] = noise(70_000);
    let mut instance = Instance::active(false);
    instance.play(&left[..1_000], &right[..1_000], 64, false);
    assert_eq!(
        instance.analysis.look(),
        Activity::Nothing,
        "what came can wait for a quarter of a second"
    );
    instance.play(&left, &right, 64, false);
    assert_eq!(
        instance.analysis.look(),
        Activity::Sound,
        "more came than one look takes in"
    );
    assert_eq!(instance.analysis.look(), Activity::Nothing);
    set(&instance.host().audition, true);
    instance.play(&left[..1_000], &right[..1_000], 64, false);
    assert_eq!(
        instance.analysis.look(),
        Activity::Sound,
        "the match and the worse line are wanted soon"
    );
    set(&instance.host().audition, false);
    let window = instance.shared.open_window();
    instance.play(&left[..1_000], &right[..1_000], 64, false);
    assert_eq!(instance.analysis.look(), Activity::Sound, "somebody looks");
    drop(window);
}
