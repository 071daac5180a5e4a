//! Sound files through the command's reader: containers and coders, damaged in every way.

use super::{Outcome, Target, one_line, stored};
use std::path::{Path, PathBuf};
use sumproof_cli::output::wav;
use sumproof_cli::{ReadError, exit, read, read_recording};
use sumproof_core::dsp::samples;
use sumproof_recordings::format::RATES_HZ;
use sumproof_signals::Rng;

/// See the module. The first byte of an input chooses the file's ending, the rest is the file.
pub const TARGET: Target = Target {
    name: "files",
    about: "sound files of every kind that is read, and videos, through the command's reader (the first byte chooses the ending)",
    seeds,
    words: &[
        "RIFF",
        "RF64",
        "WAVE",
        "fmt ",
        "data",
        "fact",
        "LIST",
        "INFO",
        "FORM",
        "AIFF",
        "AIFC",
        "COMM",
        "SSND",
        "sowt",
        "fl32",
        "fLaC",
        "OggS",
        "\u{1}vorbis",
        "\u{3}vorbis",
        "\u{5}vorbis",
        "ID3",
        "APIC",
        "TAG",
        "Xing",
        "LAME",
        "BW64",
        "ds64",
        "riff",
        "ftyp",
        "moov",
        "mvhd",
        "trak",
        "tkhd",
        "mdia",
        "mdhd",
        "hdlr",
        "soun",
        "stsd",
        "stts",
        "stsc",
        "stsz",
        "stco",
        "mp4a",
        "esds",
        "alac",
        "samr",
        "moof",
        "traf",
        "trun",
        "mdat",
        "caff",
        "desc",
        "kuki",
        "pakt",
        "OpusHead",
        "OpusTags",
        "A_OPUS",
        "A_VORBIS",
    ],
    damage: Some(damage),
    subject: || {
        let subject = Subject::new();
        Box::new(move |bytes: &[u8]| subject.run(bytes))
    },
    longest: 1 << 18,
    few: 1500,
    fatal: false,
};

/// New ones go at the end: stored inputs refer to theirs by index.
const ENDINGS: [&str; 15] = [
    "wav", "aiff", "flac", "mp3", "ogg", "aif", "bin", "", "m4a", "mp4", "mov", "caf", "opus", "webm", "w64",
];

fn seeds() -> Vec<Vec<u8>> {
    let mut rng = Rng::new(5);
    let mut channel = || -> Vec<f32> { (0..300).map(|_| rng.between(-0.5, 0.5) as f32).collect() };
    let (left, right) = (channel(), channel());
    let mut all = vec![ending(0, &wav::pcm24(&left, &right, 48_000))];
    for (code, bits) in [
        (1u16, 8u16),
        (1, 16),
        (3, 32),
        (3, 64),
        (6, 8),
        (7, 8),
        (0xfffe, 16),
    ] {
        all.push(ending(0, &plain_wav(code, bits, &left, &right)));
    }
    for (kind, bits) in [(b"AIFF", 16u16), (b"AIFC", 16), (b"AIFF", 24)] {
        all.push(ending(1, &aiff(kind, bits, &left, &right)));
    }
    for (name, bytes) in stored("files") {
        let extension = name.rsplit('.').next().unwrap_or_default();
        let number = ENDINGS.iter().position(|known| *known == extension).unwrap_or(6);
        all.push(ending(number, &bytes));
    }
    all
}

fn ending(number: usize, file: &[u8]) -> Vec<u8> {
    [&[number as u8], file].concat()
}

