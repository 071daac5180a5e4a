//! The set by the keyboard alone, recording on every page, and the state after a wet pass.

use egui::Key;
use egui_kittest::kittest::{NodeT, Queryable};
use sumproof_core::session::take::Pass;
use sumproof_tests::render::{Scene, Stage, scenes};
use sumproof_views::{DEFAULT_SIZE, Intent, Look, MIN_SIZE, Setting, Snapshot};

fn scene(name: &str) -> Scene {
    scenes().into_iter().find(|scene| scene.name == name).expect(name)
}

fn press(stage: &mut Stage, key: Key) {
    stage.harness.key_press(key);
    stage.harness.run();
}

fn focused(stage: &Stage) -> String {
    let root = stage.harness.root();
    root.children_recursive()
        .find(|node| node.is_focused())
        .and_then(|node| node.accesskit_node().label())
        .unwrap_or_default()
}

fn labels(stage: &Stage) -> Vec<String> {
    let root = stage.harness.root();
    root.children_recursive()
        .map(|node| node.accesskit_node())
        .filter_map(|node| node.label().or_else(|| node.value()))
        .collect()
}

fn is_open(stage: &Stage) -> bool {
    labels(stage).iter().any(|label| label.starts_with("the set, "))
}

/// Moves the focus to a widget by Tab alone.
fn tab_to(stage: &mut Stage, label: &str) {
    for _ in 0..60 {
        if focused(stage).starts_with(label) {
            return;
        }
        press(stage, Key::Tab);
    }
    panic!("Tab never comes to '{label}'");
}

#[test]
fn the_keyboard_alone_sorts_picks_orders_renames_deletes_and_compares() {
    let mut stage = Stage::new(
        scene("set").snapshot(),
        Look::default(),
        [DEFAULT_SIZE.0, DEFAULT_SIZE.1],
        1.0,
    );
    press(&mut stage, Key::F6);
    assert!(is_open(&stage));
    press(&mut stage, Key::Tab);
    assert_eq!(focused(&stage), "record a take");
    tab_to(&mut stage, "the set, 26 takes, at 1: opening, clean");
    for key in [Key::ArrowDown, Key::ArrowDown, Key::ArrowUp] {
        press(&mut stage, key);
    }
    assert!(
        focused(&stage).contains("at 2: verse crunch"),
        "{}",
        focused(&stage)
    );
    press(&mut stage, Key::Enter);
    assert!(focused(&stage).ends_with(", picked"), "{}", focused(&stage));
    press(&mut stage, Key::End);
    assert!(
        focused(&stage).contains("at 26: spare, dry again"),
        "{}",
        focused(&stage)
    );
    press(&mut stage, Key::Enter);
    assert!(stage.take_intents().is_empty());

    // By loudness, the loudest first; the selected line stays the same take.
    tab_to(&mut stage, "sort by loudness in stereo");
    press(&mut stage, Key::Enter);
    press(&mut stage, Key::Enter);
    assert!(
        labels(&stage)
            .iter()
            .any(|label| label == "sorted by loudness in stereo, falling")
    );
    tab_to(&mut stage, "the set, 26 takes, at 26");
    press(&mut stage, Key::Home);
    let loudest = focused(&stage);
    assert!(!loudest.contains("at 1:"), "{loudest}");
    press(&mut stage, Key::PageDown);
    assert_ne!(focused(&stage), loudest);

    press(&mut stage, Key::Delete);
    let deleted = stage.take_intents();
    assert!(matches!(deleted[..], [Intent::DeleteTake(_)]), "{deleted:?}");
    tab_to(&mut stage, "bring ");
    press(&mut stage, Key::Enter);
    assert_eq!(stage.take_intents(), [Intent::UndoDelete]);
    tab_to(&mut stage, "move take ");
    press(&mut stage, Key::Enter);
    let moved = stage.take_intents();
    assert!(matches!(moved[..], [Intent::MoveTake { .. }]), "{moved:?}");

    tab_to(&mut stage, "rename take ");
    press(&mut stage, Key::Enter);
    assert!(stage.harness.state().window.is_typing());
    stage.harness.event(egui::Event::Text("!".into()));
    stage.harness.run();
    press(&mut stage, Key::Enter);
    let renamed = stage.take_intents();
    assert!(
        matches!(&renamed[..], [Intent::RenameTake { name, .. }] if name.ends_with('!')),
        "{renamed:?}"
    );

    tab_to(&mut stage, "compare what is picked");
    press(&mut stage, Key::Enter);
    assert!(!is_open(&stage));
    assert!(
        labels(&stage)
            .iter()
            .any(|label| label.starts_with("take ") && label.contains(", mono wedge: "))
    );
    assert!(stage.take_intents().is_empty());
}

