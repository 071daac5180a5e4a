//! The plugin's own window, embedded in a host's, with audio running.

use crate::desk::{Desk, wait_for_letters};
use std::time::Duration;
use sumproof_core::routing::feed::FeedId;
use sumproof_signals::demo_preset;
use sumproof_tests::host::editor::Editor;
use sumproof_tests::host::hands::Key;
use sumproof_tests::host::setup::{display_to_ourselves, plugin};
use sumproof_tests::host::{Play, Stereo};
use sumproof_tests::render::{Stage, scenes};
use sumproof_views::Look;
use sumproof_wording::Name;

fn demo() -> Stereo {
    const RATE_HZ: f64 = 48_000.0;
    let preset = demo_preset(RATE_HZ).full();
    let narrowed = |channel: &[f64]| channel.iter().map(|&sample| sample as f32).collect();
    Stereo::new(RATE_HZ, narrowed(&preset.left), narrowed(&preset.right))
}

#[test]
fn it_opens_draws_resizes_and_closes_again_and_again() {
    let _display = display_to_ourselves();
    let mut plugin = plugin().unwrap();
    let running = plugin.start_realtime(demo(), Play::default()).unwrap();
    let open_files = || std::fs::read_dir("/proc/self/fd").unwrap().count();
    // The window's own thread ends after the host was told that it's closed: only files that stay open count as leaked.
    let settled = |at_most: usize| {
        (0..300).any(|_| {
            std::thread::sleep(Duration::from_millis(100));
            open_files() <= at_most
        })
    };
    let files_before = open_files();
    let mut files_after_first = usize::MAX;
    for round in 0..4 {
        let mut editor = Editor::open(&mut plugin, "Sumproof under test").unwrap();
        wait_for_letters(&mut editor, &mut plugin, &format!("round {round}"));
        let (width, height) = editor.size();
        // Alternating, because the window reopens in its last size.
        let wish = if round % 2 == 0 {
            (width + 120, height + 80)
        } else {
            (width - 120, height - 80)
        };
        editor.resize(&mut plugin, wish.0, wish.1).unwrap();
        editor.pump(&mut plugin, Duration::from_millis(300)).unwrap();
        let picture = editor.capture().unwrap();
        assert_eq!((picture.width, picture.height), editor.size(), "round {round}");
        editor.close(&mut plugin).unwrap();
        if round == 0 {
            // Drivers and fonts loaded by the first window may stay; its connection must not.
            settled(files_before);
            files_after_first = open_files();
        }
    }
    assert!(
        settled(files_after_first),
        "open files grew from {files_after_first} to {}",
        open_files()
    );
    let played = running.played_samples();
    assert!(played > 0);
    plugin.stop_realtime(running).unwrap();
    // With the window closed it still processes.
    plugin.play(&demo(), &Play::default()).unwrap();
}

/// Two plugins in one project, both windows open, both playing; then each order of closing a window, stopping the sound
/// and removing the plugin, while the other one keeps running.
#[test]
fn two_windows_live_side_by_side_and_go_in_any_order() {
    let _display = display_to_ourselves();
    let (mut one, mut other) = (plugin().unwrap(), plugin().unwrap());
    let one_plays = one.start_realtime(demo(), Play::default()).unwrap();
    let other_plays = other.start_realtime(demo(), Play::default()).unwrap();
    let mut one_window = Editor::open(&mut one, "Sumproof, one").unwrap();
    let mut other_window = Editor::open(&mut other, "Sumproof, the other").unwrap();
    wait_for_letters(&mut one_window, &mut one, "the first of two");
    wait_for_letters(&mut other_window, &mut other, "the second of two");

    // A window is closed and opened again while both play.
    one_window.close(&mut one).unwrap();
    wait_for_letters(&mut other_window, &mut other, "the one that stays");
    let mut one_window = Editor::open(&mut one, "Sumproof, one again").unwrap();
    wait_for_letters(&mut one_window, &mut one, "the one that came back");

    // The sound first, then the window, then the plugin.
    let before = one_plays.played_samples();
    other.stop_realtime(other_plays).unwrap();
    wait_for_letters(&mut other_window, &mut other, "the one that went quiet");
    other_window.close(&mut other).unwrap();
    drop(other);
    wait_for_letters(&mut one_window, &mut one, "the one that is left");
    assert!(
        one_plays.played_samples() > before,
        "the one that is left goes on playing"
    );

    // The window first, then the sound, then the plugin.
    one_window.close(&mut one).unwrap();
    one.stop_realtime(one_plays).unwrap();
    drop(one);
}

