//! A thousand damaged files: for each the command prints one clear line; none crashes it or makes it use much memory.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]
#![allow(
    clippy::cast_possible_truncation,
    reason = "a test chooses the numbers it converts"
)]

mod common;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use common::{folder, preset, write};
use sumproof_signals::{PresetKind, Rng};
use wait4::{ResUse, Wait4};

const FILES: usize = 1000;
/// Largest memory a process may use, bytes.
const MOST: u64 = 64 << 20;

/// A way to damage a good file.
type Damage = fn(&mut Vec<u8>, &mut Rng);

/// Damage for a WAV file with a header of 44 bytes (16-bit, written below): offsets are those of its fields.
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

/// Damage for an AIFF file (COMM at 12, SSND at 38, written below).
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

/// Damage for a FLAC file (stream info at 8, the next metadata block at 42).
const FLAC: [(&str, Damage); 9] = [
    ("cut in the header", |bytes, rng| {
        bytes.truncate(1 + rng.below(41))
    }),
    ("cut in the sound", cut_in_the_sound),
    ("rate zero", |bytes, _| set_flac_rate(bytes, 0)),
    ("absurd rate", |bytes, rng| {
        set_flac_rate(bytes, 200_000 + rng.below(800_000) as u32);
    }),
    ("channels", |bytes, rng| {
        let count = [1, 3, 5, 8][rng.below(4)];
        bytes[20] = (bytes[20] & 0b1111_0001) | ((count - 1) << 1);
    }),
    ("absurd length", |bytes, rng| {
        bytes[21] |= 0x0f;
        bytes[22..26].copy_from_slice(&(rng.next_u64() as u32).to_be_bytes());
    }),
    ("absurd metadata", |bytes, rng| {
        let at = [5, 43][rng.below(2)];
        bytes[at..at + 3].copy_from_slice(&[0xff - rng.below(16) as u8, 0xff, 0xff]);
    }),
    ("bits flipped in the name", |bytes, rng| {
        bytes[rng.below(4)] ^= 1 << rng.below(8);
    }),
    ("bits flipped in the sound", |bytes, rng| {
        let middle = bytes.len() / 2;
        for _ in 0..8 {
            bytes[middle + rng.below(1000)] ^= 1 << rng.below(8);
        }
    }),
];

/// Damage for an MP3 file (the first frame has no sound but states how many follow).
const MP3: [(&str, Damage); 5] = [
    ("cut in the header", |bytes, rng| {
        bytes.truncate(1 + rng.below(40))
    }),
    ("cut in the sound", cut_in_the_sound),
    ("absurd length", |bytes, rng| {
        let at = find(bytes, b"Info") + 8;
        bytes[at..at + 4].copy_from_slice(&(0x1000_0000 + rng.below(0x1000_0000) as u32).to_be_bytes());
    }),
    ("no frame begins", |bytes, rng| {
        let instead = rng.below(255) as u8;
        bytes
            .iter_mut()
            .filter(|byte| **byte == 0xff)
            .for_each(|byte| *byte = instead);
    }),
    ("noise instead of sound", |bytes, rng| {
        bytes[600..].fill_with(|| rng.next_u64() as u8);
    }),
];

/// Damage for an Ogg Vorbis file (the identification header at 28, alone in its page).
const OGG: [(&str, Damage); 8] = [
    ("cut in the header", |bytes, rng| {
        bytes.truncate(1 + rng.below(90))
    }),
    ("cut in the sound", cut_in_the_sound),
    ("rate zero", |bytes, _| {
        bytes[40..44].fill(0);
        mend_first_page(bytes);
    }),
    ("absurd rate", |bytes, rng| {
        let rate = 200_000 + (rng.next_u64() as u32 >> 4);
        bytes[40..44].copy_from_slice(&rate.to_le_bytes());
        mend_first_page(bytes);
    }),
    ("channels", |bytes, rng| {
        bytes[39] = [0, 1, 3, 17, 255][rng.below(5)];
        mend_first_page(bytes);
    }),
    ("absurd block sizes", |bytes, rng| {
        bytes[56] = [0x00, 0x11, 0xee, 0xff, 0x8d][rng.below(5)];
        mend_first_page(bytes);
    }),
    ("a header that its checksum denies", |bytes, rng| {
        bytes[28 + rng.below(29)] ^= 1 << rng.below(8);
    }),
    ("bits flipped in the name", |bytes, rng| {
        bytes[rng.below(4)] ^= 1 << rng.below(8);
    }),
];

