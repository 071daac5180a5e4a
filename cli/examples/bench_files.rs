//! Compares the speed of `sumproof check` with the work that is unavoidable, and measures its memory.
//!
//! `cargo build --release -p sumproof-cli --bins --examples`, then `target/release/examples/bench_files [FOLDER [PYTHON]]`.
//! FOLDER keeps the generated files between runs; PYTHON is an interpreter with numpy and scipy.
//!
//! Times of single threads are processor time (user and system), so that other load on the machine matters little; the
//! gain of a second thread is wall time.
#![allow(clippy::unwrap_used, reason = "a bench panics when something is missing")]
#![allow(
    clippy::cast_possible_truncation,
    reason = "a test chooses the numbers it converts"
)]

use std::f64::consts::TAU;
use std::fs;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use hound::{SampleFormat, WavSpec, WavWriter};
use realfft::RealFftPlanner;
use sumproof_signals::{PresetKind, PresetSpec, Stereo, render};
use wait4::Wait4;

const RATE_HZ: u32 = 48_000;
const FILES: usize = 200;
const SECONDS: f64 = 30.0;
/// Number of files given to the SciPy script.
const FOR_SCIPY: usize = 20;
/// Length of the part that has passes, s, and how much later than the others its dry pass begins, frames.
const PART_SECONDS: f64 = 13.0;
const LATE: usize = 777;
/// The files whose memory is compared: name, length in s.
const SHORT: (&str, usize) = ("two minutes.wav", 120);
const LONG: (&str, usize) = ("two hours.wav", 7200);
/// Block lengths over which a take at 48 kHz is averaged, frames, and the overlap (`core::grid::block_len`,
/// `core::welch::HOPS`, `core::monitor`): these transforms are unavoidable.
const BLOCKS: [usize; 2] = [8192, 32_768];
const HOPS: usize = 4;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if arguments.first().map(String::as_str) == Some("--baseline") {
        return baseline(Path::new(&arguments[1]));
    }
    if arguments.first().map(String::as_str) == Some("--generate") {
        return generate(Path::new(&arguments[1]));
    }
    let folder = arguments
        .first()
        .map_or_else(|| std::env::temp_dir().join("sumproof-bench"), PathBuf::from);
    let own = std::env::current_exe().unwrap();
    // In a separate process: a child's peak memory includes what its parent held when it was started.
    run(Command::new(&own).arg("--generate").arg(&folder));
    let sumproof = own.parent().unwrap().with_file_name("sumproof");
    assert!(
        sumproof.is_file(),
        "{} is missing: cargo build --release -p sumproof-cli",
        sumproof.display()
    );
    let bench = Bench { sumproof, folder };
    bench.speed(&own, arguments.get(1).map(String::as_str));
    bench.passes();
    bench.memory();
}

/// The command being measured, and the folder of its files.
struct Bench {
    sumproof: PathBuf,
    folder: PathBuf,
}

impl Bench {
    fn check(&self, jobs: &str, what: &Path) -> Command {
        let mut command = Command::new(&self.sumproof);
        command.args(["check", "--format", "json", "--output"]);
        command
            .arg(self.folder.join("out.json"))
            .args(["--jobs", jobs])
            .arg(what);
        command
    }

    fn speed(&self, own: &Path, python: Option<&str>) {
        let set = &self.folder.join("set");
        println!("{FILES} files of {SECONDS} s at {RATE_HZ} Hz, 16 bit");
        let base = run(Command::new(own).arg("--baseline").arg(set));
        let single = run(&mut self.check("1", set));
        println!(
            "decode and bare windowed FFTs    {:8.1} ms a file",
            per_file(&base, FILES)
        );
        println!(
            "check, one thread                {:8.1} ms a file, {:.2} times that (at most 2.0 wanted)",
            per_file(&single, FILES),
            single.processor.as_secs_f64() / base.processor.as_secs_f64()
        );
        let double = run(&mut self.check("2", set));
        println!(
            "two threads                      {:8.2} times as fast as one (1.8 wanted), {:.0} times real time",
            single.wall.as_secs_f64() / double.wall.as_secs_f64(),
            FILES as f64 * SECONDS / double.wall.as_secs_f64()
        );
        if let Some(python) = python {
            let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/bench_scipy.py");
            let scipy = run(Command::new(python)
                .arg(&script)
                .arg(set)
                .arg(FOR_SCIPY.to_string()));
            println!(
                "the same numbers with SciPy      {:8.1} ms a file, check is {:.1} times as fast (at least 10 wanted)",
                per_file(&scipy, FOR_SCIPY),
                per_file(&scipy, FOR_SCIPY) / per_file(&single, FILES)
            );
        }
    }

