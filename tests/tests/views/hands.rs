//! The window under a pointer and a keyboard: over the real widget tree.

use std::collections::BTreeSet;

use egui::accesskit::Role;
use egui::{Event, Key, Modifiers, MouseWheelUnit, Pos2, TouchPhase, vec2};
use egui_kittest::kittest::{NodeT, Queryable};
use sumproof_core::routing::boxes::{Drive, Kind, Source, Whose};
use sumproof_core::routing::feed::{Ending, FeedId, Side, SumLaw};
use sumproof_core::routing::line::Polarity;
use sumproof_core::score::outcome::Limits;
use sumproof_core::session::take::Pass;
use sumproof_core::split::kind::PresetKind;
use sumproof_tests::render::{Scene, Stage, playing, scenes};
use sumproof_views::{
    CardWords, Control, DEFAULT_SIZE, Intent, Look, NameList, OwnFeed, Setting, Snapshot, Window,
};
use sumproof_wording::Name;

fn scene(name: &str) -> Scene {
    scenes().into_iter().find(|scene| scene.name == name).expect(name)
}

/// Label and role of every widget that accepts actions.
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
        assert!(all.len() >= 6 || scene.is_afar(), "{}: {all:?}", scene.name);
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
        "boxes",
        "own-feed",
        "two-pass-failed",
        "all-of-why",
        "line-check-ready",
        "line-check-found",
        "smallest-line-check",
        "smallest-boxes",
        "smallest-own-feed",
        "card",
        "smallest-card",
        "smallest-dry-and-wet",
        "smallest-takes",
        "set",
        "smallest-set-paper",
        "recording",
    ] {
        let mut stage = scene(name).stage();
        stage.take_intents();
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

/// A DAW starts and stops with it; a focused widget must not take it for a click.
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
    let row = format!("{}:", FeedId::Own.name());
    assert!(
        !actionable(&stage)
            .iter()
            .any(|(label, _)| label.starts_with(&row)),
        "a feed that nobody has made has no row"
    );
    stage.harness.state_mut().snapshot.own.feed.right.gain_db = -6.0;
    stage.harness.run();
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
        ("a sum is: all of each", Setting::Law(SumLaw::Unity)),
        (
            "read over: 3 s",
            Setting::Integration(sumproof_views::Integration::Long),
        ),
        ("hear it: matched", Setting::LoudnessMatch(true)),
        ("a bounce gets: the feed", Setting::AuditionInBounces(true)),
        ("the next take holds: wet", Setting::Pass(Pass::Wet)),
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
    // The value stays within its range.
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
    // In a field a digit is input, not the choice of a feed.
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
fn a_click_types_and_so_does_a_double_click() {
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

    // Text that is no number, and Escape, leave it unchanged.
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
    // A frame per click, and a frame is a quarter of a second: a double click, which opens the field.
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
    assert_eq!(stage.take_intents(), []);
    assert!(stage.harness.state().window.is_typing());
    stage.harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    stage.harness.event(Event::Text("-3".into()));
    stage.harness.run();
    stage.harness.key_press(Key::Enter);
    stage.harness.run();
    assert_eq!(stage.take_intents(), gesture(Setting::GainDb(Side::Left, -3.0)));
}

/// Digits typed right after a number was accepted don't choose a feed.
#[test]
fn digits_right_after_typing_are_not_for_the_board() {
    let mut stage = scene("good").stage();
    stage.harness.get_by_label("left line gain").click();
    stage.harness.run();
    // One frame per key, a quarter of a second each.
    let press = |stage: &mut Stage, key: Key| {
        stage.harness.input_mut().events.push(Event::Key {
            key,
            physical_key: None,
            pressed: true,
            repeat: false,
            modifiers: Modifiers::NONE,
        });
        stage.harness.step();
    };
    press(&mut stage, Key::Enter);
    stage.take_intents();
    press(&mut stage, Key::Num3);
    assert_eq!(stage.take_intents(), []);
    for _ in 0..4 {
        stage.harness.step();
    }
    press(&mut stage, Key::Num3);
    assert!(!stage.take_intents().is_empty());
}

#[test]
fn the_last_four_rows_have_keys_too() {
    let mut stage = scene("good").stage();
    for (key, id) in [(Key::F1, FeedId::BalancedJackDifference), (Key::F4, FeedId::Own)] {
        stage.harness.key_press(key);
        stage.harness.run();
        let intents = stage.take_intents();
        assert!(intents.contains(&Intent::Set(Setting::Feed(id))), "{intents:?}");
    }
}

#[test]
fn lines_go_back_to_straight_by_click_and_by_key_and_that_is_undone() {
    let mut stage = scene("one-line-unplugged").stage();
    assert!(
        stage
            .harness
            .query_by_label_contains("right line unplugged")
            .is_some()
    );
    stage.harness.get_by_label("lines back to straight").click();
    stage.harness.run();
    let by_click = stage.take_intents();
    assert!(by_click.contains(&Intent::Set(Setting::Unplugged(Side::Right, false))));
    assert!(by_click.contains(&Intent::Set(Setting::GainDb(Side::Left, 0.0))));
    stage
        .harness
        .get_by_label("undo the last change of lines and settings")
        .click();
    stage.harness.run();
    let undone = stage.take_intents();
    assert!(undone.contains(&Intent::Set(Setting::Unplugged(Side::Right, true))));
    assert!(undone.contains(&Intent::Set(Setting::GainDb(Side::Left, -6.0))));
    // Without any focus, the key works too.
    let mut stage = scene("one-line-unplugged").stage();
    stage.harness.key_press(Key::Home);
    stage.harness.run();
    assert_eq!(stage.take_intents(), by_click);
    // Straight lines need no strip.
    let stage = scene("good").stage();
    assert!(stage.harness.query_by_label("lines back to straight").is_none());
}

#[test]
fn takes_are_named_moved_deleted_and_brought_back() {
    // Two are picked; actions apply to the one picked last, the third.
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
    stage
        .harness
        .get_by_label("export all takes and the rig card")
        .click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [Intent::ExportTakes]);
    stage.harness.get_by_label("import takes from the folder").click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [Intent::ImportTakes]);
}