/// Damage for an MP4 file (its type at 4, the table of tracks before the sound).
const M4A: [(&str, Damage); 7] = [
    ("cut in the header", |bytes, rng| {
        bytes.truncate(1 + rng.below(40))
    }),
    ("cut in the sound", cut_in_the_sound),
    ("no table", |bytes, rng| {
        let at = find(bytes, b"moov");
        bytes[at + rng.below(4)] ^= 1 << rng.below(5);
    }),
    ("absurd table", |bytes, rng| {
        let at = find(bytes, b"moov") - 4;
        bytes[at] = 0x40 + rng.below(0x3f) as u8;
    }),
    ("absurd count of pieces", |bytes, rng| {
        let at = find(bytes, b"stsz") + 12;
        bytes[at..at + 4].copy_from_slice(&(0x1000_0000 + rng.below(0x1000_0000) as u32).to_be_bytes());
    }),
    ("channels", |bytes, rng| {
        // The second half of the decoder's configuration: five bits of object type and four of sample rate before it.
        let at = find(bytes, b"\x11\x90") + 1;
        bytes[at] = (bytes[at] & 0b1000_0111) | ([0, 1, 3, 6, 7][rng.below(5)] << 3);
    }),
    ("unknown coding", |bytes, rng| {
        let at = find(bytes, b"mp4a");
        bytes[at..at + 4].copy_from_slice([b"samr", b"sawb", b"zzzz"][rng.below(3)]);
    }),
];

/// Damage for a Core Audio file with ALAC (its description at 20, the packet table at the end).
const CAF: [(&str, Damage); 4] = [
    ("cut in the header", |bytes, rng| {
        bytes.truncate(1 + rng.below(50))
    }),
    ("cut in the sound", cut_in_the_sound),
    ("rate zero", |bytes, _| bytes[20..28].fill(0)),
    ("unknown coding", |bytes, rng| {
        bytes[28..32].copy_from_slice([b"QDM2", b"zzzz", b"ilbc"][rng.below(3)]);
    }),
];

/// Damage for an Ogg Opus file (the identification header at 28, alone in its page).
const OPUS: [(&str, Damage); 5] = [
    ("cut in the header", |bytes, rng| {
        bytes.truncate(1 + rng.below(46))
    }),
    ("cut in the sound", cut_in_the_sound),
    ("channels", |bytes, rng| {
        bytes[37] = [0, 1, 3, 17, 255][rng.below(5)];
        mend_first_page(bytes);
    }),
    ("absurd version", |bytes, rng| {
        bytes[36] = 16 + rng.below(200) as u8;
        mend_first_page(bytes);
    }),
    ("bits flipped in the name", |bytes, rng| {
        bytes[rng.below(4)] ^= 1 << rng.below(8);
    }),
];

/// Damage for a W64 file (its format at 40, the length of its sound after that).
const W64: [(&str, Damage); 6] = [
    ("cut in the header", |bytes, rng| {
        bytes.truncate(1 + rng.below(100))
    }),
    ("cut in the sound", cut_in_the_sound),
    ("absurd sound size", |bytes, rng| {
        let at = find(bytes, b"data") + 16;
        bytes[at..at + 8].copy_from_slice(&(rng.next_u64() | 1 << 62).to_le_bytes());
    }),
    ("absurd format size", |bytes, rng| {
        bytes[56..64].copy_from_slice(&(rng.next_u64() | 1 << 40).to_le_bytes());
    }),
    ("rate zero", |bytes, _| bytes[68..72].fill(0)),
    ("channels", |bytes, rng| {
        let count = [0u16, 1, 3, 17, 255][rng.below(5)];
        bytes[66..68].copy_from_slice(&count.to_le_bytes());
    }),
];

/// Damage for Matroska (the ids of its elements; its length is known only in seconds).
const MATROSKA: [(&str, Damage); 3] = [
    ("cut in the header", |bytes, rng| {
        bytes.truncate(1 + rng.below(100))
    }),
    ("bits flipped in the name", |bytes, rng| {
        bytes[rng.below(4)] ^= 1 << rng.below(8);
    }),
    ("unknown coding", |bytes, _| {
        let at = find(bytes, b"A_OPUS");
        bytes[at..at + 6].copy_from_slice(b"A_AC3X");
    }),
];

