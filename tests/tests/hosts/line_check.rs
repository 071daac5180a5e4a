//! The line check through the real plugin, in its real window: the start and end of its signal, and its findings.

use crate::desk::{Desk, wait_for_letters};
use egui_kittest::kittest::Queryable;
use std::sync::Arc;
use std::time::Duration;
use sumproof_signals::{Rng, demo_preset};
use sumproof_tests::host::editor::Editor;
use sumproof_tests::host::hands::Key;
use sumproof_tests::host::setup::{display_to_ourselves, plugin};
use sumproof_tests::host::{Loop, Play, Plugin, State, Stereo};
use sumproof_tests::render::{Stage, scenes};
use sumproof_views::{Found, Look};

const RATE_HZ: f64 = 48_000.0;
const SHEET: &str = "what the venue\u{2019}s lines do";
const READY: &str = "line check, first step";
const SEND: &str = "line check, second step";
const PASS: &str = "line check: let the sound pass";
const SAVE: &str = "line check: make what was found";

fn demo() -> Stereo {
    let preset = demo_preset(RATE_HZ).full();
    let narrowed = |channel: &[f64]| channel.iter().map(|&sample| sample as f32).collect();
    Stereo::new(RATE_HZ, narrowed(&preset.left), narrowed(&preset.right))
}

/// Noise that is loud in every block, which distinguishes a block of it from silence and from the signal.
fn noise() -> Stereo {
    let mut rng = Rng::new(7);
    let mut channel = || (0..96_000).map(|_| rng.between(-0.5, 0.5) as f32).collect();
    let (left, right) = (channel(), channel());
    Stereo::new(RATE_HZ, left, right)
}

/// Opens the window on a plugin that plays.
fn desk(mut plugin: Plugin, sound: Stereo, how: Play) -> Desk {
    let running = plugin.start_realtime(sound, how).unwrap();
    let mut editor = Editor::open(&mut plugin, "Sumproof under test").unwrap();
    wait_for_letters(&mut editor, &mut plugin, "opened");
    Desk {
        stage: stage(&editor),
        plugin,
        editor,
        running,
    }
}

/// The same window without a host, which provides the positions of the widgets.
fn stage(editor: &Editor) -> Stage {
    let (width, height) = editor.size();
    let good = scenes().into_iter().find(|scene| scene.name == "good").unwrap();
    let mut snapshot = good.snapshot();
    snapshot.can_export = true;
    Stage::new(snapshot, Look::default(), [width as f32, height as f32], 1.0)
}

/// The peaks of the last block.
fn heard(desk: &Desk) -> [f32; 2] {
    desk.running
        .heard()
        .map(|channel| channel.iter().fold(0.0f32, |peak, x| peak.max(x.abs())))
}

/// Clicks in the window, and on the stage that provides the positions.
fn click(desk: &mut Desk, name: &str) {
    desk.click(name);
    let stage = &mut desk.stage.harness;
    stage
        .get_by(|node| node.label().is_some_and(|label| label.starts_with(name)))
        .click();
    stage.run();
}

/// Changes the stage's snapshot as the window's changes.
fn shown(desk: &mut Desk, change: impl FnOnce(&mut sumproof_views::LineCheck)) {
    change(&mut desk.stage.harness.state_mut().snapshot.check);
    desk.stage.harness.run();
}

/// The signal's peak never exceeds this; the noise's does in every block.
const SOFT: f32 = 0.0101;

/// Whether the last block was the input.
fn is_loud(desk: &mut Desk) -> bool {
    heard(desk).iter().all(|&peak| peak > 0.1)
}

/// Whether a condition comes true within `looks` polls.
fn within(desk: &mut Desk, looks: usize, mut holds: impl FnMut(&Desk) -> bool) -> bool {
    (0..looks).any(|_| {
        desk.rest(50);
        holds(desk)
    })
}

/// Whether the last block was the signal, or a fade.
fn is_soft(desk: &Desk) -> bool {
    let [left, right] = heard(desk);
    let peak = left.max(right);
    peak > 0.0 && peak <= SOFT
}

/// Takes the first step, until the input is held back. On a busy machine a click may come before the window is ready
/// for it, and a window that isn't drawn for two seconds ends the check: a player would try again.
fn hold(desk: &mut Desk) {
    for _ in 0..20 {
        // As in the window after the click took effect.
        shown(desk, |check| check.held = false);
        shown(desk, |check| check.held = true);
        click(desk, READY);
        if within(desk, 60, |desk| heard(desk) == [0.0; 2]) {
            return;
        }
    }
    panic!("the first step, and what comes in is still heard");
}

/// Checks that the first step alone makes no sound. Only valid before anything was sent: a second step that a busy
/// window handles late would sound here. A fade lasts 10 ms, so it is never seen in two consecutive polls.
fn one_step_is_silent(desk: &mut Desk) {
    hold(desk);
    let mut soft = 0;
    let sounds = within(desk, 12, |desk| {
        soft = if is_soft(desk) { soft + 1 } else { 0 };
        soft > 1
    });
    assert!(!sounds, "the signal sounds after one step");
}

/// Takes both steps, until the signal is heard.
fn send(desk: &mut Desk) {
    for _ in 0..20 {
        hold(desk);
        click(desk, SEND);
        if within(desk, 80, is_soft) {
            return;
        }
        desk.picture("not-sent");
    }
    panic!("both steps, and nothing sounds");
}

