//! The window under a pointer and a keyboard: over the real widget tree.

use std::collections::BTreeSet;

use egui::accesskit::Role;
use egui::{Event, Key, Modifiers, MouseWheelUnit, Pos2, TouchPhase, vec2};
use egui_kittest::kittest::{NodeT, Queryable};
use sumproof_core::feed::{FeedId, Side};
use sumproof_tests::render::{Scene, Stage, scenes};
use sumproof_views::{Control, Intent, Setting};

fn scene(name: &str) -> Scene {
    scenes().into_iter().find(|scene| scene.name == name).expect(name)
}

/// Label and role of everything that can be acted on.
fn actionable(stage: &Stage) -> Vec<(String, Role)> {
    stage
        .harness
        .root()
        .children_recursive()
        .map(|node| node.accesskit_node())
        .filter(|node| {
            matches!(
                node.role(),
                Role::Button
                    | Role::RadioButton
                    | Role::SpinButton
                    | Role::TextInput
                    | Role::CheckBox
                    | Role::Slider
            )
        })
        .map(|node| (node.label().unwrap_or_default(), node.role()))
        .collect()
}

fn place(stage: &Stage, label: &str) -> Pos2 {
    stage.harness.get_by_label(label).rect().center()
}

fn gesture(setting: Setting) -> Vec<Intent> {
    let control = setting.control();
    vec![Intent::Begin(control), Intent::Set(setting), Intent::End(control)]
}

fn feed_label(stage: &Stage, id: FeedId) -> String {
    actionable(stage)
        .into_iter()
        .map(|(label, _)| label)
        .find(|label| {
            label
                .strip_prefix(id.name())
                .is_some_and(|rest| rest.starts_with(':') || rest.starts_with(" ("))
        })
        .expect("a row for every feed")
}

#[test]
fn everything_that_can_be_acted_on_has_a_name_of_its_own() {
    for scene in scenes() {
        let stage = scene.stage();
        let all = actionable(&stage);
        assert!(all.len() >= 6, "{}: {all:?}", scene.name);
        let mut seen = BTreeSet::new();
        for (label, role) in all {
            assert!(!label.trim().is_empty(), "{}: a nameless {role:?}", scene.name);
            assert!(
                seen.insert(label.clone()),
                "{}: two are called '{label}'",
                scene.name
            );
        }
    }
}

#[test]
fn the_keyboard_reaches_everything() {
    for name in [
        "good",
        "comparing",
        "auditioning",
        "overflow",
        "smallest",
        "smallest-lines",
        "smallest-setup",
    ] {
        let mut stage = scene(name).stage();
        let all: BTreeSet<String> = actionable(&stage).into_iter().map(|(label, _)| label).collect();
        let mut reached = BTreeSet::new();
        for _ in 0..all.len() * 2 {
            stage.harness.key_press(Key::Tab);
            stage.harness.run();
            reached.extend(
                stage
                    .harness
                    .root()
                    .children_recursive()
                    .filter(|node| node.is_focused())
                    .filter_map(|node| node.accesskit_node().label()),
            );
        }
        let missed: Vec<&String> = all.difference(&reached).collect();
        assert!(missed.is_empty(), "{name}: Tab never reaches {missed:?}");
        assert!(
            stage.take_intents().is_empty(),
            "{name}: walking about changed something"
        );
    }
}

/// A DAW starts and stops by it; a widget with the keyboard must not take it for a click.
#[test]
fn the_space_bar_stays_with_the_host() {
    let mut stage = scene("good").stage();
    for (label, role) in actionable(&stage) {
        stage.harness.get_by_label(&label).focus();
        stage.harness.run();
        stage.harness.key_press(Key::Space);
        stage.harness.event(Event::Text(" ".into()));
        stage.harness.run();
        let intents = stage.take_intents();
        assert!(intents.is_empty(), "space on {role:?} '{label}' did {intents:?}");
        assert!(
            !stage.harness.state().window.is_typing(),
            "space on '{label}' began typing"
        );
    }
}

