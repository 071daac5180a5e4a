//! The line check over an electrical loop, and over sounds that are no recording of it.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]
#![allow(
    clippy::cast_possible_truncation,
    reason = "a test chooses the numbers it converts"
)]

use sumproof_core::line_check::{
    Answer, Arrival, Findings, Generator, Notice, Plan, ReadFailure, Reception, SignalSettings, Trust,
    Unknown, read,
};
use sumproof_core::routing::feed::{Ending, FeedId, Side};
use sumproof_core::routing::line::Polarity;
use sumproof_signals::venue::{AutoGain, Cut, End, Movement, Noise, Room, SecondWay, Venue};
use sumproof_signals::{LineFault, Rng, Stereo};

const RATE_HZ: f64 = 48_000.0;

fn played(plan: &Plan, rate_hz: f64) -> Stereo {
    let mut generator = Generator::new(plan.clone(), rate_hz);
    let frames = usize::try_from(generator.frames()).unwrap();
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    generator.fill(&mut left, &mut right);
    let wide = |x: Vec<f32>| x.into_iter().map(f64::from).collect();
    Stereo::new(wide(left), wide(right))
}

fn narrow(x: &[f64]) -> Vec<f32> {
    x.iter().map(|&x| x as f32).collect()
}

fn recorded(venue: &Venue) -> Vec<f32> {
    let sound = played(&Plan::new(SignalSettings::default()).unwrap(), RATE_HZ);
    narrow(&venue.record(&sound.left, &sound.right, RATE_HZ))
}

fn found(samples: &[f32], rate_hz: f64) -> Result<Findings, ReadFailure> {
    read(
        &[samples],
        rate_hz,
        &Plan::new(SignalSettings::default()).unwrap(),
    )
}

/// CHECKS 8, ESS-2: the right line inverted, −20 dB, 37.4 samples late, first-order high-pass at 30 Hz.
fn ess_2() -> Venue {
    let mut venue = Venue::straight(End::Sum);
    venue.right = LineFault {
        flip: true,
        gain_db: -20.0,
        delay_s: 37.4 / RATE_HZ,
        high_pass_hz: Some(30.0),
        unplugged: false,
    };
    venue.recorder.before_s = 1.0;
    venue.recorder.behind_s = 1.0;
    venue
}

#[test]
fn the_electrical_loop_comes_back_as_it_is() {
    let finding = found(&recorded(&ess_2()), RATE_HZ).unwrap();
    let pair = finding.pair.as_ref().unwrap();
    assert_eq!(pair.polarity.value().unwrap(), Polarity::Flipped);
    let level_db = pair.level_db.value().unwrap();
    assert!((level_db + 20.0).abs() < 0.05, "{level_db}");
    let delay = pair.delay_s.value().unwrap() * RATE_HZ;
    assert!((delay - 37.4).abs() < 0.01, "{delay} samples");
    let [left, right] = pair.corners_hz.value().unwrap();
    assert!(left < 1.0 && (right - 30.0).abs() < 0.6, "{left} and {right} Hz");
    // 30 Hz against 1 kHz, in the response's bands: −3.006 dB, tolerance 0.05 dB, which includes the width of a band of
    // a third of a semitone.
    let near = |hz: f64| {
        let curve = &finding.pictures.difference_db;
        curve
            .iter()
            .min_by(|a, b| (a.0 - hz).abs().total_cmp(&(b.0 - hz).abs()))
            .copied()
            .unwrap()
    };
    let (low, high) = (near(30.0), near(1000.0));
    let expected = -10.0 * (1.0 + (30.0 / low.0).powi(2)).log10();
    assert!(
        (low.1 - high.1 - expected).abs() < 0.05,
        "{low:?} {high:?} {expected}"
    );
    assert!(finding.drift_ppm.unwrap().abs() < 0.01, "{:?}", finding.drift_ppm);
    // A straight path shows each line's own polarity.
    let absolute = |side: usize| finding.lines[side].absolute.unwrap().value;
    assert_eq!((absolute(0), absolute(1)), (Polarity::Normal, Polarity::Flipped));
    assert_eq!(finding.feeding.heard.value().unwrap(), Reception::Difference);
}