/// Whether both output channels are equal and not silent.
fn hears_mono(desk: &Desk) -> bool {
    let [left, right] = desk.running.heard();
    left == right && left.iter().any(|&sample| sample != 0.0)
}

#[test]
fn a_pointer_and_a_keyboard_change_what_is_set_and_what_is_heard() {
    let _display = display_to_ourselves();
    let mut plugin = plugin().unwrap();
    let running = plugin.start_realtime(demo(), Play::default()).unwrap();
    let mut editor = Editor::open(&mut plugin, "Sumproof under test").unwrap();
    wait_for_letters(&mut editor, &mut plugin, "opened");
    let (width, height) = editor.size();
    let good = scenes().into_iter().find(|scene| scene.name == "good").unwrap();
    let stage = Stage::new(
        good.snapshot(),
        Look::default(),
        [width as f32, height as f32],
        1.0,
    );
    let mut desk = Desk {
        plugin,
        editor,
        running,
        stage,
    };
    // A short time, for something to be shown.
    desk.until("two seconds of sound", |desk| {
        desk.running.played_samples() > 96_000
    });
    desk.picture("playing");
    assert!(!hears_mono(&desk), "the preset is mono already");

    // A click on a row auditions its feed.
    desk.click(FeedId::LeftLineOnly.name());
    desk.until("a click on a row auditions it", |desk| {
        desk.text("aud") == "On" && desk.text("feed") == "Left line only" && hears_mono(desk)
    });
    desk.picture("auditioning");
    // One key returns to stereo, another chooses a feed.
    desk.editor
        .key(&mut desk.plugin, Key::Character('0'), None)
        .unwrap();
    desk.until("0 returns to stereo", |desk| {
        desk.text("aud") == "Off" && !hears_mono(desk)
    });
    desk.editor
        .key(&mut desk.plugin, Key::Character('2'), None)
        .unwrap();
    desk.until("2 auditions the mono wedge", |desk| {
        desk.text("aud") == "On" && desk.text("feed") == "Mono wedge" && hears_mono(desk)
    });

    // A value is typed. On a busy machine keys may come before the field is open; a player would type again.
    for _ in 0..20 {
        desk.click("left line gain");
        desk.rest(500);
        desk.editor
            .key(&mut desk.plugin, Key::Character('a'), Some(Key::Control))
            .unwrap();
        desk.editor.type_text(&mut desk.plugin, "-6.5").unwrap();
        desk.picture("typing");
        desk.editor.key(&mut desk.plugin, Key::Return, None).unwrap();
        desk.rest(1000);
        if desk.text("l_gain") == "-6.5 dB" {
            break;
        }
    }
    desk.until("a typed value is set", |desk| desk.text("l_gain") == "-6.5 dB");

    // Another is dragged: five pixels are a step of 0.1 ms.
    let (x, y) = desk.place("right line delay");
    desk.editor.drag(&mut desk.plugin, (x, y), (x, y - 60.0)).unwrap();
    desk.until("a drag is set", |desk| {
        desk.plugin.param("r_del").unwrap().value > 0.0
    });
    let dragged: f64 = desk.text("r_del").trim_end_matches(" ms").parse().unwrap();
    assert!((0.5..=2.0).contains(&dragged), "60 pixels made {dragged} ms");

    // A line is unplugged: the wedge is the other one.
    desk.click("left line plug: unplugged");
    desk.until("a line is unplugged", |desk| desk.text("l_unp") == "Unplugged");
    desk.rest(500);
    desk.picture("set");
    desk.put_away();
}