/// Damage outside the sound, by extension: the sound is complete and is read.
const BESIDE: [(&str, Damage); 2] = [
    ("mp3", |bytes, rng| {
        let size = [0x7f, 0x7f - rng.below(64) as u8, 0x7f, 0x7f];
        bytes.splice(..0, [b"ID3\x04\x00\x00".as_slice(), &size].concat());
    }),
    ("ogg", |bytes, rng| {
        let at = find(bytes, b"\x03vorbis") + 7;
        bytes[at..at + 4].copy_from_slice(&(0x8000_0000 | rng.next_u64() as u32).to_le_bytes());
        let page = 58;
        mend_page(bytes, page);
    }),
];

/// A quarter to three quarters remain.
fn cut_in_the_sound(bytes: &mut Vec<u8>, rng: &mut Rng) {
    let quarter = bytes.len() / 4;
    bytes.truncate(quarter + rng.below(2 * quarter));
}

/// Sets the twenty bits from offset 18.
fn set_flac_rate(bytes: &mut [u8], rate: u32) {
    bytes[18..20].copy_from_slice(&((rate >> 4) as u16).to_be_bytes());
    bytes[20] = (bytes[20] & 0x0f) | ((rate as u8) << 4);
}

fn find(bytes: &[u8], what: &[u8]) -> usize {
    bytes
        .windows(what.len())
        .position(|window| window == what)
        .unwrap()
}

fn mend_first_page(bytes: &mut [u8]) {
    mend_page(bytes, 0);
}

/// Corrects an Ogg page's checksum: CRC-32 of the page with the checksum taken as zero, polynomial 0x04c11db7, highest
/// bit first, starting from zero (RFC 3533, section 6).
fn mend_page(bytes: &mut [u8], at: usize) {
    let segments = usize::from(bytes[at + 26]);
    let header = 27 + segments;
    let body: usize = bytes[at + 27..at + header]
        .iter()
        .map(|&len| usize::from(len))
        .sum();
    bytes[at + 22..at + 26].fill(0);
    let sum = bytes[at..at + header + body].iter().fold(0u32, |sum, &byte| {
        (0..8).fold(sum ^ (u32::from(byte) << 24), |sum, _| {
            (sum << 1) ^ if sum >> 31 == 1 { 0x04c1_1db7 } else { 0 }
        })
    });
    bytes[at + 22..at + 26].copy_from_slice(&sum.to_le_bytes());
}

/// Half a second of a preset, left and right interleaved.
fn samples(seed: u64) -> Vec<i16> {
    let sound = preset(PresetKind::EqualDry, 0.5, seed);
    let pairs = sound.left.iter().zip(&sound.right);
    pairs
        .flat_map(|(left, right)| [left, right].map(|sample| (32_767.0 * sample) as i16))
        .collect()
}

/// Asserts that a file is good before it is damaged.
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

/// The WAV file coded by a program; `arguments` are the coder's own, the last two the input and output files.
fn coded(folder: &Path, coder: &str, arguments: &[&str], extension: &str) -> Vec<u8> {
    let to = folder.join(format!("coded.{extension}"));
    let from = folder.join("good.wav");
    let done = Command::new(coder)
        .args(arguments)
        .args(match coder {
            "lame" => vec![from.as_os_str(), to.as_os_str()],
            "ffmpeg" => vec![to.as_os_str()],
            _ => vec![to.as_os_str(), from.as_os_str()],
        })
        .current_dir(folder)
        .stdin(Stdio::null())
        .stderr(Stdio::null())
        .status();
    assert!(
        done.is_ok_and(|status| status.success()),
        "{coder} is missing or failed: install the packages flac, lame, vorbis-tools and ffmpeg"
    );
    good(folder, &format!("good.{extension}"), fs::read(to).unwrap())
}

/// The WAV file coded by ffmpeg.
fn ffmpeg(folder: &Path, coder: &str, extension: &str) -> Vec<u8> {
    let mut arguments: Vec<&str> = "-loglevel error -y -i good.wav".split(' ').collect();
    arguments.extend(coder.split(' '));
    coded(folder, "ffmpeg", &arguments, extension)
}

