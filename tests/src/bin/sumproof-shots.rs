//! Draws the window in every state, without a host or a graphics card, and writes a PNG of each.
//!
//! `sumproof-shots FOLDER [NAME…]`; ends with 0 when all are written, 1 when one can't be, 2 for a wrong command line.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use sumproof_tests::render::{Scene, scenes, write};

fn main() -> ExitCode {
    let mut args = std::env::args_os().skip(1);
    let Some(folder) = args.next().map(PathBuf::from) else {
        eprintln!("usage: sumproof-shots FOLDER [NAME…]");
        return ExitCode::from(2);
    };
    let names: Vec<String> = args.map(|name| name.to_string_lossy().into_owned()).collect();
    let all = scenes();
    if let Some(unknown) = names
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
    if let Err(error) = std::fs::create_dir_all(&folder) {
        eprintln!("sumproof-shots: cannot make {}: {error}", folder.display());
        return ExitCode::FAILURE;
    }
    let wanted = |scene: &&Scene| names.is_empty() || names.iter().any(|name| name == scene.name);
    let count = all.iter().filter(wanted).count();
    for (n, scene) in all.iter().filter(wanted).enumerate() {
        eprintln!("{}/{count} {}", n + 1, scene.name);
        if let Err(error) = shoot(scene, &folder) {
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
