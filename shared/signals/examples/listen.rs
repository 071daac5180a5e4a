//! Prints what every preset holds and how long it took to make; with a folder, writes raw stereo `f32` files there.

use std::path::PathBuf;
use std::time::Instant;
use std::{env, fs, io};

use sumproof_signals::{Preset, PresetKind, PresetSpec, demo_preset, power_db, render, truth};

fn main() -> io::Result<()> {
    let folder = env::args_os().nth(1).map(PathBuf::from);
    println!(
        "{:24} {:>8} {:>8} {:>8} {:>8} {:>8} {:>8}",
        "preset", "rms dBFS", "dry corr", "wet corr", "dry mono", "wet mono", "ms"
    );
    for kind in PresetKind::ALL {
        let began = Instant::now();
        let preset = render(&PresetSpec::new(kind));
        show(kind.id(), &preset, began);
        write(folder.as_ref(), kind.id(), &preset)?;
    }
    let began = Instant::now();
    let demo = demo_preset(48_000.0);
    show(&demo.name, &demo, began);
    write(folder.as_ref(), "demo", &demo)
}

fn show(name: &str, preset: &Preset, began: Instant) {
    let took_ms = 1000.0 * began.elapsed().as_secs_f64();
    let changes = truth::changes(preset, &truth::MonoFeed::wedge());
    println!(
        "{name:24} {:8.2} {:8.3} {:8.3} {:8.2} {:8.2} {took_ms:8.0}",
        power_db(preset.full().power() / 2.0),
        preset.dry.correlation(),
        preset.wet.correlation(),
        changes.dry_db,
        changes.wet_db,
    );
}

fn write(folder: Option<&PathBuf>, name: &str, preset: &Preset) -> io::Result<()> {
    let Some(folder) = folder else { return Ok(()) };
    fs::create_dir_all(folder)?;
    let bytes: Vec<u8> = preset
        .full()
        .interleaved_f32()
        .iter()
        .flat_map(|x| x.to_le_bytes())
        .collect();
    let partial = folder.join(format!("{name}.f32.part"));
    fs::write(&partial, bytes)?;
    fs::rename(partial, folder.join(format!("{name}.f32")))
}
