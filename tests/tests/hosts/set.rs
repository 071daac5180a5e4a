//! A whole set in the real window: names given before, presets played one after the other without touching anything.

use crate::desk::{Desk, wait_for_letters};
use egui_kittest::kittest::Queryable;
use std::path::{Path, PathBuf};
use sumproof_core::session::take::Take;
use sumproof_signals::{PresetKind, PresetSpec, render};
use sumproof_tests::host::clipboard::text_on_the_clipboard;
use sumproof_tests::host::editor::Editor;
use sumproof_tests::host::hands::Key;
use sumproof_tests::host::setup::{display_to_ourselves, plugin};
use sumproof_tests::host::{Midi, Play, State, Stereo};
use sumproof_tests::methods::narrowed_pair;
use sumproof_tests::render::{Stage, scenes};
use sumproof_views::Look;
use sumproof_wording::Name;
use sumproof_wording::scores::spoken;

const RATE_HZ: f64 = 48_000.0;
/// Length of each preset, seconds.
const PLAYED_S: f64 = 5.0;
/// Quiet after each preset, seconds.
const PAUSE_S: f64 = 2.0;
/// Tolerance of the figures: the phrase ends where the quiet begins, the file at its own end.
const TOLERANCE_DB: f64 = 0.1;
/// The presets' names in playing order.
const NAMES: [&str; 12] = [
    "opening", "verse", "chorus", "bridge", "solo", "slow one", "slide", "octaves", "fast one", "swell",
    "finale", "encore",
];

fn silence(seconds: f64) -> Vec<f32> {
    vec![0.0; (seconds * RATE_HZ) as usize]
}

fn preset(kind: PresetKind) -> [Vec<f32>; 2] {
    let spec = PresetSpec {
        seconds: PLAYED_S,
        ..PresetSpec::new(kind)
    };
    narrowed_pair(&render(&spec).full(), 1.0)
}

/// The presets one after the other, each followed by a pause.
fn one_after_the_other(presets: &[[Vec<f32>; 2]]) -> Stereo {
    let channel = |side: usize| {
        let played = presets.iter().flat_map(|preset| {
            let pause = silence(PAUSE_S);
            preset[side].iter().copied().chain(pause)
        });
        played.collect()
    };
    Stereo::new(RATE_HZ, channel(0), channel(1))
}

/// The take that `sumproof check` makes of the same sound in a file.
fn checked(name: &str, [left, right]: &[Vec<f32>; 2]) -> Take {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("set");
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join(format!("{name}.wav"));
    Stereo::new(RATE_HZ, left.clone(), right.clone())
        .write_wav(&path)
        .unwrap();
    sumproof_recordings::analyse(Path::new(&path)).unwrap()
}

/// The window, open and drawn, on a plugin that plays nothing yet.
fn desk() -> Desk {
    let mut plugin = plugin().unwrap();
    let nothing = Stereo::new(RATE_HZ, silence(1.0), silence(1.0));
    let running = plugin.start_realtime(nothing, Play::default()).unwrap();
    let mut editor = Editor::open(&mut plugin, "Sumproof under test").unwrap();
    wait_for_letters(&mut editor, &mut plugin, "opened");
    let (width, height) = editor.size();
    let stage = stage(NOTHING_PLAYED, [width as f32, height as f32], &[]);
    Desk {
        plugin,
        editor,
        running,
        stage,
    }
}

/// The scene of a window before anything was played.
const NOTHING_PLAYED: &str = "first-run";
/// The scene of a window with takes.
const WITH_TAKES: &str = "comparing";

/// The scene, with the positions of its widgets, after clicks on these.
fn stage(scene: &str, size: [f32; 2], clicked: &[&str]) -> Stage {
    let scene = scenes().into_iter().find(|found| found.name == scene).unwrap();
    let mut stage = Stage::new(scene.snapshot(), Look::default(), size, 1.0);
    for name in clicked {
        stage.harness.get_by_label(name).click();
        stage.harness.run();
    }
    stage
}

impl Desk {
    fn stands_after(&mut self, scene: &str, clicked: &[&str]) {
        let (width, height) = self.editor.size();
        self.stage = stage(scene, [width as f32, height as f32], clicked);
    }

    fn press(&mut self, key: Key) {
        self.editor.key(&mut self.plugin, key, None).unwrap();
    }

    /// The window's text, by way of the clipboard.
    fn copied(&mut self) -> String {
        self.stands_after(WITH_TAKES, &[]);
        self.click("copy all readings as text");
        self.rest(500);
        text_on_the_clipboard().unwrap().unwrap_or_default()
    }

    fn takes(&mut self) -> Vec<Take> {
        let state = self.plugin.save_state().unwrap();
        State::decode(&state).unwrap().takes().unwrap()
    }

    /// Types a list of names and switches takes by phrase on, with pointer and keyboard.
    fn prepare(&mut self, names: &[&str]) {
        self.click("names, and takes by phrase");
        self.rest(500);
        self.stands_after(NOTHING_PLAYED, &["names, and takes by phrase"]);
        self.click("every phrase of 4 s or more becomes a take: yes");
        self.until("takes by phrase are on", |desk| desk.text("auto") == "On");
        self.click("edit the list of names");
        self.rest(1000);
        for name in names {
            self.editor.type_text(&mut self.plugin, name).unwrap();
            self.press(Key::Return);
        }
        self.picture("set-names");
        self.stands_after(
            NOTHING_PLAYED,
            &["names, and takes by phrase", "edit the list of names"],
        );
        self.click("use these names");
        self.rest(500);
        self.press(Key::Escape);
        self.rest(500);
    }

