//! Draws the window in every state, without a host or a graphics card, and writes a PNG of each.
//!
//! Exits with 0 when all are written, 1 when one can't be, 2 for a wrong command line.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Parser, ValueEnum};
use sumproof_tests::render::{Scene, scenes, write};
use sumproof_views::{DEFAULT_SIZE, MIN_SIZE, Theme};

/// Draws the window's states as pictures.
#[derive(Parser)]
struct Arguments {
    /// Where the pictures go
    folder: PathBuf,
    /// Only these states
    names: Vec<String>,
    /// All of them in this theme
    #[arg(long)]
    theme: Option<Colours>,
    /// All of them in this size
    #[arg(long)]
    size: Option<Size>,
}

#[derive(Clone, Copy, ValueEnum)]
enum Colours {
    Night,
    Paper,
}

#[derive(Clone, Copy, ValueEnum)]
enum Size {
    Smallest,
    Usual,
    /// Two real pixels to each
    Double,
    /// 3840 by 2160
    Largest,
}

impl Size {
    fn put_on(self, scene: &mut Scene) {
        (scene.size, scene.pixels_per_point) = match self {
            Self::Smallest => ([MIN_SIZE.0, MIN_SIZE.1], 1.0),
            Self::Usual => ([DEFAULT_SIZE.0, DEFAULT_SIZE.1], 1.0),
            Self::Double => ([DEFAULT_SIZE.0, DEFAULT_SIZE.1], 2.0),
            Self::Largest => ([3840.0, 2160.0], 1.0),
        };
    }
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let mut all = scenes();
    if let Some(unknown) = arguments
        .names
        .iter()
        .find(|name| all.iter().all(|scene| scene.name != name.as_str()))
    {
        let known: Vec<&str> = all.iter().map(|scene| scene.name).collect();
        eprintln!(
            "sumproof-shots: no state is called '{unknown}'; there are: {}",
            known.join(", ")
        );
        return ExitCode::from(2);
    }
    if let Err(error) = std::fs::create_dir_all(&arguments.folder) {
        eprintln!(
            "sumproof-shots: cannot make {}: {error}",
            arguments.folder.display()
        );
        return ExitCode::FAILURE;
    }
    let names = &arguments.names;
    all.retain(|scene| names.is_empty() || names.iter().any(|name| name == scene.name));
    let count = all.len();
    for (n, mut scene) in all.into_iter().enumerate() {
        eprintln!("{}/{count} {}", n + 1, scene.name);
        if let Some(size) = arguments.size {
            size.put_on(&mut scene);
        }
        if let Some(theme) = arguments.theme {
            scene.theme = match theme {
                Colours::Night => Theme::Night,
                Colours::Paper => Theme::Paper,
            };
        }
        if let Err(error) = shoot(&scene, &arguments.folder) {
            eprintln!("sumproof-shots: {}: {error}", scene.name);
            return ExitCode::FAILURE;
        }
    }
    ExitCode::SUCCESS
}

fn shoot(scene: &Scene, folder: &Path) -> Result<(), String> {
    let picture = scene.stage().picture()?;
    write(&picture, &folder.join(format!("{}.png", scene.name)))
}
