//! A plugin that is removed leaves no threads and files behind.
use std::fs;
use std::time::Duration;
use sumproof_tests::host::setup::{CLAP_ID, clap_bundle};
use sumproof_tests::host::{Library, Play, Stereo};

/// Threads and open files of this process.
fn held() -> (usize, usize) {
    let count = |folder: &str| fs::read_dir(folder).unwrap().count();
    (count("/proc/self/task"), count("/proc/self/fd"))
}

#[test]
fn nothing_is_left_behind_by_plugins_that_are_gone() {
    let _turn = crate::turn();
    let library = Library::load(&clap_bundle()).unwrap();
    let audio = Stereo::new(48_000.0, vec![0.1; 4800], vec![0.1; 4800]);
    let round = || {
        let mut plugins: Vec<_> = (0..3).map(|_| library.instantiate(CLAP_ID).unwrap()).collect();
        for plugin in &mut plugins {
            plugin.play(&audio, &Play::default()).unwrap();
            plugin.save_state().unwrap();
        }
    };
    // The first round includes what is created once per process.
    round();
    let first = settled(held());
    for _ in 0..20 {
        round();
    }
    let last = settled(first);
    assert!(
        last.0 <= first.0 && last.1 <= first.1,
        "threads and files grew from {first:?} to {last:?}"
    );
}

/// The counts after ending threads have ended: waits until nothing is above `wanted`, at most a few seconds.
fn settled(wanted: (usize, usize)) -> (usize, usize) {
    for _ in 0..50 {
        let now = held();
        if now.0 <= wanted.0 && now.1 <= wanted.1 {
            // The first count has nothing to compare with; a short pause lets ending threads finish.
            std::thread::sleep(Duration::from_millis(100));
            return held();
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    held()
}
