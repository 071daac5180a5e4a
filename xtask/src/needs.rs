//! Software needed besides a Rust toolchain, and its installation.

use crate::run::{Failure, output_of, run};
use crate::system::System;
use std::path::Path;
use std::process::Command;

/// A Debian package, and how to tell whether the part of it that is needed is already there.
pub struct Need {
    package: &'static str,
    probe: Probe,
}

enum Probe {
    /// A program on the path.
    Command(&'static str),
    /// A shared library that the loader finds.
    Library(&'static str),
    /// The package itself.
    Package,
}

/// Needed by the plugin's window at run time. X11 and OpenGL are opened by name then, so the build does not need them.
pub const WINDOW: &[Need] = &[
    library("libegl1", "libEGL.so.1"),
    library("libegl-mesa0", "libEGL_mesa.so.0"),
    library("libgl1", "libGL.so.1"),
    package("libgl1-mesa-dri"),
    library("libx11-6", "libX11.so.6"),
    library("libx11-xcb1", "libX11-xcb.so.1"),
    library("libxcursor1", "libXcursor.so.1"),
    library("libxkbcommon0", "libxkbcommon.so.0"),
    library("libxkbcommon-x11-0", "libxkbcommon-x11.so.0"),
];

/// Needed by the tests besides the window's packages: a virtual display, Python for the VST3 host, and a browser in
/// which pages are opened and printed.
pub const TESTS: &[Need] = &[
    Need {
        package: "xvfb",
        probe: Probe::Command("Xvfb"),
    },
    PYTHON_VENV,
    // Used by one of the VST3 hosts.
    library("libglib2.0-0", "libglib-2.0.so.0"),
    Need {
        package: "chromium",
        probe: Probe::Command("chromium"),
    },
    // Controls the browser.
    Need {
        package: "chromium-driver",
        probe: Probe::Command("chromedriver"),
    },
    // The other browser.
    Need {
        package: "firefox-esr",
        probe: Probe::Command("firefox-esr"),
    },
    // Plays into nothing, for that one: it plays only to a sound device.
    Need {
        package: "pulseaudio",
        probe: Probe::Command("pulseaudio"),
    },
    // Coders: for phones' recordings in the simulated venues, and for files to be damaged.
    Need {
        package: "flac",
        probe: Probe::Command("flac"),
    },
    Need {
        package: "lame",
        probe: Probe::Command("lame"),
    },
    Need {
        package: "vorbis-tools",
        probe: Probe::Command("oggenc"),
    },
    // For the formats of phones and cameras.
    Need {
        package: "ffmpeg",
        probe: Probe::Command("ffmpeg"),
    },
    // A sound server that needs no sound card, for the stand-alone program.
    Need {
        package: "jackd2",
        probe: Probe::Command("jackd"),
    },
    Need {
        package: "shellcheck",
        probe: Probe::Command("shellcheck"),
    },
];

const PYTHON_VENV: Need = package("python3-venv");

/// For a Python environment of our own.
pub const PYTHON: &[Need] = &[PYTHON_VENV];

/// For presets of sampled guitars (`tests/presets`): a synthesizer, its soundfont, and effects. Used by tests, never
/// passed on.
pub const PRESETS: &[Need] = &[
    Need {
        package: "fluidsynth",
        probe: Probe::Command("fluidsynth"),
    },
    package("fluidr3mono-gm-soundfont"),
    package("caps"),
    package("cmt"),
    package("swh-plugins"),
    package("tap-plugins"),
];

/// A DAW that can be controlled without a window and without a sound card.
pub const DAW: &[Need] = &[package("ardour")];

/// Counts instructions.
pub const BENCHES: &[Need] = &[Need {
    package: "valgrind",
    probe: Probe::Command("valgrind"),
}];

/// Needed for building everything besides Rust's toolchain: the headers of JACK and ALSA for the stand-alone program,
/// and CMake for the command's decoder of Opus.
pub const BUILDING: &[Need] = &[
    Need {
        package: "cmake",
        probe: Probe::Command("cmake"),
    },
    Need {
        package: "pkg-config",
        probe: Probe::Command("pkg-config"),
    },
    package("libjack-jackd2-dev"),
    package("libasound2-dev"),
];

const fn library(package: &'static str, file: &'static str) -> Need {
    Need {
        package,
        probe: Probe::Library(file),
    }
}

const fn package(package: &'static str) -> Need {
    Need {
        package,
        probe: Probe::Package,
    }
}

/// Makes sure that everything is installed: as root through `apt-get`, otherwise by printing the line that installs it.
/// On Windows and macOS these packages aren't needed.
///
/// # Errors
/// [`Failure::Missing`] if the user has to act.
pub fn provide(needs: &[&[Need]]) -> Result<(), Failure> {
    let missing = missing(needs);
    if missing.is_empty() || System::here() != System::Linux {
        return Ok(());
    }
    let list = missing.join(" ");
    let line = format!("apt-get update && apt-get install -y --no-install-recommends {list}");
    if !in_path("apt-get") {
        return Err(Failure::Missing(format!(
            "this needs what Debian has in these packages; install the same with your system's tools:\n  {list}"
        )));
    }
    if !is_root() {
        return Err(Failure::Missing(format!(
            "this needs packages; run\n  sudo sh -c '{line}'"
        )));
    }
    eprintln!("installing {list}");
    update_lists()?;
    run(apt_get()
        .args(["install", "-y", "--no-install-recommends"])
        .args(&missing))
    .map_err(|_| Failure::Missing(format!("the packages could not be installed; run\n  {line}")))
}

/// `apt-get update`.
///
/// # Errors
/// [`Failure::Failed`] if it fails.
pub fn update_lists() -> Result<(), Failure> {
    run(apt_get().args(["-q", "update"]))
}

/// An `apt-get` that asks no questions.
pub fn apt_get() -> Command {
    let mut command = Command::new("apt-get");
    command.env("DEBIAN_FRONTEND", "noninteractive");
    command
}

/// Whether we may install packages.
pub fn is_root() -> bool {
    output_of(Command::new("id").arg("-u")).is_some_and(|id| id.trim() == "0")
}

fn missing(needs: &[&[Need]]) -> Vec<&'static str> {
    // `ldconfig` is outside the path of ordinary users.
    let loader = ["/sbin/ldconfig", "ldconfig"]
        .iter()
        .find_map(|program| output_of(Command::new(program).arg("-p")))
        .unwrap_or_default();
    needs
        .iter()
        .copied()
        .flatten()
        .filter(|need| !match need.probe {
            Probe::Command(name) => in_path(name),
            Probe::Library(file) => loader.lines().any(|line| line.trim_start().starts_with(file)),
            Probe::Package => is_installed(need.package),
        })
        .map(|need| need.package)
        .collect()
}

fn is_installed(package: &str) -> bool {
    output_of(Command::new("dpkg-query").args(["-W", "-f=${Status}", package]))
        .is_some_and(|status| status == "install ok installed")
}

/// Whether a program of that name is on the path.
pub fn in_path(program: &str) -> bool {
    let program = &System::here().program(program);
    std::env::var_os("PATH")
        .is_some_and(|path| std::env::split_paths(&path).any(|folder| is_file(&folder.join(program))))
}

fn is_file(path: &Path) -> bool {
    path.metadata().is_ok_and(|data| data.is_file())
}