#[test]
fn what_was_found_is_a_feed_of_ones_own() {
    let feed = found(&recorded(&ess_2()), RATE_HZ).unwrap().own_feed().unwrap();
    assert!(matches!(feed.ending, Ending::Sum(_)));
    assert_eq!(feed.left.polarity, Polarity::Normal);
    assert_eq!(feed.right.polarity, Polarity::Flipped);
    assert!((feed.right.gain_db + 20.0).abs() < 0.05 && feed.left.gain_db == 0.0);
    assert!((feed.right.delay_s * RATE_HZ - 37.4).abs() < 0.01 && feed.left.delay_s == 0.0);
}

#[test]
fn each_ending_is_told() {
    for (end, heard, first) in [
        (End::Sum, Reception::Sum, FeedId::MonoWedge),
        (End::Left, Reception::One(Side::Left), FeedId::LeftLineOnly),
        (End::Right, Reception::One(Side::Right), FeedId::RightLineOnly),
        (End::Difference, Reception::Difference, FeedId::WedgeLineFlipped),
    ] {
        let finding = found(&recorded(&Venue::straight(end)), RATE_HZ).unwrap();
        assert_eq!(finding.feeding.heard.value().unwrap(), heard, "{end:?}");
        assert_eq!(finding.feeding.feeds[0], first, "{end:?}");
    }
}

#[test]
fn a_desk_that_keeps_the_lines_apart_is_a_stereo_house() {
    let sound = played(&Plan::new(SignalSettings::default()).unwrap(), RATE_HZ);
    let mut venue = ess_2();
    venue.end = End::Left;
    let left = narrow(&venue.record(&sound.left, &sound.right, RATE_HZ));
    venue.end = End::Right;
    let mut right = narrow(&venue.record(&sound.left, &sound.right, RATE_HZ));
    right.resize(left.len(), 0.0);
    let plan = Plan::new(SignalSettings::default()).unwrap();
    let finding = read(&[&left, &right], RATE_HZ, &plan).unwrap();
    assert_eq!(finding.feeding.feeds, [FeedId::StereoHouse]);
    let pair = finding.pair.unwrap();
    assert_eq!(pair.polarity.value().unwrap(), Polarity::Flipped);
    assert!((pair.delay_s.value().unwrap() * RATE_HZ - 37.4).abs() < 0.01);
    assert!((pair.level_db.value().unwrap() + 20.0).abs() < 0.05);
    // The same with the cables swapped.
    let finding = read(&[&right, &left], RATE_HZ, &plan).unwrap();
    assert_eq!(finding.feeding.feeds, [FeedId::StereoHouse]);
    assert!(Notice::Swapped == finding.notices[0]);
}

#[test]
fn one_mono_source_and_unplugged_lines_tell_the_same() {
    let plan = Plan::new(SignalSettings::mono()).unwrap();
    let sound = played(&plan, RATE_HZ);
    let pauses = plan.pauses_s();
    let line = |plugged: &dyn Fn(f64) -> bool| -> Vec<f64> {
        let keep = |n: usize| plugged(n as f64 / RATE_HZ);
        sound
            .left
            .iter()
            .enumerate()
            .map(|(n, &x)| if keep(n) { x } else { 0.0 })
            .collect()
    };
    let left = line(&|t| t < pauses[1] + 2.0);
    let right = line(&|t| !(pauses[0] + 2.0..pauses[1] + 2.0).contains(&t));
    let mut venue = ess_2();
    venue.recorder.drift_ppm = 60.0;
    let samples = narrow(&venue.record(&left, &right, RATE_HZ));
    let finding = read(&[&samples], RATE_HZ, &plan).unwrap();
    let pair = finding.pair.unwrap();
    assert_eq!(pair.polarity.value().unwrap(), Polarity::Flipped);
    assert!((pair.delay_s.value().unwrap() - 37.4 / RATE_HZ).abs() < 2e-5);
    assert!((pair.level_db.value().unwrap() + 20.0).abs() < 0.2);
}