/// A good file, its extension, and the ways to damage it.
type Kind = (Vec<u8>, &'static str, &'static [(&'static str, Damage)]);

/// One file of every kind.
fn kinds(folder: &Path) -> Vec<Kind> {
    vec![
        (wav(folder), "wav", &WAV),
        (aiff(folder), "aiff", &AIFF),
        (
            coded(
                folder,
                "flac",
                &["--silent", "--no-padding", "--no-seektable", "-o"],
                "flac",
            ),
            "flac",
            &FLAC,
        ),
        (
            coded(folder, "lame", &["--quiet", "-b", "128"], "mp3"),
            "mp3",
            &MP3,
        ),
        (coded(folder, "oggenc", &["-Q", "-o"], "ogg"), "ogg", &OGG),
        (
            ffmpeg(folder, "-c:a aac -b:a 128k -movflags faststart", "m4a"),
            "m4a",
            &M4A,
        ),
        (ffmpeg(folder, "-c:a alac", "caf"), "caf", &CAF),
        (ffmpeg(folder, "-c:a libopus -b:a 96k", "opus"), "opus", &OPUS),
        (ffmpeg(folder, "-c:a pcm_s16le", "w64"), "w64", &W64),
        (ffmpeg(folder, "-c:a libopus -b:a 96k", "webm"), "webm", &MATROSKA),
    ]
}

fn damaged(folder: &Path) -> Vec<PathBuf> {
    let kinds = kinds(folder);
    let ways: Vec<_> = kinds
        .iter()
        .flat_map(|(good, extension, damages)| damages.iter().map(move |damage| (good, extension, damage)))
        .collect();
    let mut rng = Rng::new(17);
    (0..FILES)
        .map(|number| {
            let (good, extension, (name, damage)) = ways[number % ways.len()];
            let mut bytes = good.clone();
            damage(&mut bytes, &mut rng);
            assert_ne!(&bytes, good, "{name} changed nothing");
            let path = folder.join(format!("{number:04} {name}.{extension}"));
            fs::write(&path, bytes).unwrap();
            path
        })
        .collect()
}

/// One process reads them all, so its memory is at least that of any one of them. Returns its error output, and its
/// exit status with its resource use.
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
#[ignore = "needs Debian's coders: `cargo xtask test` runs it"]
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
#[ignore = "needs Debian's coders: `cargo xtask test` runs it"]
fn bits_flipped_anywhere_in_a_header_never_bring_it_down() {
    let folder = folder("damaged-anywhere");
    let base = folder.join("base");
    fs::create_dir(&base).unwrap();
    let float = write(&base, "float.wav", 48_000, &preset(PresetKind::EqualDry, 0.5, 3));
    let mut good: Vec<_> = kinds(&base)
        .into_iter()
        .map(|(bytes, extension, _)| (bytes, extension))
        .collect();
    good.push((fs::read(float).unwrap(), "wav"));
    let mut rng = Rng::new(18);
    let paths: Vec<PathBuf> = (0..180)
        .map(|number| {
            let (good, extension) = &good[number % good.len()];
            let mut bytes = good.clone();
            for _ in 0..1 + rng.below(8) {
                let at = rng.below(100);
                bytes[at] ^= 1 << rng.below(8);
            }
            let path = folder.join(format!("{number:03}.{extension}"));
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

#[test]
#[ignore = "needs Debian's coders: `cargo xtask test` runs it"]
fn absurd_sizes_beside_the_sound_cost_neither_the_file_nor_memory() {
    let folder = folder("damaged-beside");
    let mut rng = Rng::new(19);
    let mut paths = Vec::new();
    for (good, extension, _) in kinds(&folder) {
        for (number, (_, damage)) in BESIDE
            .iter()
            .filter(|(of, _)| *of == extension)
            .cycle()
            .take(20)
            .enumerate()
        {
            let mut bytes = good.clone();
            damage(&mut bytes, &mut rng);
            let path = folder.join(format!("{number:02}.{extension}"));
            fs::write(&path, bytes).unwrap();
            paths.push(path);
        }
    }
    assert_eq!(paths.len(), 20 * BESIDE.len());
    let (said, ended) = checked(&folder, &paths);
    assert!(ended.status.success() && said.is_empty(), "{said}");
    assert!(ended.rusage.maxrss < MOST, "{} bytes", ended.rusage.maxrss);
}