#[test]
fn digits_audition_and_zero_or_escape_go_back() {
    let mut stage = scene("good").stage();
    stage.harness.key_press(Key::Num5);
    stage.harness.run();
    let mut expected = gesture(Setting::Feed(FeedId::WedgeLineFlipped));
    expected.extend(gesture(Setting::Audition(true)));
    assert_eq!(stage.take_intents(), expected);
    // Already chosen: only the audition is left to switch on.
    stage.harness.key_press(Key::Num2);
    stage.harness.run();
    assert_eq!(stage.take_intents(), gesture(Setting::Audition(true)));
    stage.harness.key_press(Key::Num0);
    stage.harness.run();
    assert_eq!(stage.take_intents(), []);

    let mut stage = scene("auditioning").stage();
    for key in [Key::Num0, Key::Escape] {
        stage.harness.key_press(key);
        stage.harness.run();
        assert_eq!(stage.take_intents(), gesture(Setting::Audition(false)));
    }
    stage.harness.get_by_label("back to stereo").click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), gesture(Setting::Audition(false)));
}

#[test]
fn every_row_auditions_its_feed_by_click_and_by_enter() {
    let mut stage = scene("good").stage();
    for id in FeedId::ALL {
        let label = feed_label(&stage, id);
        let mut expected = if id == FeedId::MonoWedge {
            vec![]
        } else {
            gesture(Setting::Feed(id))
        };
        expected.extend(gesture(Setting::Audition(true)));
        stage.harness.get_by_label(&label).click();
        stage.harness.run();
        assert_eq!(stage.take_intents(), expected, "{label}");
        stage.harness.get_by_label(&label).focus();
        stage.harness.run();
        stage.harness.key_press(Key::Enter);
        stage.harness.run();
        assert_eq!(stage.take_intents(), expected, "{label}");
    }
    let label = feed_label(&stage, FeedId::MonoSubs);
    stage.harness.get_by_label(&label).click_secondary();
    stage.harness.run();
    assert_eq!(stage.take_intents(), gesture(Setting::Feed(FeedId::MonoSubs)));

    let mut stage = scene("auditioning").stage();
    let label = feed_label(&stage, FeedId::WedgeLineFlipped);
    stage.harness.get_by_label(&label).click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), gesture(Setting::Audition(false)));
}

#[test]
fn choices_set_what_they_say() {
    let mut stage = scene("good").stage();
    for (label, setting) in [
        ("left line polarity: flipped", Setting::Flipped(Side::Left, true)),
        (
            "right line plug: unplugged",
            Setting::Unplugged(Side::Right, true),
        ),
        (
            "a sum is: all of each",
            Setting::Law(sumproof_core::feed::SumLaw::Unity),
        ),
        (
            "read over: 3 s",
            Setting::Integration(sumproof_views::Integration::Long),
        ),
        ("hear it: matched", Setting::LoudnessMatch(true)),
        ("a bounce gets: the feed", Setting::AuditionInBounces(true)),
        (
            "the next take holds: wet",
            Setting::Pass(sumproof_core::take::Pass::Wet),
        ),
        ("record a take", Setting::Record(true)),
    ] {
        stage.harness.get_by_label(label).click();
        stage.harness.run();
        assert_eq!(stage.take_intents(), gesture(setting), "{label}");
    }
    stage.harness.get_by_label("start the readings over").click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [Intent::Reset]);
    stage.harness.get_by_label("left line polarity: normal").click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [], "what is chosen already stays");
}

#[test]
fn a_drag_is_one_gesture_over_many_frames() {
    let mut stage = scene("good").stage();
    let from = place(&stage, "left line gain");
    stage.harness.drag_at(from);
    stage.harness.run();
    for step in 1..=6 {
        stage.harness.hover_at(from + vec2(10.0 * step as f32, 0.0));
        stage.harness.step();
    }
    stage.harness.drop_at(from + vec2(60.0, 0.0));
    stage.harness.run();
    let intents = stage.take_intents();
    assert_eq!(intents.first(), Some(&Intent::Begin(Control::Gain(Side::Left))));
    assert_eq!(intents.last(), Some(&Intent::End(Control::Gain(Side::Left))));
    let values: Vec<f32> = intents[1..intents.len() - 1]
        .iter()
        .map(|intent| match intent {
            Intent::Set(Setting::GainDb(Side::Left, db)) => *db,
            other => panic!("{other:?} in a drag"),
        })
        .collect();
    assert!(values.len() >= 3, "{values:?}");
    assert!(values.is_sorted(), "{values:?}");
    assert!(*values.last().expect("values") > 3.0, "{values:?}");
}

