//! The line check's sheet under a pointer and a keyboard: two steps, any key, and every way out.

use egui::{Event, Key};
use egui_kittest::kittest::{NodeT, Queryable};
use sumproof_core::line_check::{Mode, SignalSettings};
use sumproof_tests::render::{Scene, Stage, scenes};
use sumproof_views::{CheckWish, Hearing, Intent, Sending};

const READY: &str = "line check, first step: hold the sound back";
const SEND: &str = "line check, second step: send it now";

fn scene(name: &str) -> Scene {
    scenes().into_iter().find(|scene| scene.name == name).expect(name)
}

fn click(stage: &mut Stage, label: &str) {
    stage.harness.get_by_label(label).click();
    stage.harness.run();
}

fn wish(wish: CheckWish) -> Vec<Intent> {
    vec![Intent::Check(wish)]
}

/// The owner's snapshot while the signal plays.
fn goes_out(stage: &mut Stage) {
    let snapshot = &mut stage.harness.state_mut().snapshot;
    snapshot.check.on = true;
    snapshot.check.sending = Some(Sending {
        settings: SignalSettings::default(),
        at_s: 1.0,
    });
    snapshot.hearing = Hearing::Test;
    stage.harness.run();
}

#[test]
fn two_steps_lead_to_sound_and_it_begins_low() {
    let mut stage = scene("line-check").stage();
    assert!(stage.harness.state().window.attends_check());
    assert!(
        stage.harness.query_by_label(SEND).is_none(),
        "the second step before the first"
    );
    stage.take_intents();
    click(&mut stage, READY);
    assert_eq!(stage.take_intents(), wish(CheckWish::Hold));
    // As long as the owner doesn't hold the sound back there's no second step.
    assert!(stage.harness.query_by_label(SEND).is_none());
    stage.harness.state_mut().snapshot.check.held = true;
    stage.harness.run();
    click(&mut stage, READY);
    assert_eq!(stage.take_intents(), wish(CheckWish::Hold));
    click(&mut stage, SEND);
    let settings = SignalSettings {
        level_dbfs: -40.0,
        ..SignalSettings::default()
    };
    assert_eq!(stage.take_intents(), wish(CheckWish::Send(settings)));
    // The next one needs both steps again, and keeps the settings.
    assert!(stage.harness.query_by_label(SEND).is_none());
    click(&mut stage, "line check sends: one source, plugs by hand");
    click(&mut stage, "line check pause: 15 s");
    click(&mut stage, "line check peak, dBFS: \u{2212}20");
    click(&mut stage, READY);
    click(&mut stage, SEND);
    let settings = SignalSettings {
        mode: Mode::Mono { pause_s: 15.0 },
        level_dbfs: -20.0,
        ..SignalSettings::default()
    };
    let mut expected = wish(CheckWish::Hold);
    expected.extend(wish(CheckWish::Send(settings)));
    assert_eq!(stage.take_intents(), expected);
}

#[test]
fn any_key_stops_it_and_does_nothing_else() {
    let mut stage = scene("line-check-sending").stage();
    stage.take_intents();
    for key in [
        Key::Num5,
        Key::Escape,
        Key::Enter,
        Key::Tab,
        Key::Space,
        Key::A,
        Key::ArrowDown,
        Key::F5,
    ] {
        stage.harness.key_press(key);
        stage.harness.run();
        assert_eq!(stage.take_intents(), wish(CheckWish::Stop), "{key:?}");
        assert!(stage.harness.state().window.attends_check(), "{key:?}");
    }
    // A letter without an egui key.
    stage.harness.event(Event::Text("\u{fc}".into()));
    stage.harness.run();
    assert_eq!(stage.take_intents(), wish(CheckWish::Stop));
    click(&mut stage, "line check: stop the signal");
    assert_eq!(stage.take_intents(), wish(CheckWish::Stop));
}

#[test]
fn every_way_out_lets_the_sound_pass_again() {
    let out: [&str; 4] = [
        "done with this sheet",
        "how dry and wet are told apart",
        "your own feed, and the limits",
        "what the venue\u{2019}s lines do: the line check",
    ];
    for way in out {
        for sounds in [false, true] {
            let mut stage = scene("line-check-ready").stage();
            if sounds {
                goes_out(&mut stage);
            }
            stage.take_intents();
            click(&mut stage, way);
            // Requested with every frame until it's done, in case the owner hasn't handled it yet.
            let intents = stage.take_intents();
            assert!(!intents.is_empty(), "{way}");
            assert!(
                intents
                    .iter()
                    .all(|intent| *intent == Intent::Check(CheckWish::Release)),
                "{way}: {intents:?}"
            );
            assert!(!stage.harness.state().window.attends_check());
        }
    }
    let mut stage = scene("line-check-ready").stage();
    stage.harness.key_press(Key::Escape);
    stage.harness.run();
    assert!(stage.take_intents().contains(&Intent::Check(CheckWish::Release)));
    let mut stage = scene("smallest-line-check").stage();
    click(&mut stage, "page: feeds");
    assert!(stage.take_intents().contains(&Intent::Check(CheckWish::Release)));
    let mut stage = scene("line-check-ready").stage();
    stage.take_intents();
    click(&mut stage, "line check: let the sound pass again");
    assert_eq!(stage.take_intents(), wish(CheckWish::Release));
}

#[test]
fn what_was_found_is_said_and_becomes_the_own_feed() {
    let mut stage = scene("line-check-found").stage();
    stage.take_intents();
    let said = stage.harness.get_by(|node| {
        node.value()
            .is_some_and(|text| text.contains("Tell the engineer"))
    });
    let text = said.accesskit_node().value().unwrap_or_default();
    assert!(
        text.contains("My right line is 7.0 dB softer") && text.contains("(sure)"),
        "{text}"
    );
    assert!(text.contains("delay: the right line is 2.100 ms late"), "{text}");
    click(&mut stage, "line check: make what was found your own feed");
    assert_eq!(stage.take_intents(), wish(CheckWish::Save));
    stage.harness.state_mut().snapshot.check.saved = true;
    stage.harness.run();
    assert!(
        stage
            .harness
            .query_by_label("line check: make what was found your own feed")
            .is_none()
    );
}
