//! The site, served to a browser together with files made by a test.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use hound::{SampleFormat, WavSpec, WavWriter};
use sumproof_core::line_check::{Generator, Mode, Plan, SignalSettings};
use sumproof_signals::venue::{Situation, draw};

use crate::browser::Browser;
use crate::common::folder;
use crate::serve::Server;

/// A copy of the site to which a test may add files, and its server.
pub struct Site {
    pub folder: PathBuf,
    pub server: Server,
}

impl Site {
    /// `None`, with a message, where there is no site.
    pub fn new(name: &str) -> Option<Self> {
        let Some(made) = std::env::var_os("SUMPROOF_PAGE") else {
            println!("not run: no wasm32 target (SUMPROOF_PAGE is not set; see `cargo xtask page`)");
            return None;
        };
        let folder = folder(name);
        for entry in fs::read_dir(made).unwrap() {
            let path = entry.unwrap().path();
            fs::copy(&path, folder.join(path.file_name().unwrap())).unwrap();
        }
        let server = Server::start(&folder, 0).unwrap();
        Some(Self { folder, server })
    }

    /// Its address.
    pub fn url(&self) -> String {
        // Browsers treat this name as a secure origin, like https.
        format!("http://localhost:{}/", self.server.port)
    }

    /// Opens the page.
    pub fn open(&self, browser: &Browser) {
        browser.visit(&self.url());
    }
}

const RATE_HZ: f64 = 48_000.0;

/// The recording of a simulated venue, by its number: its channel and its sample rate, Hz.
pub fn recorded(number: u64) -> (Vec<f64>, u32) {
    let plan = Plan::new(SignalSettings::default()).unwrap();
    let mut generator = Generator::new(plan.clone(), RATE_HZ);
    let frames = generator.frames() as usize;
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    generator.fill(&mut left, &mut right);
    let wide = |x: Vec<f32>| x.into_iter().map(f64::from).collect::<Vec<f64>>();
    let drawn = draw(number, &[], plan.seconds());
    let recorded = drawn.venue.record(&wide(left), &wide(right), RATE_HZ);
    (recorded, drawn.venue.recorder.rate_hz as u32)
}

/// Whether that venue plays the stereo signal unchanged.
pub fn is_plain(number: u64) -> bool {
    let plan = Plan::new(SignalSettings::default()).unwrap();
    let situation = draw(number, &[], plan.seconds()).situation;
    assert_eq!(plan.settings().mode, Mode::Stereo);
    !matches!(
        situation,
        Situation::Mono
            | Situation::NothingPulled
            | Situation::OtherMode
            | Situation::OtherLength
            | Situation::Twice
    )
}

/// Writes a soft hum, as a microphone hears it in a quiet place.
pub fn hum(path: &Path, seconds: i32) {
    let samples: Vec<f64> = (0..48_000 * seconds)
        .map(|n| 0.01 * (f64::from(n) * 0.01).sin())
        .collect();
    wav16(path, &samples, 48_000);
}

/// Writes samples as 16-bit WAV.
pub fn wav16(path: &Path, samples: &[f64], rate: u32) {
    let spec = WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    };
    let mut writer = WavWriter::create(path, spec).unwrap();
    for x in samples {
        writer
            .write_sample((x * 32_767.0).round().clamp(-32_768.0, 32_767.0) as i16)
            .unwrap();
    }
    writer.finalize().unwrap();
}

/// Converts a WAV file to another format, given by its extension, and removes it.
pub fn coded(wav: &Path, ending: &str) -> PathBuf {
    if ending == "wav" {
        return wav.to_owned();
    }
    let to = wav.with_extension(ending);
    let done = Command::new("ffmpeg")
        .args(["-v", "error", "-y", "-i"])
        .arg(wav)
        .args(["-b:a", "96k"])
        .arg(&to)
        .status();
    assert!(
        done.is_ok_and(|status| status.success()),
        "ffmpeg is missing or failed: apt-get install ffmpeg"
    );
    fs::remove_file(wav).unwrap();
    to
}