    fn passes(&self) {
        let passes = self.folder.join("passes");
        let part = run(&mut self.check("1", &passes.join("full.wav")));
        let mut judged = self.check("1", &passes.join("full.wav"));
        judged.arg("--dry").arg(passes.join("dry.wav"));
        judged.arg("--wet").arg(passes.join("wet.wav"));
        let judged = run(&mut judged);
        println!(
            "dry and wet from passes          {:8.1} ms for {PART_SECONDS} s, {:.1} times the part alone (at most 4.0 wanted)",
            per_file(&judged, 1),
            judged.processor.as_secs_f64() / part.processor.as_secs_f64()
        );
    }

    fn memory(&self) {
        let short = run(&mut self.check("1", &self.folder.join(SHORT.0)));
        let long = run(&mut self.check("1", &self.folder.join(LONG.0)));
        println!(
            "peak memory                      {:8.1} MB for 2 min, {:.1} MB for 2 h: {:+.1} MB (at most 8 wanted)",
            short.megabytes,
            long.megabytes,
            long.megabytes - short.megabytes
        );
    }
}

/// Processor time per file, ms.
fn per_file(ran: &Ran, files: usize) -> f64 {
    1000.0 * ran.processor.as_secs_f64() / files as f64
}

struct Ran {
    processor: Duration,
    wall: Duration,
    megabytes: f64,
}

/// Runs a program to its end.
fn run(command: &mut Command) -> Ran {
    let started = Instant::now();
    let child = command.stdout(Stdio::null()).spawn().unwrap();
    let ended = child.wait4().unwrap();
    assert!(ended.status.success(), "{command:?} failed");
    Ran {
        processor: ended.rusage.utime + ended.rusage.stime,
        wall: started.elapsed(),
        megabytes: ended.rusage.maxrss as f64 / 1e6,
    }
}

/// Generates presets of all kinds and the two long files; existing files are kept.
fn generate(folder: &Path) {
    let set = folder.join("set");
    fs::create_dir_all(&set).unwrap();
    for number in 0..FILES {
        let path = set.join(format!("{number:03}.wav"));
        if path.is_file() {
            continue;
        }
        let preset = render(&PresetSpec {
            seconds: SECONDS,
            seed: number as u64,
            rate_hz: f64::from(RATE_HZ),
            ..PresetSpec::new(PresetKind::ALL[number % PresetKind::ALL.len()])
        });
        write(&path, [&preset.full()].into_iter());
    }
    for (name, seconds) in [SHORT, LONG] {
        long_file(folder, name, seconds);
    }
    let passes = folder.join("passes");
    fs::create_dir_all(&passes).unwrap();
    let part = render(&PresetSpec {
        seconds: PART_SECONDS,
        ..PresetSpec::new(PresetKind::EqualDry)
    });
    let later = |channel: &[f64]| [vec![0.0; LATE], channel.to_vec()].concat();
    let dry = Stereo::new(later(&part.dry.left), later(&part.dry.right));
    for (name, sound) in [("full", &part.full()), ("dry", &dry), ("wet", &part.wet)] {
        write(&passes.join(name).with_extension("wav"), [sound].into_iter());
    }
}