#[test]
fn what_is_no_recording_of_it_gets_one_line() {
    let silence = vec![0.0; 24 * 48_000];
    assert_eq!(found(&silence, RATE_HZ), Err(ReadFailure::Silence));
    let mut rng = Rng::new(5);
    let noise: Vec<f32> = (0..24 * 48_000).map(|_| 0.1 * rng.gaussian() as f32).collect();
    assert_eq!(found(&noise, RATE_HZ), Err(ReadFailure::NotFound));
    let all = recorded(&ess_2());
    assert!(matches!(
        found(&all[200_000..248_000], RATE_HZ),
        Err(ReadFailure::TooShort { .. })
    ));
    let Err(ReadFailure::Partial { there, missing }) = found(&all[..14 * 48_000], RATE_HZ) else {
        panic!("half a recording is a part");
    };
    assert_eq!(
        (there, missing),
        (vec!["left", "right"], vec!["both equal", "both opposite"])
    );
    assert!(matches!(
        found(&all[all.len() / 2..], RATE_HZ),
        Err(ReadFailure::Partial { .. })
    ));
    assert_eq!(found(&[], RATE_HZ), Err(ReadFailure::Shape));
    let mut broken = all;
    broken[100] = f32::NAN;
    assert_eq!(found(&broken, RATE_HZ), Err(ReadFailure::NotNumbers));
}

#[test]
fn any_rate_that_is_usual_will_do() {
    for rate_hz in [16_000.0, 22_050.0, 44_100.0, 96_000.0] {
        let mut venue = ess_2();
        venue.recorder.rate_hz = rate_hz;
        venue.recorder.drift_ppm = -150.0;
        venue.room = Room::Synthetic {
            decay_s: 0.4,
            direct_db: 3.0,
            seed: 3,
        };
        let finding = found(&recorded(&venue), rate_hz).unwrap();
        let pair = finding.pair.unwrap();
        assert_eq!(pair.polarity.value().unwrap(), Polarity::Flipped, "{rate_hz}");
        assert!(
            (pair.delay_s.value().unwrap() - 37.4 / RATE_HZ).abs() < 5e-6,
            "{rate_hz}"
        );
        assert!((pair.level_db.value().unwrap() + 20.0).abs() < 0.3, "{rate_hz}");
        assert!((finding.drift_ppm.unwrap() + 150.0).abs() < 1.0, "{rate_hz}");
    }
}

/// Without noise, a weighting by noise rests on a few bins, whose response begins long before the sound.
#[test]
fn the_first_arrival_is_found_without_noise_and_with_a_late_line() {
    for (gain_db, corner_hz, before_s) in [(0.0, 179.4, -0.7329), (-13.65, 133.7, -1.4881)] {
        let mut venue = Venue::straight(End::Sum);
        venue.left = LineFault {
            flip: true,
            gain_db,
            delay_s: 0.015_258,
            high_pass_hz: Some(corner_hz),
            unplugged: false,
        };
        venue.right.flip = true;
        venue.recorder.before_s = before_s;
        venue.recorder.behind_s = 1.0;
        venue.recorder.drift_ppm = -3.8;
        venue.recorder.clipped_db = 0.6;
        venue.recorder.peak_dbfs = Some(-6.0);
        let mut samples = recorded(&venue);
        // As in a 16-bit file.
        samples
            .iter_mut()
            .for_each(|x| *x = (*x * 32_767.0).round() / 32_767.0);
        let finding = found(&samples, RATE_HZ).unwrap();
        assert!(
            (finding.start_s - before_s).abs() < 0.008,
            "{} instead of {before_s}",
            finding.start_s
        );
        assert_eq!(finding.feeding.heard.value().unwrap(), Reception::Sum);
        let pair = finding.pair.unwrap();
        assert_eq!(pair.polarity.value().unwrap(), Polarity::Normal);
        assert!((pair.delay_s.value().unwrap() + 0.015_258).abs() < 2e-5);
        assert!((pair.level_db.value().unwrap() + gain_db).abs() < 0.3);
    }
}