#[test]
fn the_keyboard_comes_to_record_first() {
    let mut stage = scene("good").stage();
    stage.harness.key_press(Key::Tab);
    stage.harness.run();
    let focused = stage
        .harness
        .root()
        .children_recursive()
        .find(|node| node.is_focused())
        .and_then(|node| node.accesskit_node().label());
    assert_eq!(focused.as_deref(), Some("record a take"));
}

#[test]
fn escape_ends_a_comparison() {
    let mut stage = scene("comparing").stage();
    assert!(stage.harness.query_by_label("done comparing").is_some());
    stage.harness.key_press(Key::Escape);
    stage.harness.run();
    assert!(stage.harness.query_by_label("done comparing").is_none());
}

#[test]
fn nothing_moves_because_of_a_notice() {
    let place_of = |name: &str| {
        place(
            &scene(name).stage(),
            &feed_label(&scene(name).stage(), FeedId::MonoWedge),
        )
    };
    assert_eq!(place_of("overflow"), place_of("good"));
}

#[test]
fn a_list_of_names_is_pasted_and_used() {
    let mut stage = scene("comparing-names").stage();
    stage.harness.get_by_label("edit the list of names").click();
    stage.harness.run();
    assert!(stage.harness.state().window.is_typing());
    stage.harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    stage.harness.event(Event::Paste("one\ntwo\n\n three ".into()));
    stage.harness.run();
    stage.harness.get_by_label("use these names").click();
    stage.harness.run();
    let names = ["one", "two", "three"].map(String::from).to_vec();
    let intents = stage.take_intents();
    assert!(
        intents.contains(&Intent::Names(NameList {
            names,
            ..NameList::default()
        })),
        "{intents:?}"
    );
    stage
        .harness
        .get_by_label("every phrase of 4 s or more becomes a take: no")
        .click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), gesture(Setting::TakesByPhrase(false)));
}

#[test]
fn the_last_phrase_is_taken_by_a_word() {
    let mut stage = scene("good").stage();
    stage.harness.get_by_label("take the last phrase").click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [Intent::TakePhrase]);
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
        // The click itself takes another frame.
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
    for id in FeedId::ALL.into_iter().filter(|id| *id != FeedId::Own) {
        assert!(copied.contains(id.name()), "{} is missing", id.name());
    }
}

