//! A panic inside the plugin doesn't affect the host: sound passes unchanged, and stored data is still saved. Each
//! panic happens in a separate process, triggered by a variable that only builds with debug assertions read
//! (`plugin/src/testing/faults.rs`).
use std::process::{Command, Output};
use sumproof_tests::host::setup::{CLAP_ID, SIDE_CHAIN_ID, clap_bundle};

fn play(id: &str, fault: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_play-noise"))
        .arg(clap_bundle())
        .args([id, "1.5", "--through"])
        .env("SUMPROOF_FAULT", fault)
        .output()
        .unwrap()
}

#[test]
fn the_sound_passes_when_the_audio_side_or_the_analysis_breaks() {
    for id in [CLAP_ID, SIDE_CHAIN_ID] {
        for fault in ["panic:1", "panic:40", "analysis:1", "analysis:3"] {
            let played = play(id, fault);
            let said = String::from_utf8_lossy(&played.stderr);
            assert!(played.status.success(), "{fault}: {}\n{said}", played.status);
            // The audio thread's own panic is silent, because a message would allocate and lock there.
            let heard = said.contains("a fault on purpose");
            assert_eq!(heard, fault.starts_with("analysis"), "{fault}:\n{said}");
        }
    }
}
