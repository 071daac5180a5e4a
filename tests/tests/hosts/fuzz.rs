//! A short run of every fuzz target, and of every input ever found: see `sumproof_tests::fuzz`. Longer runs: `cargo
//! xtask fuzz`.
use sumproof_tests::fuzz::{Driver, TARGETS, found};

/// Fixed seed: the same cases every time.
const SEED: u64 = 2026;

/// Feeds a target on a thread whose panics are findings.
fn feed(name: &'static str) {
    let target = *TARGETS.iter().find(|target| target.name == name).unwrap();
    let thread = std::thread::Builder::new()
        .name(format!("fuzz {name}"))
        .spawn(move || {
            let more: Vec<_> = found(&target).into_iter().map(|(_, bytes)| bytes).collect();
            let mut driver = Driver::new(target, more, SEED).map_err(|finding| finding.what)?;
            for _ in 0..target.few {
                let input = driver.next_input();
                driver.run(&input).map_err(|finding| {
                    let input = &finding.input[..finding.input.len().min(2000)];
                    format!(
                        "{}\nby an input of {} bytes: {}",
                        finding.what,
                        finding.input.len(),
                        input.escape_ascii()
                    )
                })?;
            }
            // Inputs that all have the same outcome test nothing.
            let summary = driver.summary();
            println!("{summary}");
            if driver.kinds() < 4 {
                return Err(format!("the cases are all alike: {summary}"));
            }
            Ok::<_, String>(())
        });
    if let Err(what) = thread.unwrap().join().unwrap() {
        panic!("{name}: {what}");
    }
}

#[test]
fn states() {
    feed("state");
}

#[test]
fn rig_files() {
    feed("rig");
}

#[test]
fn sound_files() {
    feed("files");
}

#[test]
fn samples() {
    feed("analyser");
}

#[test]
fn line_checks() {
    feed("linecheck");
}

#[test]
fn feeds_and_limits() {
    feed("feed");
}

#[test]
fn files_of_takes() {
    feed("takes");
}

#[test]
fn every_finding_belongs_to_a_target() {
    let folder = sumproof_tests::host::setup::workspace().join("tests/fuzz/found");
    for entry in std::fs::read_dir(folder).unwrap() {
        let name = entry.unwrap().file_name().to_string_lossy().into_owned();
        assert!(
            name == "README.md" || TARGETS.iter().any(|target| target.name == name),
            "there is no target '{name}'"
        );
    }
}