#[test]
fn a_box_sets_the_line_as_parameters_and_is_remembered() {
    let mut stage = scene("good").stage();
    stage.harness.get_by_label("left line box: by hand").click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [], "asking for the boxes changes nothing");
    for (label, side, kind) in [
        (
            "box, passive direct box: left",
            Side::Left,
            Kind::PassiveDirectBox,
        ),
        ("box, line isolator: right", Side::Right, Kind::LineIsolator),
    ] {
        stage.harness.get_by_label(label).click();
        stage.harness.run();
        let made = sumproof_views::line_through(Some(kind), &Source::default());
        let tenth = |value: f64| (value * 10.0).round() as f32 / 10.0;
        let mut expected = gesture(Setting::GainDb(side, tenth(made.gain_db)));
        expected.extend(gesture(Setting::CornerHz(side, tenth(made.high_pass_hz[0]))));
        expected.push(Intent::Box(side, Some(kind)));
        assert_eq!(stage.take_intents(), expected, "{label}");
    }
    // A late box adds its delay, and removes it again.
    stage.harness.get_by_label("box, wireless: left").click();
    stage.harness.run();
    let delays = |intents: &[Intent]| -> Vec<f32> {
        intents
            .iter()
            .filter_map(|intent| match intent {
                Intent::Set(Setting::DelayMs(Side::Left, ms)) => Some(*ms),
                _ => None,
            })
            .collect()
    };
    let late = sumproof_views::line_through(Some(Kind::Wireless), &Source::default()).delay_s as f32 * 1000.0;
    assert_eq!(delays(&stage.take_intents()), [late]);
    stage.harness.state_mut().snapshot.boxes.left = Some(Kind::Wireless);
    stage.harness.run();
    stage.harness.get_by_label("box, by hand: left").click();
    stage.harness.run();
    assert_eq!(delays(&stage.take_intents()), [0.0]);
    stage.harness.get_by_label("done with this sheet").click();
    stage.harness.run();
    assert!(stage.harness.query_by_label("done with this sheet").is_none());
}

/// The last rig card among the intents.
fn last_card(stage: &mut Stage) -> CardWords {
    match stage.take_intents().pop() {
        Some(Intent::Card(words)) => *words,
        other => panic!("{other:?}"),
    }
}

/// Replaces the text of the focused field.
fn retype(stage: &mut Stage, text: &str) {
    stage.harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    stage.harness.event(Event::Text(text.into()));
    stage.harness.run();
}

/// Applies the requested card, as the owner does.
fn keep_card(stage: &mut Stage, words: &mut CardWords) {
    if let Some(Intent::Card(now)) = stage.take_intents().pop() {
        words.clone_from(&now);
        stage.harness.state_mut().snapshot.card = *now;
    }
}

/// The label of the focused widget.
fn focused(stage: &Stage) -> Option<String> {
    stage
        .harness
        .root()
        .children_recursive()
        .find(|node| node.is_focused())
        .and_then(|node| node.accesskit_node().label())
}

#[test]
fn every_word_for_the_card_is_typed_from_field_to_field() {
    for name in ["card", "smallest-card"] {
        let mut stage = scene(name).stage();
        stage.harness.state_mut().snapshot.card = CardWords::default();
        stage.harness.run();
        stage.take_intents();
        let fields: Vec<String> = actionable(&stage)
            .into_iter()
            .filter(|(_, role)| matches!(role, Role::TextInput | Role::MultilineTextInput))
            .map(|(label, _)| label)
            .collect();
        assert_eq!(fields.len(), 18, "{name}: {fields:?}");
        stage.harness.get_by_label(&fields[0]).focus();
        stage.harness.run();
        let (mut typed, mut words) = (BTreeSet::new(), CardWords::default());
        for _ in 0..60 {
            let at = focused(&stage).filter(|label| fields.contains(label) && !typed.contains(label));
            if let Some(label) = at {
                assert!(stage.harness.state().window.is_typing(), "{name}: {label}");
                let seen = stage.harness.get_by_label(&label).rect();
                let window = stage.harness.ctx.content_rect();
                assert!(
                    window.contains_rect(seen),
                    "{name}: {label} is out of sight at {seen:?}"
                );
                // A different text for each; numbers where the field needs one.
                let number = 5 + typed.len();
                retype(&mut stage, &format!("{number}"));
                keep_card(&mut stage, &mut words);
                typed.insert(label);
            }
            stage.harness.key_press(Key::Tab);
            stage.harness.run();
            keep_card(&mut stage, &mut words);
        }
        assert_eq!(typed.len(), fields.len(), "{name}: only {typed:?}");
        let texts = [
            &words.player,
            &words.show,
            &words.date,
            &words.contact,
            &words.position,
            &words.monitor,
            &words.rig,
            &words.left,
            &words.right,
            &words.connector,
        ];
        let expected: Vec<String> = (5..15).map(|number| number.to_string()).collect();
        assert_eq!(texts.map(String::as_str).to_vec(), expected, "{name}");
        let numbers = [words.level_dbu, words.peak_dbu, words.impedance_ohm];
        assert_eq!(numbers, [Some(15.0), Some(16.0), Some(17.0)], "{name}");
        assert_eq!(words.notes, ["18", "19", "20", "21"], "{name}");
        assert_eq!(words.at_risk, ["22"], "{name}");
    }
}