#[test]
fn escape_and_f6_close_the_set_at_any_size() {
    for size in [DEFAULT_SIZE, MIN_SIZE] {
        for key in [Key::Escape, Key::F6] {
            let mut stage = Stage::new(scene("set").snapshot(), Look::default(), [size.0, size.1], 1.0);
            press(&mut stage, Key::F6);
            assert!(is_open(&stage));
            press(&mut stage, key);
            assert!(!is_open(&stage), "{key:?} at {size:?}");
        }
    }
}

#[test]
fn a_click_picks_at_most_two() {
    let mut stage = scene("set").stage();
    for begin in ["2: verse", "3: chorus", "4: lead"] {
        stage.harness.get_by_label_contains(begin).click();
        stage.harness.run();
    }
    let picked: Vec<String> = labels(&stage)
        .into_iter()
        .filter(|label| label.ends_with(", picked") && !label.starts_with("the set"))
        .collect();
    assert_eq!(picked.len(), 2, "{picked:?}");
    assert!(picked[0].starts_with("3: chorus") && picked[1].starts_with("4: lead"));
}

/// Recording is shown in the largest type except the headline's, on every page, at every size, and can be stopped
/// there.
#[test]
fn recording_shows_large_everywhere() {
    let pages = [
        "feeds",
        "lines",
        "boxes",
        "curves",
        "correlation",
        "takes",
        "set",
        "dry and wet",
        "own feed",
        "line check",
        "setup",
    ];
    let sheets = [
        "left line box: by hand",
        "your own feed, and the limits",
        "how dry and wet are told apart",
        "what the venue\u{2019}s lines do: the line check",
        "names, and takes by phrase",
        "the set: all takes in a table",
    ];
    let clicks = pages
        .iter()
        .map(|page| (MIN_SIZE, format!("page: {page}")))
        .chain(sheets.iter().map(|sheet| (DEFAULT_SIZE, (*sheet).into())));
    for (size, click) in clicks {
        let mut stage = Stage::new(
            scene("recording").snapshot(),
            Look::default(),
            [size.0, size.1],
            1.0,
        );
        stage.harness.get_by_label(&click).click();
        stage.harness.run();
        let rect = stage
            .harness
            .get_by_label("Recording \u{2018}wide pad\u{2019}, 12.3 s")
            .rect();
        assert!(rect.height() >= 26.0 && rect.top() < 60.0, "{click}: {rect:?}");
        stage.take_intents();
        stage.harness.get_by_label("stop recording").click();
        stage.harness.run();
        assert!(
            stage
                .take_intents()
                .contains(&Intent::Set(Setting::Record(false))),
            "{click}"
        );
    }
}

#[test]
fn after_a_wet_pass_the_next_take_is_full_again() {
    for (pass, expected) in [(Pass::Wet, true), (Pass::Dry, false), (Pass::Full, false)] {
        let mut snapshot = Snapshot::default();
        snapshot.settings.pass = pass;
        snapshot.settings.record = true;
        let mut stage = Stage::new(snapshot, Look::default(), [DEFAULT_SIZE.0, DEFAULT_SIZE.1], 1.0);
        stage.take_intents();
        stage.harness.state_mut().snapshot.settings.record = false;
        stage.harness.run();
        let intents = stage.take_intents();
        assert_eq!(
            intents.contains(&Intent::Set(Setting::Pass(Pass::Full))),
            expected,
            "{pass:?}"
        );
    }
}

#[test]
fn a_pass_that_failed_its_check_is_marked() {
    let stage = scene("passes-failed-in-the-strip").stage();
    let marked = labels(&stage)
        .into_iter()
        .filter(|label| label.starts_with("take ") && label.contains("failed its check"));
    assert_eq!(marked.count(), 1);
}