#[test]
fn two_steps_send_the_signal_and_a_key_or_the_closing_window_ends_it() {
    let _display = display_to_ourselves();
    let mut desk = desk(plugin().unwrap(), noise(), Play::default());
    click(&mut desk, SHEET);
    desk.rest(500);
    desk.until("the noise passes", is_loud);
    one_step_is_silent(&mut desk);
    // The left line alone, which no preset gives: 6 to 9 s after the signal's beginning.
    let left_alone = (0..10).any(|_| {
        send(&mut desk);
        desk.picture("line-check");
        within(&mut desk, 300, |desk| {
            let [left, right] = heard(desk);
            left > 0.005 && left <= SOFT && right == 0.0
        })
    });
    assert!(left_alone, "the left line never sounds alone");
    // Any key stops it: this one otherwise chooses a feed, and is a shortcut of many hosts.
    desk.editor
        .key(&mut desk.plugin, Key::Character('5'), None)
        .unwrap();
    desk.until("a key stops it", |desk| heard(desk) == [0.0; 2]);
    let goes_on = within(&mut desk, 30, is_soft);
    assert!(!goes_on, "it went on");
    assert_eq!(desk.text("aud"), "Off");
    // The input stays held back until it is let pass.
    shown(&mut desk, |check| check.held = true);
    desk.click(PASS);
    desk.until("the noise passes again", is_loud);

    // The window closes while the signal plays.
    send(&mut desk);
    let Desk {
        mut plugin,
        editor,
        running,
        ..
    } = desk;
    editor.close(&mut plugin).unwrap();
    let loud = |channel: &[f32]| channel.iter().any(|x| x.abs() > 0.02);
    let passes = (0..100).any(|_| {
        std::thread::sleep(Duration::from_millis(50));
        running.heard().iter().all(|channel| loud(channel))
    });
    assert!(passes, "the closed window still holds the sound back");
    plugin.stop_realtime(running).unwrap();

    // The rest of it is in no bounce, nor is a signal requested while nothing plays.
    let mut editor = Editor::open(&mut plugin, "Sumproof under test").unwrap();
    wait_for_letters(&mut editor, &mut plugin, "opened again");
    let mut stage = stage(&editor);
    for name in [SHEET, READY, SEND] {
        let node = |stage: &Stage| {
            let node = stage
                .harness
                .get_by(|node| node.label().is_some_and(|label| label.starts_with(name)));
            let at = node.rect().center();
            node.click();
            (at.x, at.y)
        };
        let at = node(&stage);
        stage.harness.run();
        stage.harness.state_mut().snapshot.check.held = true;
        stage.harness.run();
        editor.click(&mut plugin, at).unwrap();
        editor.pump(&mut plugin, Duration::from_millis(300)).unwrap();
    }
    let sound = demo();
    for offline in [true, false] {
        let how = Play {
            offline,
            ..Play::default()
        };
        let out = plugin.play(&sound, &how).unwrap();
        assert!(out == sound, "offline: {offline}");
    }
    editor.close(&mut plugin).unwrap();
}

#[test]
fn what_two_lines_do_is_found_through_the_real_plugin() {
    let _display = display_to_ourselves();
    // Right 1 ms later, flipped, and 6.02 dB softer.
    let lines = Loop {
        late_samples: [4_800, 4_848],
        gains: [0.5, -0.25],
    };
    let how = Play {
        looped: Some(lines),
        ..Play::default()
    };
    let mut desk = desk(plugin().unwrap(), demo(), how);
    click(&mut desk, SHEET);
    for _ in 0..4 {
        send(&mut desk);
        // It contains no three seconds of silence.
        let mut silent = 0;
        while silent < 60 {
            desk.rest(50);
            silent = if heard(&desk) == [0.0; 2] { silent + 1 } else { 0 };
        }
        shown(&mut desk, |check| {
            let found = Found {
                can_save: true,
                is_sure: true,
                ..Found::default()
            };
            (check.held, check.found) = (true, Some(Arc::new(found)));
        });
        // There is no button before it has been read.
        let saved = (0..30).any(|_| {
            desk.click(SAVE);
            desk.rest(1000);
            let state = State::decode(&desk.plugin.save_state().unwrap()).unwrap();
            state.fields["own_name"] == "as measured"
        });
        if saved {
            break;
        }
        // The machine was too busy, as the window reports: try again.
        shown(&mut desk, |check| check.found = None);
    }
    desk.picture("line-check-saved");
    let state = State::decode(&desk.plugin.save_state().unwrap()).unwrap();
    assert_eq!(state.fields["own_name"], "as measured");
    let own: sumproof_core::routing::feed::Feed =
        serde_json::from_value(state.fields["own"].clone()).unwrap();
    assert_eq!(
        own.ending,
        sumproof_core::routing::feed::Ending::Sum(sumproof_core::routing::feed::SumLaw::Average)
    );
    assert_eq!(
        own.right.polarity,
        sumproof_core::routing::line::Polarity::Flipped
    );
    assert!((own.right.gain_db + 6.0206).abs() < 0.02, "{own:?}");
    assert!((own.right.delay_s - 0.001).abs() < 1e-6, "{own:?}");
    assert_eq!((own.left.gain_db, own.left.delay_s), (0.0, 0.0));
    desk.put_away();
}