/// A large room spreads a line over time, so no single peak of a soft one stands out of loud noise.
#[test]
fn a_soft_line_and_a_missing_one_are_told_apart_in_loud_noise() {
    for seed in 0..2 {
        let mut venue = Venue::straight(End::Sum);
        venue.right = LineFault {
            flip: true,
            gain_db: -19.0,
            delay_s: 0.012,
            high_pass_hz: Some(100.0),
            unplugged: false,
        };
        venue.loudspeaker_hz = Some((80.0, 12_000.0));
        venue.room = Room::Synthetic {
            decay_s: 1.2,
            direct_db: -15.0,
            seed,
        };
        venue.noise = Some(Noise {
            below_db: 6.0,
            pink: seed % 2 == 0,
            seed: 70 + seed,
        });
        let finding = found(&recorded(&venue), RATE_HZ).unwrap();
        assert_eq!(
            finding.lines.clone().map(|line| line.arrival),
            [Arrival::Yes; 2],
            "{seed}"
        );
        assert_eq!(finding.pair.unwrap().polarity.value().unwrap(), Polarity::Flipped);
        venue.end = End::Left;
        let finding = found(&recorded(&venue), RATE_HZ).unwrap();
        assert!(
            matches!(finding.lines[1].arrival, Arrival::No { below_db } if (20.0..40.0).contains(&below_db)),
            "{seed}: {:?}",
            finding.lines[1].arrival
        );
        assert_eq!(finding.feeding.heard.value().unwrap(), Reception::One(Side::Left));
    }
}

/// The parts in which both lines sound give the level difference even if the gain changes between parts, also without
/// the first marker.
#[test]
fn an_automatic_gain_in_noise_leaves_the_level_as_it_is() {
    for (level_db, before_s) in [(-14.0, 1.0), (9.0, -1.8)] {
        let mut venue = Venue::straight(End::Sum);
        let soft = LineFault {
            flip: true,
            gain_db: -f64::abs(level_db),
            delay_s: 0.008,
            high_pass_hz: None,
            unplugged: false,
        };
        if level_db < 0.0 {
            venue.right = soft;
        } else {
            venue.left = soft;
        }
        venue.loudspeaker_hz = Some((80.0, 12_000.0));
        venue.room = Room::Synthetic {
            decay_s: 0.6,
            direct_db: 3.0,
            seed: 8,
        };
        venue.noise = Some(Noise {
            below_db: 15.0,
            pink: true,
            seed: 12,
        });
        venue.recorder.before_s = before_s;
        venue.recorder.behind_s = 1.0;
        venue.recorder.gain = Some(AutoGain {
            attack_s: 0.02,
            release_s: 1.0,
            ratio: 4.0,
            most_db: 25.0,
        });
        let finding = found(&recorded(&venue), RATE_HZ).unwrap();
        assert!(
            finding.notices.contains(&Notice::GainMoved),
            "{:?}",
            finding.notices
        );
        let pair = finding.pair.unwrap();
        assert_eq!(pair.polarity.value(), Some(Polarity::Flipped));
        // Either right or not reported.
        if let Some(level) = pair.level_db.known() {
            assert!(
                (level.value - level_db).abs() <= level.within.max(0.5),
                "{level:?} instead of {level_db}"
            );
        }
    }
}