/// Writes a long file: one preset repeated.
fn long_file(folder: &Path, name: &str, seconds: usize) {
    let path = folder.join(name);
    if !path.is_file() {
        let preset = render(&PresetSpec {
            seconds: 60.0,
            ..PresetSpec::new(PresetKind::EqualDry)
        });
        let sound = preset.full();
        write(&path, std::iter::repeat_n(&sound, seconds / 60));
    }
}

fn write<'s>(path: &Path, sounds: impl Iterator<Item = &'s Stereo>) {
    let temporary = path.with_extension("part");
    let spec = WavSpec {
        channels: 2,
        sample_rate: RATE_HZ,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    };
    let mut writer = WavWriter::create(&temporary, spec).unwrap();
    for sound in sounds {
        for (left, right) in sound.left.iter().zip(&sound.right) {
            for sample in [left, right] {
                writer.write_sample((32_767.0 * sample).round() as i16).unwrap();
            }
        }
    }
    writer.finalize().unwrap();
    fs::rename(&temporary, path).unwrap();
}

/// The unavoidable work: reading every file, and transforming every windowed block of both channels. Buffers are reused
/// from file to file, as in the command.
fn baseline(set: &Path) {
    let mut paths: Vec<PathBuf> = fs::read_dir(set)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    paths.sort();
    let mut transforms = BLOCKS.map(Transform::new);
    for path in paths {
        sumproof_cli::read(&path, |_, left, right| {
            for transform in &mut transforms {
                transform.push(left, right);
            }
        })
        .unwrap();
        for transform in &mut transforms {
            transform.finish();
        }
    }
}

struct Transform {
    fft: std::sync::Arc<dyn realfft::RealToComplex<f64>>,
    window: Vec<f64>,
    channels: [Vec<f64>; 2],
    /// Frames at the beginning of the channels that no later block needs.
    done: usize,
    windowed: Vec<f64>,
    spectrum: Vec<realfft::num_complex::Complex<f64>>,
    scratch: Vec<realfft::num_complex::Complex<f64>>,
}

impl Transform {
    fn new(len: usize) -> Self {
        let fft = RealFftPlanner::<f64>::new().plan_fft_forward(len);
        let mut transform = Self {
            window: (0..len)
                .map(|n| 0.5 - 0.5 * (TAU * n as f64 / len as f64).cos())
                .collect(),
            channels: [Vec::new(), Vec::new()],
            done: 0,
            windowed: fft.make_input_vec(),
            spectrum: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            fft,
        };
        transform.begin();
        transform
    }

    /// As in the analysis, the first blocks reach back before the beginning, and the last ones beyond the end.
    fn silence(&self) -> usize {
        self.window.len() - self.window.len() / HOPS
    }

    fn begin(&mut self) {
        let silence = self.silence();
        for channel in &mut self.channels {
            channel.clear();
            channel.resize(silence, 0.0);
        }
        self.done = 0;
    }

    fn finish(&mut self) {
        let silence = vec![0.0; self.silence()];
        self.push(&silence, &silence);
        self.begin();
    }

    fn push(&mut self, left: &[f32], right: &[f32]) {
        let len = self.window.len();
        // Used frames are removed only now and then, because the rest has to be moved each time.
        if self.done > 2 * len {
            for channel in &mut self.channels {
                channel.drain(..self.done);
            }
            self.done = 0;
        }
        for (channel, new) in self.channels.iter_mut().zip([left, right]) {
            channel.extend(new.iter().map(|&sample| f64::from(sample)));
        }
        while self.channels[0].len() >= self.done + len {
            for channel in &self.channels {
                let block = &channel[self.done..self.done + len];
                for ((out, sample), weight) in self.windowed.iter_mut().zip(block).zip(&self.window) {
                    *out = sample * weight;
                }
                self.fft
                    .process_with_scratch(&mut self.windowed, &mut self.spectrum, &mut self.scratch)
                    .unwrap();
                black_box(&self.spectrum);
            }
            self.done += len / HOPS;
        }
    }
}
