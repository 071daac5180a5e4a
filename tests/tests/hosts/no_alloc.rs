//! The audio callback does not allocate: in the bundle under test the framework aborts the process on any allocation
//! there. The control plugin allocates on purpose and must abort, which proves that the check works.
use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::process::{Command, Output};
use sumproof_tests::host::setup::{CLAP_ID, SIDE_CHAIN_ID, clap_bundle, probe_plugins};

/// `SIGABRT`, POSIX.
const ABORT: i32 = 6;

fn play_noise(clap: &Path, id: &str, seconds: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_play-noise"))
        .arg(clap)
        .args([id, seconds])
        .output()
        .unwrap()
}

#[test]
fn the_plugins_allocate_nothing_while_they_process() {
    // The one with a side-chain also solves for a response, which is slower.
    for (id, seconds) in [(CLAP_ID, "20"), (SIDE_CHAIN_ID, "8")] {
        gets_through(id, seconds);
    }
}

fn gets_through(id: &str, seconds: &str) {
    let played = play_noise(&clap_bundle(), id, seconds);
    assert!(
        played.status.success(),
        "{}\n{}",
        played.status,
        String::from_utf8_lossy(&played.stderr)
    );
}

#[test]
fn the_check_catches_a_plugin_that_allocates() {
    let played = play_noise(&probe_plugins(), "io.sumproof.allocating", "0.1");
    let said = String::from_utf8_lossy(&played.stderr);
    assert_eq!(played.status.signal(), Some(ABORT), "{}\n{said}", played.status);
    assert!(
        said.contains("alloc"),
        "aborted, but not because of an allocation:\n{said}"
    );
}
