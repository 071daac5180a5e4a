//! A thousand damaged files: each gets one clear line, none brings the command down or makes it take much memory.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

mod common;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use common::{folder, preset, write};
use sumproof_signals::{PresetKind, Rng};
use wait4::{ResUse, Wait4};

const FILES: usize = 1000;
/// What a process may have held at once, bytes.
const MOST: u64 = 64 << 20;

/// What is done to a good file.
type Damage = fn(&mut Vec<u8>, &mut Rng);

/// Ways to damage a WAV file of 44 bytes of header (16-bit, written below): offsets are those of its fields.
const WAV: [(&str, Damage); 9] = [
    ("cut in the header", |bytes, rng| {
        bytes.truncate(1 + rng.below(43))
    }),
    ("cut in the sound", |bytes, rng| {
        let end = 44 + rng.below(bytes.len() - 48);
        bytes.truncate(end);
    }),
    ("absurd sound size", |bytes, rng| {
        let size = 0x4000_0000 + (rng.next_u64() as u32 >> 2);
        bytes[40..44].copy_from_slice(&(size & !3).to_le_bytes());
    }),
    ("rate zero", |bytes, _| bytes[24..28].fill(0)),
    ("absurd rate", |bytes, rng| {
        let rate = 200_000 + (rng.next_u64() as u32 >> 4);
        bytes[24..28].copy_from_slice(&rate.to_le_bytes());
    }),
    ("channels", |bytes, rng| {
        let count = [0u16, 1, 3, 17, 255, 65_535][rng.below(6)];
        bytes[22..24].copy_from_slice(&count.to_le_bytes());
    }),
    ("bits flipped in the names", |bytes, rng| {
        let at = [0, 1, 2, 3, 8, 9, 10, 11][rng.below(8)];
        bytes[at] ^= 1 << rng.below(8);
    }),
    ("absurd format size", |bytes, rng| {
        bytes[16..20].copy_from_slice(&((rng.next_u64() as u32) | 0x8000_0000).to_le_bytes());
    }),
    ("unknown coding", |bytes, rng| {
        let code = 0x4000 + (rng.next_u64() as u16 & 0x1fff);
        bytes[20..22].copy_from_slice(&code.to_le_bytes());
    }),
];

/// The same for an AIFF file (COMM at 12, SSND at 38, written below).
const AIFF: [(&str, Damage); 6] = [
    ("cut in the header", |bytes, rng| {
        bytes.truncate(1 + rng.below(52))
    }),
    ("cut in the sound", |bytes, rng| {
        let end = 54 + rng.below(bytes.len() - 60);
        bytes.truncate(end);
    }),
    ("rate zero", |bytes, _| bytes[28..38].fill(0)),
    ("rate with absurd exponent", |bytes, rng| {
        bytes[28] = 0x60 + rng.below(0x1f) as u8;
    }),
    ("channels", |bytes, rng| {
        let count = [0u16, 1, 3, 255, 65_535][rng.below(5)];
        bytes[20..22].copy_from_slice(&count.to_be_bytes());
    }),
    ("bits flipped in the names", |bytes, rng| {
        let at = [0, 1, 2, 3, 8, 9, 10][rng.below(7)];
        bytes[at] ^= 1 << rng.below(8);
    }),
];

/// Half a second of a preset, left and right by turns.
fn samples(seed: u64) -> Vec<i16> {
    let sound = preset(PresetKind::EqualDry, 0.5, seed);
    let pairs = sound.left.iter().zip(&sound.right);
    pairs
        .flat_map(|(left, right)| [left, right].map(|sample| (32_767.0 * sample) as i16))
        .collect()
}

/// What is damaged must have been good before.
fn good(folder: &Path, name: &str, bytes: Vec<u8>) -> Vec<u8> {
    let path = folder.join(name);
    fs::write(&path, &bytes).unwrap();
    sumproof_cli::read(&path, |_, _, _| {}).unwrap();
    bytes
}

