//! Totals and passes of presets with a delay between the channels, against the time domain.
#![allow(
    clippy::cast_possible_truncation,
    reason = "a test chooses the numbers it converts"
)]

use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::score::board::Row;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::split::two_pass::{PassAudio, TwoPass};
use sumproof_signals::truth::{MonoFeed, change_db};
use sumproof_signals::{LineFault, PresetKind, PresetSpec, Stereo, delay, render};

const RATE_HZ: f64 = 48_000.0;
const DELAYS_MS: [f64; 6] = [0.0, 1.0, 7.0, 14.0, 25.0, 40.0];

/// A guitar with a wide reverb, with the right channel's dry late: a late copy.
fn preset(late_ms: f64) -> [Stereo; 2] {
    let made = render(&PresetSpec {
        seconds: 4.0,
        wet_db: -8.0,
        ..PresetSpec::new(PresetKind::EqualDry)
    });
    let mut right = delay::delayed(&made.dry.right, late_ms * RATE_HZ / 1000.0);
    right.truncate(made.dry.left.len());
    [Stereo::new(made.dry.left, right), made.wet]
}

fn narrowed(pair: &Stereo) -> [Vec<f32>; 2] {
    [&pair.left, &pair.right].map(|channel| channel.iter().map(|&x| x as f32).collect())
}

fn added([dry, wet]: &[Stereo; 2]) -> Stereo {
    let sum = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a + b).collect();
    Stereo::new(sum(&dry.left, &wet.left), sum(&dry.right, &wet.right))
}

/// The feed of a row in the time domain.
fn feeds(row: &Row) -> Option<MonoFeed> {
    let fault = match row.id {
        FeedId::MonoWedge => return Some(MonoFeed::wedge()),
        FeedId::LeftLineOnly => return Some(MonoFeed::left_only()),
        FeedId::WedgeLineFlipped => LineFault::FLIP,
        FeedId::WedgeLinePadded => LineFault::gain(-20.0),
        FeedId::WedgeLineLate => LineFault::late(0.001),
        _ => return None,
    };
    Some(if row.worse == Some(Side::Left) {
        MonoFeed::wedge_with(fault, LineFault::NONE)
    } else {
        MonoFeed::wedge_with(LineFault::NONE, fault)
    })
}

fn near(found_db: f64, true_db: f64, allowed_db: f64, what: &str) {
    // Below −30 dB a figure is a difference of nearly equal numbers.
    let deep = found_db < -30.0 && true_db < -30.0;
    assert!(
        deep || (found_db - true_db).abs() <= allowed_db,
        "{what}: {found_db:.3} dB, in the time domain {true_db:.3}"
    );
}

#[test]
fn every_feeds_total_is_what_it_is_in_the_time_domain() {
    for late_ms in DELAYS_MS {
        let full = added(&preset(late_ms));
        let [left, right] = narrowed(&full);
        let mut monitor = Monitor::for_takes(RATE_HZ);
        monitor.start_take();
        monitor.push(&left, &right);
        let take: Take = monitor
            .finish_take("a".into(), Pass::Full)
            .expect("it has frames");
        if late_ms > 0.0 {
            let delay = take.delay.expect("the copy is late");
            assert!(
                (delay.delay_s * 1000.0 - late_ms).abs() < 0.01,
                "{late_ms}: {delay:?}"
            );
        }
        for row in take.rows(&Rig::default(), 0.0) {
            let Some(feed) = feeds(&row) else { continue };
            let what = format!("{late_ms} ms, {}", row.id.id());
            let score = row.score.expect("it is loud enough");
            near(score.total_db, change_db(&full, &feed, RATE_HZ), 0.05, &what);
        }
    }
}

#[test]
fn passes_are_exact_with_channels_apart() {
    for late_ms in DELAYS_MS {
        let parts = preset(late_ms);
        let [dry, wet] = [narrowed(&parts[0]), narrowed(&parts[1])];
        let pass = |[left, right]: &'static [Vec<f32>; 2]| PassAudio {
            rate_hz: RATE_HZ,
            left,
            right,
        };
        let (dry, wet) = (Box::leak(Box::new(dry)), Box::leak(Box::new(wet)));
        let take = TwoPass::of_audio(&pass(dry), &pass(wet), None)
            .expect("both are loud")
            .take("a".into());
        for row in take.rows(&Rig::default(), 0.0) {
            let Some(feed) = feeds(&row) else { continue };
            let what = format!("{late_ms} ms, {}", row.id.id());
            let score = row.score.expect("it is loud enough");
            let dry_db = score.dry_db.expect("there's a dry");
            let wet_db = score.wet_db.expect("there's a wet");
            near(
                dry_db,
                change_db(&parts[0], &feed, RATE_HZ),
                0.1,
                &format!("{what}, dry"),
            );
            near(
                wet_db,
                change_db(&parts[1], &feed, RATE_HZ),
                0.1,
                &format!("{what}, wet"),
            );
        }
    }
}