#[test]
fn choices_for_the_card_are_made_and_escape_puts_it_away() {
    let mut stage = scene("card").stage();
    stage.take_intents();
    stage.harness.get_by_label("rig card, the DIs are: yours").click();
    stage.harness.run();
    assert_eq!(last_card(&mut stage).boxes, Some(Whose::Yours));
    stage.harness.get_by_label("rig card, outputs: symmetric").click();
    stage.harness.run();
    assert_eq!(last_card(&mut stage).drive, Some(Drive::Symmetric));
    stage.harness.get_by_label("export the rig card").click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [Intent::ExportTakes]);
    // Text that isn't a number counts as not stated.
    stage.harness.get_by_label("rig card, loud, dBu rms").focus();
    stage.harness.run();
    retype(&mut stage, "loud");
    assert_eq!(stage.take_intents(), [], "a number is one when its field is left");
    stage.harness.key_press(Key::Escape);
    stage.harness.run();
    let words = last_card(&mut stage);
    assert_eq!((words.level_dbu, words.player.as_str()), (None, "second guitar"));
    assert!(stage.harness.query_by_label("rig card, player").is_none());
    assert!(!stage.harness.state().window.is_typing());
    // Escape without a focused field, also in a small window.
    let mut stage = scene("smallest-card").stage();
    stage.harness.key_press(Key::Escape);
    stage.harness.run();
    assert!(stage.harness.query_by_label("rig card, player").is_none());
    assert!(
        stage
            .harness
            .query_by_label("what stands on the rig card")
            .is_some()
    );
}

#[test]
fn what_is_loaded_meanwhile_stands_in_the_form() {
    let mut stage = scene("card").stage();
    stage.harness.state_mut().snapshot.card.player = "third guitar".into();
    stage.harness.run();
    let shown = stage.harness.get_by_label("rig card, player").value();
    assert_eq!(shown.as_deref(), Some("third guitar"));
}

/// A DI on outputs with another impedance gives different lines; a line set by hand stays.
#[test]
fn lines_follow_the_outputs_impedance() {
    let mut stage = scene("boxes").stage();
    stage.harness.get_by_label("what stands on the rig card").click();
    stage.harness.run();
    stage.harness.state_mut().snapshot.settings.right.gain_db += 3.0;
    stage.take_intents();
    stage.harness.get_by_label("rig card, output, ohm").focus();
    stage.harness.run();
    retype(&mut stage, "2200");
    stage.harness.key_press(Key::Enter);
    stage.harness.run();
    let words = CardWords {
        impedance_ohm: Some(2200.0),
        ..CardWords::default()
    };
    let made = sumproof_views::line_through(Some(Kind::PassiveDirectBox), &words.source());
    let tenth = |value: f64| (value * 10.0).round() as f32 / 10.0;
    let mut expected = gesture(Setting::GainDb(Side::Left, tenth(made.gain_db)));
    expected.extend(gesture(Setting::CornerHz(
        Side::Left,
        tenth(made.high_pass_hz[0]),
    )));
    expected.push(Intent::Card(Box::new(words)));
    assert_eq!(stage.take_intents(), expected);
}

