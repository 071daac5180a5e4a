//! Tests of `packaging/install.sh`: it must install the same files as `cargo xtask install`, in the same folders.

use crate::bundles::{COMMAND, MANUAL, STANDALONE};
use crate::run::output_of;
use crate::system::{Homes, System};
use crate::{archive, layout, place};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// An unpacked archive of a system with almost empty files, and a home folder to install it in.
struct Unpacked {
    root: PathBuf,
    archive: PathBuf,
    home: PathBuf,
    system: System,
}

impl Unpacked {
    /// Tests run in parallel, so each has its own name.
    fn new(system: System, test: &str) -> Self {
        let root = std::env::temp_dir().join(format!(
            "sumproof-script-{test}-{system:?}-{}",
            std::process::id()
        ));
        // Names with a space, as home and download folders may have.
        let (archive, home, tools) = (root.join("un packed"), root.join("some body"), root.join("tools"));
        for folder in [&archive, &home, &tools] {
            fs::create_dir_all(folder).unwrap();
        }
        let built = root.join("built");
        fs::write(&built, "new").unwrap();
        layout::plugins(&built, system, "x86_64", &archive).unwrap();
        layout::program(&built, system, STANDALONE, &archive).unwrap();
        for name in [COMMAND, MANUAL] {
            fs::write(archive.join(name), "new").unwrap();
        }
        place::copy(
            &place::root().join("packaging/install.sh"),
            &archive.join("install.sh"),
        )
        .unwrap();
        let files = archive::below(&archive).unwrap();
        fs::write(
            archive.join("SHA256SUMS"),
            archive::sums(&archive, &files).unwrap(),
        )
        .unwrap();
        if system == System::MacOs {
            place::copy(Path::new("/bin/echo"), &tools.join("uname")).unwrap();
            fs::write(tools.join("uname"), "#!/bin/sh\necho Darwin\n").unwrap();
        }
        Self {
            root,
            archive,
            home,
            system,
        }
    }

    fn run(&self, words: &[&str]) -> Output {
        let path = std::env::var("PATH").unwrap();
        Command::new("sh")
            .arg(self.archive.join("install.sh"))
            .args(words)
            .env("HOME", &self.home)
            .env("PATH", format!("{}:{path}", self.root.join("tools").display()))
            .output()
            .unwrap()
    }

    /// The paths required by the formats' documents.
    fn places(&self) -> Vec<PathBuf> {
        let homes = Homes::below(self.system, &self.home);
        vec![
            homes.clap.join("Sumproof.clap"),
            homes.vst3.join("Sumproof.vst3"),
            homes
                .applications
                .join(layout::program_file(self.system, STANDALONE)),
            homes.programs.join(COMMAND),
            homes.manuals.unwrap().join(MANUAL),
        ]
    }
}

impl Drop for Unpacked {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.root);
    }
}

/// Whether there is a shell to run it in.
fn shell() -> bool {
    output_of(Command::new("sh").args(["-c", "true"])).is_some()
}

#[test]
fn the_script_places_what_install_places_and_takes_it_away_again() {
    for system in [System::Linux, System::MacOs] {
        assert!(shell() || System::here() == System::Windows, "no shell");
        if !shell() {
            return;
        }
        let unpacked = Unpacked::new(system, "places");
        let other = Homes::below(system, &unpacked.home).vst3.join("Other.vst3");
        fs::create_dir_all(&other).unwrap();
        // Twice: a bundle is replaced as a whole, and no file of an old one remains.
        for _ in 0..2 {
            let done = unpacked.run(&[]);
            assert!(done.status.success(), "{done:?}");
            for place in unpacked.places() {
                assert!(place.exists(), "{} is missing: {done:?}", place.display());
            }
            let old = unpacked.places()[1].join("Contents/old");
            assert!(!old.exists());
            fs::write(old, "old").unwrap();
        }
        let done = unpacked.run(&["--uninstall"]);
        assert!(done.status.success(), "{done:?}");
        assert!(unpacked.places().iter().all(|place| !place.exists()));
        assert!(other.exists());
    }
}

#[test]
fn nothing_is_placed_from_a_damaged_archive_or_with_a_wrong_word() {
    if !shell() {
        return;
    }
    let unpacked = Unpacked::new(System::Linux, "refuses");
    assert_eq!(unpacked.run(&["--sytem"]).status.code(), Some(2));
    fs::write(unpacked.archive.join("Sumproof.clap"), "damaged").unwrap();
    let refused = unpacked.run(&[]);
    assert_eq!(refused.status.code(), Some(1), "{refused:?}");
    assert!(unpacked.places().iter().all(|place| !place.exists()));
}