#[test]
fn a_window_closed_in_a_drag_ends_the_gesture() {
    let mut stage = scene("good").stage();
    let from = place(&stage, "left line delay");
    stage.harness.drag_at(from);
    stage.harness.run();
    stage.harness.hover_at(from + vec2(40.0, 0.0));
    stage.harness.step();
    let actor = stage.harness.state_mut();
    actor.window.close(&mut actor.intents);
    let intents = stage.take_intents();
    assert_eq!(intents.first(), Some(&Intent::Begin(Control::Delay(Side::Left))));
    assert_eq!(intents.last(), Some(&Intent::End(Control::Delay(Side::Left))));
}

fn wheel(stage: &mut Stage, lines: f32, modifiers: Modifiers) {
    stage.harness.event_modifiers(
        Event::MouseWheel {
            unit: MouseWheelUnit::Line,
            delta: vec2(0.0, lines),
            phase: TouchPhase::Move,
            source: egui::MouseWheelSource::Unknown,
            modifiers,
        },
        modifiers,
    );
    stage.harness.run();
}

#[test]
fn the_wheel_steps_and_shift_makes_it_fine() {
    let mut stage = scene("good").stage();
    let at = place(&stage, "right line delay");
    stage.harness.hover_at(at);
    stage.harness.run();
    wheel(&mut stage, 1.0, Modifiers::NONE);
    assert_eq!(stage.take_intents(), gesture(Setting::DelayMs(Side::Right, 0.1)));
    wheel(&mut stage, 2.0, Modifiers::SHIFT);
    assert_eq!(stage.take_intents(), gesture(Setting::DelayMs(Side::Right, 0.02)));
    // Below nothing there is nothing: the value stays in its range.
    wheel(&mut stage, -5.0, Modifiers::NONE);
    assert_eq!(stage.take_intents(), gesture(Setting::DelayMs(Side::Right, 0.0)));
}

#[test]
fn arrows_step_delete_resets_and_digits_type() {
    let mut stage = scene("one-line-unplugged").stage();
    stage.harness.get_by_label("left line gain").focus();
    stage.harness.run();
    stage.harness.key_press(Key::ArrowUp);
    stage.harness.run();
    assert_eq!(stage.take_intents(), gesture(Setting::GainDb(Side::Left, -5.5)));
    stage.harness.key_press(Key::Delete);
    stage.harness.run();
    assert_eq!(stage.take_intents(), gesture(Setting::GainDb(Side::Left, 0.0)));
    // On a field a digit is a value, not a feed to hear.
    stage.harness.event(Event::Text("-".into()));
    stage.harness.run();
    assert!(stage.harness.state().window.is_typing());
    stage.harness.key_press(Key::Num3);
    stage.harness.event(Event::Text("3".into()));
    stage.harness.run();
    stage.harness.key_press(Key::Enter);
    stage.harness.run();
    assert_eq!(stage.take_intents(), gesture(Setting::GainDb(Side::Left, -3.0)));
    assert!(!stage.harness.state().window.is_typing());
}

#[test]
fn a_click_types_and_a_double_click_resets() {
    let mut stage = scene("one-line-unplugged").stage();
    stage.harness.get_by_label("left line transformer").click();
    stage.harness.run();
    assert!(stage.harness.state().window.is_typing());
    stage.harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    stage.harness.event(Event::Text("45 Hz".into()));
    stage.harness.run();
    stage.harness.key_press(Key::Enter);
    stage.harness.run();
    assert_eq!(stage.take_intents(), gesture(Setting::CornerHz(Side::Left, 45.0)));

    // What is no number, and Escape, leave it as it was.
    for (typed, key) in [("loud", Key::Enter), ("12", Key::Escape)] {
        stage.harness.get_by_label("left line transformer").click();
        stage.harness.run();
        stage.harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
        stage.harness.event(Event::Text(typed.into()));
        stage.harness.run();
        stage.harness.key_press(key);
        stage.harness.run();
        assert_eq!(stage.take_intents(), [], "{typed}");
        assert!(!stage.harness.state().window.is_typing());
    }

    let at = place(&stage, "left line gain");
    // A click a step, and a step is a quarter of a second: a double click, and the field is being typed into when the
    // second one comes.
    for _ in 0..2 {
        let input = stage.harness.input_mut();
        input.events.push(Event::PointerMoved(at));
        for pressed in [true, false] {
            input.events.push(Event::PointerButton {
                pos: at,
                button: egui::PointerButton::Primary,
                pressed,
                modifiers: Modifiers::NONE,
            });
        }
        stage.harness.step();
    }
    stage.harness.run();
    assert_eq!(stage.take_intents(), gesture(Setting::GainDb(Side::Left, 0.0)));
    assert!(!stage.harness.state().window.is_typing());
}