/// The last own feed or limits among the intents.
fn last_own(stage: &mut Stage) -> OwnFeed {
    match stage.take_intents().pop() {
        Some(Intent::OwnFeed(own)) => own,
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_own_feed_is_edited_and_goes_back() {
    let mut stage = scene("own-feed").stage();
    let before = stage.harness.state().snapshot.own.clone();
    stage.harness.get_by_label("own feed ends in: left").click();
    stage.harness.run();
    let own = last_own(&mut stage);
    assert_eq!(own.feed.ending, Ending::One(Side::Left));
    assert_eq!((own.feed.right, &own.name), (before.feed.right, &before.name));
    stage
        .harness
        .get_by_label("own feed a sum is: all of each")
        .click();
    stage.harness.run();
    assert_eq!(last_own(&mut stage).feed.ending, Ending::Sum(SumLaw::Unity));
    stage.harness.get_by_label("own feed plays: lows only").click();
    stage.harness.run();
    assert_eq!(last_own(&mut stage).feed.low_pass_hz, Some(100.0));
    stage
        .harness
        .get_by_label("own feed, left line polarity: flipped")
        .click();
    stage.harness.run();
    assert_eq!(last_own(&mut stage).feed.left.polarity, Polarity::Flipped);
    stage
        .harness
        .get_by_label("own feed, right line plug: unplugged")
        .click();
    stage.harness.run();
    assert!(last_own(&mut stage).feed.right.unplugged);

    stage.harness.get_by_label("own feed, left line delay").focus();
    stage.harness.run();
    stage.harness.key_press(Key::ArrowUp);
    stage.harness.run();
    assert!((last_own(&mut stage).feed.left.delay_s - 1e-4).abs() < 1e-9);

    stage.harness.get_by_label("own feed name").click();
    stage.harness.run();
    assert!(stage.harness.state().window.is_typing());
    stage.harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    stage.harness.event(Event::Text("  stream ".into()));
    stage.harness.run();
    stage.harness.key_press(Key::Enter);
    stage.harness.run();
    assert_eq!(last_own(&mut stage).name, "stream");
    assert!(!stage.harness.state().window.is_typing());

    stage.harness.get_by_label("own feed back to the usual").click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [Intent::OwnFeed(OwnFeed::default())]);
}

#[test]
fn an_own_name_stands_wherever_the_feed_does() {
    let stage = scene("own-feed").stage();
    let label = "side fill, right late: thins";
    assert!(stage.harness.query_by_label_contains(label).is_some());
    assert!(sumproof_views::as_text(&stage.harness.state().snapshot).contains(label));
}

#[test]
fn limits_are_set_and_go_back() {
    let mut stage = scene("own-feed").stage();
    let before = stage.harness.state().snapshot.limits;
    stage
        .harness
        .get_by_label("a feed holds up to a balance of")
        .focus();
    stage.harness.run();
    stage.harness.key_press(Key::ArrowUp);
    stage.harness.run();
    let moved = Limits {
        wetter_db: 3.5,
        ..before
    };
    assert_eq!(stage.take_intents(), [Intent::Limits(moved)]);
    // Delete resets one number, the word over them resets all.
    stage
        .harness
        .get_by_label("a feed holds down to a dry of")
        .focus();
    stage.harness.run();
    stage.harness.key_press(Key::Delete);
    stage.harness.run();
    assert_eq!(stage.take_intents(), [Intent::Limits(Limits::default())]);
    stage.harness.get_by_label("limits back to the usual").click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), [Intent::Limits(Limits::default())]);
    stage.harness.key_press(Key::Escape);
    stage.harness.run();
    assert!(stage.harness.query_by_label("done with this sheet").is_none());
}

#[test]
fn the_passes_are_recorded_step_by_step() {
    let mut stage = scene("good").stage();
    stage
        .harness
        .get_by_label("how dry and wet are told apart")
        .click();
    stage.harness.run();
    stage.harness.get_by_label("record the dry pass").click();
    stage.harness.run();
    let mut expected = gesture(Setting::Pass(Pass::Dry));
    expected.extend(gesture(Setting::Record(true)));
    assert_eq!(stage.take_intents(), expected);
    // While it is recording it can be stopped, and no other can be started.
    let snapshot = &mut stage.harness.state_mut().snapshot;
    (snapshot.settings.record, snapshot.settings.pass) = (true, Pass::Dry);
    stage.harness.run();
    assert!(stage.harness.query_by_label("record the wet pass").is_none());
    stage
        .harness
        .get_by_label("stop the dry pass and keep it")
        .click();
    stage.harness.run();
    assert_eq!(stage.take_intents(), gesture(Setting::Record(false)));
    let snapshot = &mut stage.harness.state_mut().snapshot;
    snapshot.settings.record = false;
    snapshot.passes.dry = Some("loop".into());
    stage.harness.run();
    assert!(
        stage
            .harness
            .query_by_label("record the dry pass again")
            .is_some()
    );
    stage.harness.get_by_label("record the wet pass").click();
    stage.harness.run();
    assert!(
        stage
            .take_intents()
            .contains(&Intent::Set(Setting::Pass(Pass::Wet)))
    );
}