/// A WAV file (RIFF, IBM and Microsoft 1991) with a chunk of remarks before the sound.
fn plain_wav(code: u16, bits: u16, left: &[f32], right: &[f32]) -> Vec<u8> {
    let mut sound = Vec::new();
    for (l, r) in left.iter().zip(right) {
        for x in [l, r] {
            match (code, bits) {
                (3, 64) => sound.extend_from_slice(&f64::from(*x).to_le_bytes()),
                (3, _) => sound.extend_from_slice(&x.to_le_bytes()),
                (_, 8) => sound.push((128.0 + 100.0 * x) as u8),
                _ => sound.extend_from_slice(&((32_000.0 * x) as i16).to_le_bytes()),
            }
        }
    }
    let frame = 2 * bits / 8;
    let mut format = Vec::new();
    format.extend_from_slice(&code.to_le_bytes());
    format.extend_from_slice(&2u16.to_le_bytes());
    format.extend_from_slice(&44_100u32.to_le_bytes());
    format.extend_from_slice(&(44_100 * u32::from(frame)).to_le_bytes());
    format.extend_from_slice(&frame.to_le_bytes());
    format.extend_from_slice(&bits.to_le_bytes());
    if code == 0xfffe {
        // The extensible form: valid bits, loudspeakers, and PCM's GUID.
        format.extend_from_slice(&22u16.to_le_bytes());
        format.extend_from_slice(&bits.to_le_bytes());
        format.extend_from_slice(&3u32.to_le_bytes());
        format.extend_from_slice(&[1, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71]);
    }
    let chunks = [
        (b"fmt ", format),
        (b"LIST", b"INFOISFT\x04\0\0\0test".to_vec()),
        (b"data", sound),
    ];
    let mut body = b"WAVE".to_vec();
    for (name, content) in chunks {
        body.extend_from_slice(name);
        body.extend_from_slice(&(content.len() as u32).to_le_bytes());
        body.extend_from_slice(&content);
    }
    [&b"RIFF"[..], &(body.len() as u32).to_le_bytes(), &body].concat()
}

/// An AIFF file (Apple 1989), or an AIFF-C one (1991) with little-endian samples.
fn aiff(kind: &[u8; 4], bits: u16, left: &[f32], right: &[f32]) -> Vec<u8> {
    let little = kind == b"AIFC";
    let mut common = 2u16.to_be_bytes().to_vec();
    common.extend_from_slice(&(left.len() as u32).to_be_bytes());
    common.extend_from_slice(&bits.to_be_bytes());
    // 44 100 as an 80-bit number.
    common.extend_from_slice(&[0x40, 0x0e, 0xac, 0x44, 0, 0, 0, 0, 0, 0]);
    if little {
        common.extend_from_slice(b"sowt\0\0");
    }
    let mut sound = vec![0; 8];
    for (l, r) in left.iter().zip(right) {
        for x in [l, r] {
            let value = (2.0e9 * x) as i32;
            let bytes = value.to_be_bytes();
            let kept = &bytes[..usize::from(bits / 8)];
            if little {
                sound.extend(kept.iter().rev());
            } else {
                sound.extend_from_slice(kept);
            }
        }
    }
    let mut body = kind.to_vec();
    for (name, content) in [(b"COMM", common), (b"SSND", sound)] {
        body.extend_from_slice(name);
        body.extend_from_slice(&(content.len() as u32).to_be_bytes());
        body.extend_from_slice(&content);
    }
    [&b"FORM"[..], &(body.len() as u32).to_be_bytes(), &body].concat()
}

/// Damages the bytes and corrects the checksums of Ogg's pages, so the damage reaches the decoder.
fn damage(bytes: &mut Vec<u8>, rng: &mut Rng) {
    super::mutate::damage(bytes, TARGET.words, &[], rng);
    let mut at = 1;
    while let Some(page) = bytes.get(at..).filter(|rest| rest.len() > 27) {
        let Some(start) = page.windows(4).position(|four| four == b"OggS") else {
            return;
        };
        at += start;
        let Some(page) = bytes.get_mut(at..) else { return };
        at += 4;
        if page.len() < 27 {
            return;
        }
        let segments = usize::from(page[26]);
        let Some(lengths) = page.get(27..27 + segments) else {
            return;
        };
        let end = 27 + segments + lengths.iter().map(|length| usize::from(*length)).sum::<usize>();
        if let Some(page) = page.get_mut(..end) {
            page[22..26].fill(0);
            let sum = ogg_checksum(page);
            page[22..26].copy_from_slice(&sum.to_le_bytes());
        }
    }
}

