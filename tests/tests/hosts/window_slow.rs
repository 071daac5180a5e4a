//! Hosts that pause between creating an editor, giving it a parent and showing it, and windows that are hidden at
//! first. No window may stay blank.

use crate::desk::wait_for_letters;
use std::time::Duration;
use sumproof_tests::host::editor::{Editor, Tempo};
use sumproof_tests::host::setup::{display_to_ourselves, plugin};

fn millis(count: u64) -> Duration {
    Duration::from_millis(count)
}

/// Opens a window with these delays, waits until it is drawn, closes it.
fn is_drawn(tempo: Tempo) {
    let mut plugin = plugin().unwrap();
    let mut editor = Editor::open_slowly(&mut plugin, "Sumproof, slowly", tempo).unwrap();
    wait_for_letters(&mut editor, &mut plugin, &format!("{tempo:?}"));
    editor.close(&mut plugin).unwrap();
}

#[test]
fn a_host_may_take_its_time_over_every_step() {
    let _display = display_to_ourselves();
    for (before_parent, before_show) in [(0, 0), (20, 0), (100, 0), (500, 0), (0, 20), (0, 500), (100, 100)] {
        is_drawn(Tempo {
            before_parent: millis(before_parent),
            before_show: millis(before_show),
            own_window_late: None,
        });
    }
}

#[test]
fn a_hosts_window_may_come_up_after_the_editor_in_it() {
    let _display = display_to_ourselves();
    for (before_show, late) in [(0, 0), (0, 300), (200, 100)] {
        is_drawn(Tempo {
            before_parent: millis(0),
            before_show: millis(before_show),
            own_window_late: Some(millis(late)),
        });
    }
}

#[test]
fn a_window_is_drawn_again_after_it_was_hidden_or_covered() {
    let _display = display_to_ourselves();
    let mut plugin = plugin().unwrap();
    let mut editor = Editor::open(&mut plugin, "Sumproof, hidden").unwrap();
    // Covered before it has drawn anything, for a while.
    let cover = editor.cover().unwrap();
    editor.pump(&mut plugin, millis(700)).unwrap();
    drop(cover);
    wait_for_letters(&mut editor, &mut plugin, "no longer covered");
    for turn in 0..3 {
        editor.show(&mut plugin, false).unwrap();
        editor.pump(&mut plugin, millis(150 * turn)).unwrap();
        editor.show(&mut plugin, true).unwrap();
        wait_for_letters(&mut editor, &mut plugin, &format!("shown again, {turn}"));
    }
    editor.close(&mut plugin).unwrap();
}
