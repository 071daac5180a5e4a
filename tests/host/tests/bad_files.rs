//! Unusable recordings: each gets one clear line and its documented exit code, and doesn't stop the others.
#![allow(
    clippy::unwrap_used,
    reason = "a panic is how a test fails, in its helpers too"
)]
#![allow(
    clippy::cast_possible_truncation,
    reason = "a test chooses the numbers it converts"
)]

use hound::{SampleFormat, WavSpec, WavWriter};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use sumproof_host::setup::clap_bundle;
use sumproof_signals::Rng;

const RATE_HZ: u32 = 48_000;

/// An empty folder for this test.
fn folder(test: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(test);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

fn wav(path: &Path, channels: u16, frames: usize, mut sample: impl FnMut() -> f32) -> PathBuf {
    let spec = WavSpec {
        channels,
        sample_rate: RATE_HZ,
        bits_per_sample: 32,
        sample_format: SampleFormat::Float,
    };
    let mut writer = WavWriter::create(path, spec).unwrap();
    for _ in 0..frames * usize::from(channels) {
        writer.write_sample(sample()).unwrap();
    }
    writer.finalize().unwrap();
    path.to_owned()
}

fn noise(path: &Path, channels: u16, frames: usize) -> PathBuf {
    let mut rng = Rng::new(3);
    wav(path, channels, frames, || rng.between(-0.5, 0.5) as f32)
}

fn demo_host(files: &[&Path], out: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumproof-demo-host"))
        .arg("--clap")
        .arg(clap_bundle())
        .arg("--out")
        .arg(out)
        .args(files)
        .output()
        .unwrap()
}

#[test]
fn each_bad_file_gets_one_line_and_its_code() {
    let home = folder("bad-files");
    let out = home.join("out");
    let good = RATE_HZ as usize;
    let mono = noise(&home.join("mono.wav"), 1, good);
    let six = noise(&home.join("six.wav"), 6, good);
    let silence = wav(&home.join("silence.wav"), 2, good, || 0.0);
    let mut count = 0;
    let not_a_number = wav(&home.join("nan.wav"), 2, good, || {
        count += 1;
        if count % 1000 == 0 { f32::NAN } else { 0.1 }
    });
    let empty = home.join("empty.wav");
    fs::write(&empty, b"").unwrap();
    let truncated = home.join("truncated.wav");
    let whole = fs::read(noise(&home.join("whole.wav"), 2, good)).unwrap();
    fs::write(&truncated, &whole[..whole.len() / 2]).unwrap();
    let text = home.join("text.wav");
    fs::write(&text, "Song one: clean, then lead.\n".repeat(200)).unwrap();
    let missing = home.join("missing.wav");

    // The codes are the ones that `sumproof check --help` prints.
    for (file, code, says) in [
        (&mono, 15, "mono"),
        (&empty, 13, "empty"),
        (&silence, 17, "silen"),
        (&not_a_number, 18, "not numbers"),
        (&truncated, 12, "truncated"),
        (&six, 16, "6 channels"),
        (&text, 11, "no audio"),
        (&missing, 10, "missing.wav"),
    ] {
        let ended = demo_host(&[file], &out);
        let said = String::from_utf8_lossy(&ended.stderr).into_owned();
        assert_eq!(ended.status.code(), Some(code), "{}: {said}", file.display());
        assert_eq!(said.trim_end().lines().count(), 1, "not one line:\n{said}");
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        assert!(
            said.contains(&name) && said.contains(says),
            "{name} and '{says}' missing in: {said}"
        );
        assert!(
            ended.stdout.is_empty(),
            "{name}: {}",
            String::from_utf8_lossy(&ended.stdout)
        );
        assert!(!out.exists(), "{name}: something was written");
    }
}

#[test]
fn a_bad_file_stops_none_of_the_others() {
    let home = folder("mixed-files");
    let out = home.join("out");
    let mono = noise(&home.join("mono.wav"), 1, 100);
    let good = noise(&home.join("good.wav"), 2, RATE_HZ as usize);
    let ended = demo_host(&[&mono, &good], &out);
    let said = String::from_utf8_lossy(&ended.stderr).into_owned();
    assert_eq!(ended.status.code(), Some(15), "{said}");
    let table = String::from_utf8_lossy(&ended.stdout).into_owned();
    assert!(
        table.contains("good: ") && table.contains("mono wedge"),
        "{table}"
    );

    let json: serde_json::Value = serde_json::from_slice(&fs::read(out.join("feeds.json")).unwrap()).unwrap();
    assert_eq!(json["takes"].as_array().map(Vec::len), Some(1));
    let wavs: Vec<_> = fs::read_dir(out.join("good"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    assert_eq!(wavs.len(), 12, "{wavs:?}");
    for path in wavs {
        let mut wav = hound::WavReader::open(&path).unwrap();
        assert_eq!(wav.spec().sample_format, SampleFormat::Float);
        assert_eq!(wav.duration(), RATE_HZ, "{}", path.display());
        let samples: Vec<f32> = wav.samples().map(Result::unwrap).collect();
        assert!(samples.iter().all(|s| s.is_finite()), "{}", path.display());
        let loudest = samples.iter().fold(0.0_f32, |peak, s| peak.max(s.abs()));
        assert!(loudest > 0.001, "{} is silent", path.display());
    }
}

#[test]
fn the_help_documents_the_codes() {
    let ended = Command::new(env!("CARGO_BIN_EXE_sumproof-demo-host"))
        .arg("--help")
        .output()
        .unwrap();
    let help = String::from_utf8_lossy(&ended.stdout).into_owned();
    assert!(ended.status.success());
    for (code, meaning) in sumproof_cli::exit::TABLE {
        // Only codes that it can end with.
        if code >= 10 {
            assert_eq!(
                help.contains(&format!("{code}  {meaning}")),
                code < 20,
                "code {code} in:\n{help}"
            );
        }
    }
}