/// The checksum of an Ogg page (RFC 3533, section 6): polynomial 0x04c11db7, nothing reflected, from 0.
fn ogg_checksum(page: &[u8]) -> u32 {
    page.iter().fold(0, |sum, byte| {
        (0..8).fold(sum ^ (u32::from(*byte) << 24), |sum, _| {
            (sum << 1) ^ if sum & 0x8000_0000 == 0 { 0 } else { 0x04c1_1db7 }
        })
    })
}

/// The subject, with a folder for its file that is removed at the end.
struct Subject {
    folder: PathBuf,
}

impl Drop for Subject {
    fn drop(&mut self) {
        // A folder that can't be removed is only in the system's temporary folder.
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

impl Subject {
    fn new() -> Self {
        use std::sync::atomic::{AtomicU32, Ordering};
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let name = format!("sumproof-fuzz-{}-{number}", std::process::id());
        let folder = std::env::temp_dir().join(name);
        std::fs::create_dir_all(&folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
        Self { folder }
    }

    fn run(&self, input: &[u8]) -> Outcome {
        let (number, file) = input.split_first().unwrap_or((&0, &[]));
        let ending = ENDINGS[usize::from(*number) % ENDINGS.len()];
        let path = self.folder.join("a").with_extension(ending);
        std::fs::write(&path, file).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        let one = as_stereo(&path)?;
        let other = as_recording(&path)?;
        Ok(format!("{ending} {one} {other}"))
    }
}

fn as_stereo(path: &Path) -> Outcome {
    let mut frames = 0;
    let mut wrong = None;
    let done = read(path, |format, left, right| {
        if left.is_empty() || left.len() != right.len() {
            wrong = Some(format!("a chunk of {} and {} frames", left.len(), right.len()));
        }
        let rate_hz = format.rate_hz as u32;
        if format.channels != 2 || !RATES_HZ.contains(&rate_hz) {
            wrong = Some(format!("chunks of {format:?}"));
        }
        frames += left.len() as u64;
    });
    match (wrong, done) {
        (Some(wrong), _) => Err(wrong),
        (_, Ok(told)) if told != frames || told == 0 => {
            Err(format!("{told} frames are told, {frames} were handed over"))
        }
        (_, Ok(_)) => Ok("read".to_owned()),
        (_, Err(error)) => refused(&error, path),
    }
}

fn as_recording(path: &Path) -> Outcome {
    match read_recording(path, 600.0) {
        Ok(found) => {
            let lengths: Vec<usize> = found.channels.iter().map(Vec::len).collect();
            if !(1..=2).contains(&lengths.len())
                || lengths[0] == 0
                || lengths.iter().any(|l| *l != lengths[0])
            {
                return Err(format!("a recording of {lengths:?} frames"));
            }
            let believed = found.channels[0].iter().all(|x| samples::is_valid(*x, *x));
            Ok(format!("recording, believed {believed}"))
        }
        Err(error) => refused(&error, path),
    }
}

/// A refusal must be one line that names the file, with one of the exit codes for files.
fn refused(error: &ReadError, path: &Path) -> Outcome {
    let said = error.to_string();
    one_line(&said)?;
    let Some(what) = said.strip_prefix(&*path.to_string_lossy()) else {
        return Err(format!("a refusal that does not begin with the file: {said}"));
    };
    let code = exit::of(error);
    if !(10..20).contains(&code) && code != exit::SIGNAL_LONG {
        return Err(format!("exit code {code} for {said}"));
    }
    Ok(what.to_owned())
}
