//! The audio callback makes no system call: the kernel reports any to the thread, block by block, while every parameter
//! moves, takes are recorded and feeds are auditioned (`tests/host/src/syscalls.rs`). The control plugin wakes a thread
//! and must be caught, which proves that the check works.
use std::path::Path;
use std::process::{Command, Output};
use sumproof_tests::host::CAUGHT;
use sumproof_tests::host::setup::{CLAP_ID, SIDE_CHAIN_ID, clap_bundle, probe_plugins};

fn play_watched(clap: &Path, id: &str, seconds: &str, fault: Option<&str>) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_play-noise"));
    command.arg(clap).args([id, seconds, "--watched"]);
    if let Some(fault) = fault {
        command.env("SUMPROOF_FAULT", fault);
    }
    command.output().unwrap()
}

fn gets_through(id: &str, seconds: &str, fault: Option<&str>) {
    let played = play_watched(&clap_bundle(), id, seconds, fault);
    let said = String::from_utf8_lossy(&played.stderr);
    assert!(played.status.success(), "{}\n{said}", played.status);
}

#[test]
fn the_plugins_make_no_system_call_while_they_process() {
    for id in [CLAP_ID, SIDE_CHAIN_ID] {
        gets_through(id, "4", None);
    }
}

#[test]
fn neither_do_they_while_the_analysis_is_stalled_and_the_ring_is_full() {
    // The ring holds two seconds.
    gets_through(CLAP_ID, "4", Some("stall:6"));
}

#[test]
fn the_check_catches_a_plugin_that_wakes_a_thread() {
    let played = play_watched(&probe_plugins(), "io.sumproof.waking", "0.1", None);
    let said = String::from_utf8_lossy(&played.stderr);
    assert_eq!(played.status.code(), Some(CAUGHT), "{}\n{said}", played.status);
    assert!(said.contains("system call"), "{said}");
    let played = play_watched(&probe_plugins(), "io.sumproof.empty", "0.1", None);
    assert!(
        played.status.success(),
        "{}",
        String::from_utf8_lossy(&played.stderr)
    );
}