    /// Plays this sound once, instead of the present one. The window stays.
    fn perform(self, sound: Stereo, midi: Vec<Midi>) -> Self {
        let Self {
            mut plugin,
            editor,
            running,
            stage,
        } = self;
        plugin.stop_realtime(running).unwrap();
        let how = Play {
            midi,
            ..Play::default()
        };
        let running = plugin.start_realtime_once(sound, how).unwrap();
        let mut desk = Self {
            plugin,
            editor,
            running,
            stage,
        };
        while !desk.running.has_ended() {
            desk.rest(100);
        }
        desk
    }
}

/// Plays that many presets in the real window and compares every take with a file's, then with the window's text.
fn a_set_of(presets: usize) {
    let _display = display_to_ourselves();
    let names = &NAMES[..presets];
    let sounds: Vec<_> = PresetKind::ALL
        .iter()
        .cycle()
        .take(presets)
        .map(|kind| preset(*kind))
        .collect();
    let mut desk = desk();
    desk.prepare(names);
    let mut desk = desk.perform(one_after_the_other(&sounds), Vec::new());
    let files: Vec<Take> = names
        .iter()
        .zip(&sounds)
        .map(|(name, sound)| checked(name, sound))
        .collect();
    // Each becomes a take at once, and a better one soon after.
    let mut apart = Vec::new();
    desk.waits(|desk| {
        let takes = desk.takes();
        apart = takes
            .iter()
            .zip(&files)
            .filter_map(|(take, file)| differ(take, file))
            .collect();
        takes.len() == files.len() && apart.is_empty()
    });
    assert_eq!(apart, [""; 0]);
    let takes = desk.takes();
    assert_eq!(
        takes.iter().map(|take| take.name.as_str()).collect::<Vec<_>>(),
        names
    );
    // The window shows for each take what the project stores.
    let mut text = String::new();
    desk.until("the window's text has all takes", |desk| {
        text = desk.copied();
        names.iter().all(|name| text.contains(&format!("Take {name}, ")))
    });
    desk.picture("set-played");
    for (take, of_it) in takes.iter().zip(text.split("\nTake ").skip(1)) {
        assert!(of_it.starts_with(&take.name), "{of_it}");
        for row in &take.rows(&Default::default(), 0.0) {
            let said = spoken(row, row.id.name());
            let shown = of_it.contains(&said);
            assert!(
                shown || row.id == sumproof_core::routing::feed::FeedId::Own,
                "{}: '{said}' is not in the window's text:\n{of_it}",
                take.name
            );
        }
    }
    desk.put_away();
}

/// The difference between a take and a file's, where both have a figure.
fn differ(take: &Take, file: &Take) -> Option<String> {
    let rows = take.rows(&Default::default(), 0.0);
    let of_file = file.rows(&Default::default(), 0.0);
    rows.iter().zip(&of_file).find_map(|(row, file)| {
        let (score, of_file) = (row.score?, file.score?);
        let pairs = [
            (score.total_db, of_file.total_db),
            (score.level_lu, of_file.level_lu),
        ];
        let apart = pairs
            .into_iter()
            .any(|(a, b)| a != b && (a - b).abs() >= TOLERANCE_DB);
        // Whether an outcome is plain may depend on a tiny difference.
        let words = [row, file].map(|row| row.verdict.filter(|verdict| verdict.is_plain()));
        let other_words = words.iter().all(Option::is_some) && words[0] != words[1];
        (apart || other_words).then(|| format!("{}, {}: {pairs:?}, {words:?}", take.name, row.id.name()))
    })
}

/// Three presets, because it runs in real time; `SUMPROOF_SET` sets another number, up to twelve.
#[test]
fn a_set_is_played_in_the_real_window_without_the_mouse() {
    let wanted = std::env::var("SUMPROOF_SET").map_or(3, |wanted| wanted.parse().unwrap());
    a_set_of(wanted);
}

/// A CLAP host forwards a processor's program changes, one with every preset.
#[test]
fn a_program_from_a_clap_host_names_the_take() {
    let _display = display_to_ourselves();
    let mut desk = desk();
    desk.prepare(&NAMES[..3]);
    let sounds = [PresetKind::EqualDry, PresetKind::FlippedChannel].map(preset);
    let later = ((PLAYED_S + PAUSE_S) * RATE_HZ) as usize - 1000;
    let program = |at_sample, number| Midi {
        at_sample,
        bytes: [0xC0, number, 0],
    };
    let mut desk = desk.perform(
        one_after_the_other(&sounds),
        vec![program(100, 2), program(later, 40)],
    );
    let mut names = Vec::new();
    desk.until("two takes", |desk| {
        names = desk.takes().into_iter().map(|take| take.name).collect();
        names.len() == 2
    });
    assert_eq!(names, [NAMES[2], "Program 41"]);
    desk.put_away();
}
