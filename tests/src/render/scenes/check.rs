//! The states of the line check. Their findings are read from a simulated venue.

use std::sync::Arc;

use sumproof_core::line_check::{Generator, Plan, SignalSettings, Trust, read};
use sumproof_report::line_check::lines;
use sumproof_signals::venue::{End, Noise, Room, Venue};
use sumproof_views::{DEFAULT_SIZE, Found, Hearing, LineCheck, MIN_SIZE, Sending, Snapshot};
use sumproof_wording::line_check::sentence;

use super::{RATE_HZ, Scene, cached, good};

const SHEET: &str = "what the venue\u{2019}s lines do";
const READY: &str = "line check, first step";

pub fn all() -> Vec<Scene> {
    let smallest = [MIN_SIZE.0, MIN_SIZE.1];
    vec![
        Scene::new("line-check", good).clicked(&[SHEET]),
        Scene::new("line-check-ready", held)
            .clicked(&[SHEET, READY])
            .paper(),
        Scene::new("line-check-one-source", held).clicked(&[SHEET, "line check sends: one source", READY]),
        Scene::new("line-check-sending", sending).clicked(&[SHEET]),
        Scene::new("line-check-pause", pausing).clicked(&[SHEET]).paper(),
        Scene::new("line-check-stopped", stopped)
            .clicked(&[SHEET])
            .paper(),
        Scene::new("line-check-found", found).clicked(&[SHEET]),
        Scene::new("smallest-line-check", held).sized(smallest).clicked(&[
            "page: line check",
            "line check sends: one source",
            READY,
        ]),
        Scene::new("smallest-line-check-sending", sending)
            .sized(smallest)
            .clicked(&["page: line check"])
            .paper(),
        Scene::new("smallest-line-check-found", found)
            .sized(smallest)
            .clicked(&["page: line check"]),
        Scene::new("largest-line-check", sending)
            .sized([3.0 * DEFAULT_SIZE.0, 2160.0])
            .clicked(&[SHEET])
            .paper(),
        Scene {
            pixels_per_point: 2.0,
            ..Scene::new("double-line-check", found).clicked(&[SHEET])
        },
    ]
}

fn held() -> Snapshot {
    let mut snapshot = good();
    snapshot.check.held = true;
    snapshot.hearing = Hearing::Held;
    snapshot
}

fn goes_out(settings: SignalSettings, at_s: f64) -> Snapshot {
    let mut snapshot = held();
    snapshot.check = LineCheck {
        held: true,
        on: true,
        sending: Some(Sending { settings, at_s }),
        ..LineCheck::default()
    };
    snapshot.hearing = Hearing::Test;
    snapshot
}

fn sending() -> Snapshot {
    goes_out(SignalSettings::default(), 7.3)
}

fn pausing() -> Snapshot {
    let at_s = Plan::new(SignalSettings::mono()).map_or(0.0, |plan| plan.pauses_s()[1] + 2.2);
    goes_out(SignalSettings::mono(), at_s)
}

fn stopped() -> Snapshot {
    let mut snapshot = held();
    snapshot.check.said = Some(
        "The test signal arrives, but too weak to say anything: louder, closer, or with less noise, and send again.".into(),
    );
    snapshot
}

/// A microphone at a wedge: the right line late and soft, an automatic gain.
fn found() -> Snapshot {
    cached("line check", || {
        let mut snapshot = held();
        let Ok(plan) = Plan::new(SignalSettings::default()) else {
            return snapshot;
        };
        let mut generator = Generator::new(plan.clone(), RATE_HZ);
        let frames = generator.frames() as usize;
        let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
        generator.fill(&mut left, &mut right);
        let wide = |x: &[f32]| x.iter().map(|&x| f64::from(x)).collect::<Vec<f64>>();
        let mut venue = Venue::straight(End::Sum);
        venue.right.delay_s = 0.0021;
        venue.right.gain_db = -7.0;
        venue.loudspeaker_hz = Some((80.0, 12_000.0));
        venue.room = Room::Synthetic {
            decay_s: 0.5,
            direct_db: 6.0,
            seed: 3,
        };
        venue.noise = Some(Noise {
            below_db: 30.0,
            pink: true,
            seed: 8,
        });
        venue.recorder.behind_s = 1.0;
        let recorded: Vec<f32> = venue
            .record(&wide(&left), &wide(&right), RATE_HZ)
            .iter()
            .map(|&x| x as f32)
            .collect();
        if let Ok(finding) = read(&[&recorded], RATE_HZ, &plan) {
            snapshot.check.found = Some(Arc::new(Found {
                sentence: sentence(&finding),
                lines: lines(&finding),
                can_save: finding.own_feed().is_some(),
                is_sure: finding.feed_trust() == Some(Trust::Sure),
            }));
        }
        snapshot
    })
}