#[test]
fn takes_are_named_moved_deleted_and_brought_back() {
    // Two are picked; what is done is done to the one picked last, the third.
    let mut stage = scene("comparing").stage();
    stage.harness.get_by_label("move take wide pad earlier").click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [Intent::MoveTake { from: 2, to: 1 }]);

    let mut stage = scene("comparing").stage();
    stage.harness.get_by_label("rename take wide pad").click();
    stage.harness.run();
    stage.harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    stage.harness.event(Event::Text("  wide and slow ".into()));
    stage.harness.run();
    stage.harness.key_press(Key::Enter);
    stage.harness.run();
    let renamed = Intent::RenameTake {
        index: 2,
        name: "wide and slow".into(),
    };
    assert_eq!(stage.take_intents(), [renamed]);

    stage.harness.get_by_label("delete take wide pad").click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [Intent::DeleteTake(2)]);
    stage
        .harness
        .get_by_label("bring \u{2018}lead, first try\u{2019} back")
        .click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [Intent::UndoDelete]);
    stage.harness.get_by_label("export all takes").click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [Intent::ExportTakes]);
}

#[test]
fn a_notice_can_be_put_away() {
    let mut stage = scene("overflow").stage();
    assert!(
        stage
            .harness
            .query_by_label_contains("frames) are missing")
            .is_some()
    );
    stage.harness.get_by_label("put this notice away").click();
    stage.harness.run();
    assert!(
        stage
            .harness
            .query_by_label_contains("frames) are missing")
            .is_none()
    );
    assert_eq!(stage.take_intents(), []);
}

#[test]
fn the_look_changes_and_is_told() {
    let mut stage = scene("good").stage();
    stage.harness.get_by_label("look: paper").click();
    stage.harness.run();
    let intents = stage.take_intents();
    let [Intent::Look(look)] = intents.as_slice() else {
        panic!("{intents:?}");
    };
    assert_eq!(look.theme, sumproof_views::Theme::Paper);
    stage.harness.get_by_label("size: 1.5\u{d7}").click();
    stage.harness.run();
    assert_eq!(stage.harness.ctx.zoom_factor(), 1.5);
    assert_eq!(stage.harness.state().window.look().zoom, 1.5);
}

#[test]
fn everything_can_be_had_as_text() {
    let mut stage = scene("flipped").stage();
    stage.harness.get_by_label("copy all readings as text").click();
    stage.harness.step();
    let copied = stage
        .harness
        .output()
        .platform_output
        .commands
        .iter()
        .find_map(|command| match command {
            egui::OutputCommand::CopyText(text) => Some(text.clone()),
            _ => None,
        });
    let copied = copied.unwrap_or_else(|| {
        // The click itself takes a frame more.
        stage.harness.step();
        stage
            .harness
            .output()
            .platform_output
            .commands
            .iter()
            .find_map(|command| match command {
                egui::OutputCommand::CopyText(text) => Some(text.clone()),
                _ => None,
            })
            .expect("a text on the clipboard")
    });
    assert!(copied.starts_with("The mono wedge drops out"), "{copied}");
    for id in FeedId::ALL {
        assert!(copied.contains(id.name()), "{} is missing", id.name());
    }
}

/// No frame is asked for when nothing changed: a closed eye costs nothing.
#[test]
fn a_quiet_window_asks_for_no_frames() {
    for scene in scenes() {
        let mut stage = scene.stage();
        for _ in 0..4 {
            stage.harness.step();
        }
        let output = stage.harness.output();
        for viewport in output.viewport_output.values() {
            assert_eq!(
                viewport.repaint_delay,
                std::time::Duration::MAX,
                "{} wants to be painted again",
                scene.name
            );
        }
    }
}

/// Any size from the smallest to 4K, and any in between, is laid out without a fault.
#[test]
fn any_size_can_be_drawn() {
    let snapshot = scene("comparing").snapshot();
    let mut stage = Stage::new(snapshot, sumproof_views::Look::default(), [640.0, 420.0], 1.0);
    for size in [
        [640.0, 420.0],
        [700.0, 900.0],
        [1079.0, 661.0],
        [1080.0, 660.0],
        [2560.0, 700.0],
        [3840.0, 2160.0],
        [320.0, 200.0],
    ] {
        stage.harness.set_size(size.into());
        stage.harness.run();
        assert!(actionable(&stage).len() >= 10, "{size:?}");
    }
}