/// The kind of preset applies to the sound being played, or to the picked take.
#[test]
fn the_kind_of_preset_is_said_of_the_sound_or_of_a_take() {
    for (name, expected) in [
        ("good", gesture(Setting::Preset(PresetKind::TwoTakes))),
        (
            "comparing",
            vec![Intent::TakeKind {
                index: 2,
                kind: PresetKind::TwoTakes,
            }],
        ),
    ] {
        let mut stage = scene(name).stage();
        stage
            .harness
            .get_by_label("how dry and wet are told apart")
            .click();
        stage.harness.run();
        stage.take_intents();
        stage.harness.get_by_label("the preset is: two takes").click();
        stage.harness.run();
        assert_eq!(stage.take_intents(), expected, "{name}");
    }
}

#[test]
fn picking_a_take_brings_the_comparison_back() {
    let mut stage = scene("comparing").stage();
    stage
        .harness
        .get_by_label("how dry and wet are told apart")
        .click();
    stage.harness.run();
    let compared = |stage: &Stage| {
        stage
            .harness
            .query_by_label_contains("take wide pad, mono wedge: ")
            .is_some()
    };
    assert!(!compared(&stage));
    let node = stage.harness.get_by(|node| {
        node.label()
            .is_some_and(|label| label.starts_with("take two amplifiers"))
    });
    node.click();
    stage.harness.run();
    assert!(compared(&stage));
}

/// No frame is requested when nothing changed.
#[test]
fn a_quiet_window_asks_for_no_frames() {
    for scene in scenes() {
        let mut stage = scene.stage();
        for _ in 0..4 {
            stage.harness.step();
        }
        let output = stage.harness.output();
        // The line check is drawn as long as it holds the sound back, because it ends when it isn't drawn.
        let attends = scene.snapshot().check.held;
        for viewport in output.viewport_output.values() {
            if attends {
                assert!(viewport.repaint_delay.as_secs_f64() < 0.2, "{}", scene.name);
                continue;
            }
            assert_eq!(
                viewport.repaint_delay,
                std::time::Duration::MAX,
                "{} wants to be painted again",
                scene.name
            );
        }
    }
}

/// A window driven as by a host: a frame is painted when there is news or when the window requested one. Time is
/// simulated.
struct Driven {
    ctx: egui::Context,
    window: Window,
    now_s: f64,
    /// When the window wants its next frame.
    due_s: f64,
    painted: usize,
}

impl Driven {
    fn new() -> Self {
        let ctx = egui::Context::default();
        let mut window = Window::new(Look::default());
        window.prepare(&ctx);
        Self {
            ctx,
            window,
            now_s: 0.0,
            due_s: 0.0,
            painted: 0,
        }
    }

    /// Advances by a sixtieth of a second; `news` says that the snapshot has changed.
    fn tick(&mut self, snapshot: &Snapshot, news: bool) {
        self.now_s += 1.0 / 60.0;
        if !news && self.now_s < self.due_s {
            return;
        }
        self.painted += 1;
        let input = egui::RawInput {
            screen_rect: Some(egui::Rect::from_min_size(Pos2::ZERO, DEFAULT_SIZE.into())),
            time: Some(self.now_s),
            ..egui::RawInput::default()
        };
        let (window, mut intents) = (&mut self.window, Vec::new());
        let mut output = self.ctx.run_ui(input, |ui| window.ui(ui, snapshot, &mut intents));
        output.textures_delta.clear();
        let delay = output
            .viewport_output
            .values()
            .map(|viewport| viewport.repaint_delay.as_secs_f64())
            .fold(f64::INFINITY, f64::min);
        self.due_s = self.now_s + delay;
    }
}

/// While it plays there is a frame for each reading; in silence, once the last figures are shown, there is none.
#[test]
fn five_seconds_of_silence_cost_no_frame() {
    let mut driven = Driven::new();
    let played = playing(120);
    for snapshot in &played {
        driven.tick(snapshot, true);
    }
    assert_eq!(driven.painted, 120);
    let silence = scene("silence").snapshot();
    driven.tick(&silence, true);
    // The figures are renewed four times a second: the last ones may still be to come.
    for _ in 0..30 {
        driven.tick(&silence, false);
    }
    assert!(driven.painted <= 125, "{} frames for one change", driven.painted);
    let before = driven.painted;
    for _ in 0..5 * 60 {
        driven.tick(&silence, false);
    }
    assert_eq!(driven.painted, before, "painted in silence");
    // The next sound is shown.
    driven.tick(&played[0], true);
    assert_eq!(driven.painted, before + 1);
}

/// Any size from the smallest to 4K, and any in between, is laid out without a fault.
#[test]
fn any_size_can_be_drawn() {
    let snapshot = scene("comparing").snapshot();
    let mut stage = Stage::new(snapshot, Look::default(), [640.0, 420.0], 1.0);
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