/// A 16-bit WAV file.
fn wav(folder: &Path) -> Vec<u8> {
    let data: Vec<u8> = samples(1).into_iter().flat_map(i16::to_le_bytes).collect();
    let mut bytes = Vec::from(*b"RIFF");
    bytes.extend((36 + data.len() as u32).to_le_bytes());
    bytes.extend(*b"WAVEfmt ");
    bytes.extend(16u32.to_le_bytes());
    bytes.extend(1u16.to_le_bytes());
    bytes.extend(2u16.to_le_bytes());
    bytes.extend(48_000u32.to_le_bytes());
    bytes.extend(192_000u32.to_le_bytes());
    bytes.extend(4u16.to_le_bytes());
    bytes.extend(16u16.to_le_bytes());
    bytes.extend(*b"data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    good(folder, "good.wav", bytes)
}

/// A 16-bit AIFF file.
fn aiff(folder: &Path) -> Vec<u8> {
    let samples = samples(2);
    let mut data = vec![0; 8];
    data.extend(samples.iter().copied().flat_map(i16::to_be_bytes));
    let mut bytes = Vec::from(*b"FORM");
    bytes.extend((4 + 26 + 8 + data.len() as u32).to_be_bytes());
    bytes.extend(*b"AIFFCOMM");
    bytes.extend(18u32.to_be_bytes());
    bytes.extend(2u16.to_be_bytes());
    bytes.extend((samples.len() as u32 / 2).to_be_bytes());
    bytes.extend(16u16.to_be_bytes());
    // 48 kHz as an 80-bit number.
    bytes.extend([0x40, 0x0e, 0xbb, 0x80, 0, 0, 0, 0, 0, 0]);
    bytes.extend(*b"SSND");
    bytes.extend((data.len() as u32).to_be_bytes());
    bytes.extend(data);
    good(folder, "good.aiff", bytes)
}

fn damaged(folder: &Path) -> Vec<PathBuf> {
    let (wav, aiff) = (wav(folder), aiff(folder));
    let mut rng = Rng::new(17);
    (0..FILES)
        .map(|number| {
            let ways = WAV.len() + AIFF.len();
            let way = number % ways;
            let (good, extension, (name, damage)) = if way < WAV.len() {
                (&wav, "wav", WAV[way])
            } else {
                (&aiff, "aiff", AIFF[way - WAV.len()])
            };
            let mut bytes = good.clone();
            damage(&mut bytes, &mut rng);
            assert_ne!(&bytes, good, "{name} changed nothing");
            let path = folder.join(format!("{number:04} {name}.{extension}"));
            fs::write(&path, bytes).unwrap();
            path
        })
        .collect()
}

/// One process reads them all, so what it held is more than any one of them took: what it said, and how it ended.
fn checked(folder: &Path, paths: &[PathBuf]) -> (String, ResUse) {
    let complaints = folder.join("complaints.txt");
    let child = Command::new(env!("CARGO_BIN_EXE_sumproof"))
        .args(["check", "--jobs", "1"])
        .args(paths)
        .stdout(Stdio::null())
        .stderr(fs::File::create(&complaints).unwrap())
        .spawn()
        .unwrap();
    let ended = child.wait4().unwrap();
    (fs::read_to_string(&complaints).unwrap(), ended)
}

#[test]
fn a_thousand_damaged_files_are_a_thousand_lines() {
    let folder = folder("damaged");
    let paths = damaged(&folder);
    let (said, ended) = checked(&folder, &paths);
    let lines: Vec<&str> = said.lines().collect();
    assert!(
        ended.status.code().is_some_and(|code| (10..20).contains(&code)),
        "{said}"
    );
    assert_eq!(lines.len(), FILES, "{said}");
    for (path, line) in paths.iter().zip(lines) {
        let path = path.to_str().unwrap();
        assert!(line.starts_with(path) && line.contains("; "), "{path}: {line}");
        assert!(!line.contains("panicked"), "{line}");
    }
    assert!(ended.rusage.maxrss < MOST, "{} bytes", ended.rusage.maxrss);
}

#[test]
fn bits_flipped_anywhere_in_a_header_never_bring_it_down() {
    let folder = folder("damaged-anywhere");
    let base = folder.join("base");
    fs::create_dir(&base).unwrap();
    let good = fs::read(write(
        &base,
        "float.wav",
        48_000,
        &preset(PresetKind::EqualDry, 0.5, 3),
    ))
    .unwrap();
    let mut rng = Rng::new(18);
    let paths: Vec<PathBuf> = (0..60)
        .map(|number| {
            let mut bytes = good.clone();
            for _ in 0..1 + rng.below(8) {
                let at = rng.below(100);
                bytes[at] ^= 1 << rng.below(8);
            }
            let path = folder.join(format!("{number:02}.wav"));
            fs::write(&path, bytes).unwrap();
            path
        })
        .collect();
    let (said, ended) = checked(&folder, &paths);
    assert!(ended.status.code().is_some_and(|code| code < 20), "{said}");
    assert!(
        !said.contains("panicked") && said.lines().count() <= paths.len(),
        "{said}"
    );
    assert!(ended.rusage.maxrss < MOST, "{} bytes", ended.rusage.maxrss);
}