/// Contradictions between the parts: a swaying phone, a missing piece, two loudspeakers.
#[test]
fn what_the_parts_contradict_is_not_told() {
    let room = |seed| Room::Synthetic {
        decay_s: 0.7,
        direct_db: 2.0,
        seed,
    };
    let mut venue = Venue::straight(End::Sum);
    venue.right.delay_s = 0.003;
    venue.loudspeaker_hz = Some((80.0, 12_000.0));
    venue.room = room(8);
    venue.recorder.before_s = 1.0;
    venue.recorder.behind_s = 1.0;
    let still = found(&recorded(&venue), RATE_HZ).unwrap();
    assert_eq!(still.notices, []);
    assert!((still.pair.unwrap().delay_s.value().unwrap() - 0.003).abs() < 1e-5);

    let mut swaying = venue.clone();
    swaying.movement = Some(Movement::Sway {
        metres: 0.03,
        hz: 0.4,
        seed: 2,
    });
    let mut cut = venue.clone();
    cut.recorder.cut = Some(Cut {
        at_s: 10.5,
        seconds: 0.004,
    });
    let mut two = venue.clone();
    two.second = Some(SecondWay {
        right_only: true,
        gain_db: 1.0,
        delay_s: 0.002,
        room: room(9),
    });
    for (venue, notice, why) in [
        (swaying, Notice::Moved, Unknown::Moved),
        (cut, Notice::Cut, Unknown::Cut),
        (two, Notice::DifferentWays, Unknown::DifferentWays),
    ] {
        let finding = found(&recorded(&venue), RATE_HZ).unwrap();
        assert!(
            finding.notices.contains(&notice),
            "{notice:?}: {:?}",
            finding.notices
        );
        assert_eq!(finding.own_feed(), None, "{notice:?}");
        let pair = finding.pair.unwrap();
        assert_eq!(pair.delay_s, Answer::Unknown(why));
        assert_eq!(pair.level_db, Answer::Unknown(why));
        assert_ne!(pair.polarity.trust(), Some(Trust::Sure));
    }
}

/// The reader recognises the signal in the recording, whatever was expected.
#[test]
fn another_signal_another_rate_and_two_signals_are_named() {
    let venue = ess_2();
    let all = recorded(&venue);
    let late = |finding: &Findings| finding.pair.as_ref().unwrap().delay_s.known().unwrap();

    let other = found(&all, 44_100.0).unwrap();
    assert!(other.notices.contains(&Notice::OtherRate));
    assert!((other.rate_hz - RATE_HZ).abs() < 1e-6);
    let delay = late(&other);
    assert!((delay.value - 37.4 / RATE_HZ).abs() < 1e-6 && delay.within > 0.08 * delay.value);

    let long = Plan::new(SignalSettings {
        sweep_s: 3.0,
        ..SignalSettings::default()
    })
    .unwrap();
    let finding = read(&[&all], RATE_HZ, &long).unwrap();
    assert!(finding.notices.contains(&Notice::OtherLength));
    assert_eq!(finding.sweep_s, 2.0);
    let mono = Plan::new(SignalSettings::mono()).unwrap();
    let finding = read(&[&all], RATE_HZ, &mono).unwrap();
    assert!(finding.notices.contains(&Notice::OtherMode));
    assert!((late(&finding).value - 37.4 / RATE_HZ).abs() < 1e-6);

    let mut first = venue;
    first.right.delay_s = 0.0;
    let mut twice = recorded(&first);
    twice.extend(&all);
    let finding = found(&twice, RATE_HZ).unwrap();
    assert!(finding.notices.contains(&Notice::SeveralSignals));
    assert!((late(&finding).value - 37.4 / RATE_HZ).abs() < 1e-6);
}

#[test]
fn no_plug_pulled_and_a_player_that_mixes_are_named() {
    let plan = Plan::new(SignalSettings::mono()).unwrap();
    let sound = played(&plan, RATE_HZ);
    let mut venue = ess_2();
    venue.right.flip = false;
    let samples = narrow(&venue.record(&sound.left, &sound.right, RATE_HZ));
    let finding = read(&[&samples], RATE_HZ, &plan).unwrap();
    assert!(
        finding.notices.contains(&Notice::NothingPulled),
        "{:?}",
        finding.notices
    );
    assert_eq!(finding.feeding.heard, Answer::Unknown(Unknown::NothingPulled));

    let sound = played(&Plan::new(SignalSettings::default()).unwrap(), RATE_HZ);
    venue.mixed_to_mono = true;
    let finding = found(
        &narrow(&venue.record(&sound.left, &sound.right, RATE_HZ)),
        RATE_HZ,
    )
    .unwrap();
    assert!(
        finding.notices.contains(&Notice::PerhapsMono),
        "{:?}",
        finding.notices
    );
}
