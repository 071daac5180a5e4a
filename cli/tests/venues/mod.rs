//! Simulated venues, their readings and the comparison with the truth: shared by the test and the table.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test chooses the numbers it converts"
)]

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use hound::{SampleFormat, WavSpec, WavWriter};
use sumproof_core::line_check::{Generator, Mode, Plan, SignalSettings, read};
use sumproof_signals::Rng;
use sumproof_signals::venue::{Drawn, Situation, Venue, at_rest, draw};

use super::decode;

mod judge;
mod table;

#[allow(unused_imports, reason = "the printed table needs only one of them")]
pub use judge::{Graded, Outcome};
pub use table::table;

/// Coding of a recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coding {
    Wav,
    Mp3(u32),
    Ogg(u32),
}

impl Coding {
    /// The coding by the venue's number: half of them are lossy.
    pub fn of(number: u64) -> Self {
        match number % 8 {
            1 => Self::Mp3(64),
            3 => Self::Mp3(128),
            5 => Self::Ogg(1),
            7 => Self::Ogg(4),
            _ => Self::Wav,
        }
    }
}

/// A signal as it is played.
struct Signal {
    plan: Plan,
    played: [Vec<f64>; 2],
}

impl Signal {
    fn new(settings: SignalSettings) -> Self {
        let plan = Plan::new(settings).unwrap();
        let mut generator = Generator::new(plan.clone(), RATE_HZ);
        let frames = generator.frames() as usize;
        let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
        generator.fill(&mut left, &mut right);
        let wide = |x: Vec<f32>| x.into_iter().map(f64::from).collect();
        Self {
            plan,
            played: [wide(left), wide(right)],
        }
    }

    /// The signal on the lines when the plugs are pulled as instructed.
    fn with_plugs_pulled(mut self) -> Self {
        let Mode::Mono { pause_s } = self.plan.settings().mode else {
            return self;
        };
        let at: Vec<usize> = self
            .plan
            .pauses_s()
            .iter()
            .map(|start_s| ((start_s + 0.5 * pause_s) * RATE_HZ) as usize)
            .collect();
        self.played[1][at[0]..at[1]].fill(0.0);
        self.played[0][at[1]..].fill(0.0);
        self
    }
}

pub struct Bench {
    stereo: Signal,
    mono: Signal,
    nothing_pulled: Signal,
    rooms: Vec<Vec<f64>>,
    folder: PathBuf,
    /// Folder for keeping and reusing recordings.
    kept: Option<PathBuf>,
}

const RATE_HZ: f64 = 48_000.0;

impl Bench {
    pub fn new(rooms: Vec<Vec<f64>>, folder: PathBuf) -> Self {
        std::fs::create_dir_all(&folder).unwrap();
        Self {
            stereo: Signal::new(SignalSettings::default()),
            mono: Signal::new(SignalSettings::mono()).with_plugs_pulled(),
            nothing_pulled: Signal::new(SignalSettings::mono()),
            rooms,
            folder,
            kept: std::env::var_os("SUMPROOF_VENUES_KEPT").map(Into::into),
        }
    }

    /// Runs the venues with these numbers, as many at once as there are cores, none started after `until`. Calls back
    /// with each outcome.
    pub fn run_all(
        &self,
        numbers: &[u64],
        until: Option<Instant>,
        told: impl Fn(&Outcome) + Sync,
    ) -> Vec<Outcome> {
        let next = AtomicUsize::new(0);
        let outcomes = Mutex::new(Vec::new());
        let workers = std::thread::available_parallelism().map_or(1, usize::from);
        std::thread::scope(|scope| {
            for _ in 0..workers {
                scope.spawn(|| {
                    loop {
                        let number = numbers.get(next.fetch_add(1, Ordering::Relaxed));
                        let Some(&number) = number else { break };
                        if until.is_some_and(|until| Instant::now() >= until) {
                            break;
                        }
                        let outcome = self.run(number);
                        told(&outcome);
                        outcomes.lock().unwrap().push(outcome);
                    }
                });
            }
        });
        let mut outcomes = outcomes.into_inner().unwrap();
        outcomes.sort_by_key(|outcome| outcome.number);
        outcomes
    }

    /// The situation at a venue.
    #[allow(dead_code, reason = "only the printed table is asked for some of them")]
    pub fn situation(&self, number: u64) -> Situation {
        self.drawn(number).0.situation
    }

    pub fn run(&self, number: u64) -> Outcome {
        let (channels, rate_hz) = self.recorded(number);
        self.read(number, &channels, rate_hz)
    }

    /// A venue, and the coding of its recording.
    fn drawn(&self, number: u64) -> (Drawn, Coding) {
        let mut drawn = draw(number, &self.rooms, self.stereo.plan.seconds());
        let recorder = &mut drawn.venue.recorder;
        if drawn.situation == Situation::OtherRate && !(44_100.0..=48_000.0).contains(&recorder.rate_hz) {
            recorder.rate_hz = 48_000.0;
        }
        let coding = match Coding::of(number) {
            // Phones code at 44.1 or 48 kHz.
            Coding::Mp3(_) | Coding::Ogg(_) if recorder.rate_hz > 48_000.0 => Coding::Wav,
            coding => coding,
        };
        (drawn, coding)
    }

    /// A venue's recording: its channels and its sample rate, Hz.
    pub fn recorded(&self, number: u64) -> (Vec<Vec<f32>>, f64) {
        let kept = self
            .kept
            .as_ref()
            .map(|folder| folder.join(format!("{number}.wav")));
        if let Some(path) = kept.as_ref().filter(|path| path.exists()) {
            return decode(path);
        }
        let (channels, rate_hz) = self.newly_recorded(number);
        if let Some(path) = kept {
            let spec = WavSpec {
                channels: channels.len() as u16,
                sample_rate: rate_hz as u32,
                bits_per_sample: 32,
                sample_format: SampleFormat::Float,
            };
            let mut writer = WavWriter::create(path, spec).unwrap();
            for n in 0..channels[0].len() {
                for channel in &channels {
                    writer.write_sample(channel[n]).unwrap();
                }
            }
            writer.finalize().unwrap();
        }
        (channels, rate_hz)
    }

    fn newly_recorded(&self, number: u64) -> (Vec<Vec<f32>>, f64) {
        let (Drawn { situation, venue }, coding) = self.drawn(number);
        let mut rng = Rng::stream(number, 8);
        let of = |venue: &Venue, signal: &Signal| venue.record(&signal.played[0], &signal.played[1], RATE_HZ);
        let recorded = match situation {
            Situation::Mono => of(&venue, &self.mono),
            Situation::NothingPulled => of(&venue, &self.nothing_pulled),
            Situation::OtherMode => of(&venue, &self.mono),
            Situation::OtherLength => {
                let sweep_s = [1.0, 1.5, 3.0, 4.0, 5.0][rng.below(5)];
                let settings = SignalSettings {
                    sweep_s,
                    ..SignalSettings::default()
                };
                of(&venue, &Signal::new(settings))
            }
            Situation::Twice => {
                // The same place with other lines.
                let mut first = venue.clone();
                let other = at_rest(number + 5_000_000, &self.rooms);
                (first.left, first.right, first.recorder.behind_s) =
                    (other.left, other.right, rng.between(0.5, 4.0));
                first.recorder.before_s = first.recorder.before_s.abs();
                let mut both = of(&first, &self.stereo);
                let mut second = venue.clone();
                second.recorder.before_s = second.recorder.before_s.abs();
                both.extend(of(&second, &self.stereo));
                both
            }
            _ => of(&venue, &self.stereo),
        };
        let samples: Vec<f32> = recorded.iter().map(|&x| x as f32).collect();
        let true_hz = venue.recorder.rate_hz;
        let said_hz = match situation {
            Situation::OtherRate if true_hz == 48_000.0 => 44_100.0,
            Situation::OtherRate => 48_000.0,
            _ => true_hz,
        };
        self.coded(number, coding, &samples, said_hz)
    }

    /// Reads and grades a venue's recording.
    pub fn read(&self, number: u64, channels: &[Vec<f32>], rate_hz: f64) -> Outcome {
        let (drawn, coding) = self.drawn(number);
        let heard: Vec<&[f32]> = channels.iter().map(Vec::as_slice).collect();
        let plan = match drawn.situation {
            Situation::Mono | Situation::NothingPulled => &self.mono.plan,
            _ => &self.stereo.plan,
        };
        let before = Instant::now();
        let result = read(&heard, rate_hz, plan);
        let reading_s = before.elapsed().as_secs_f64();
        Outcome::new(number, drawn, coding, result, reading_s)
    }

    fn coded(&self, number: u64, coding: Coding, samples: &[f32], rate_hz: f64) -> (Vec<Vec<f32>>, f64) {
        let name = |extension: &str| self.folder.join(format!("venue-{number}.{extension}"));
        let wav = name("wav");
        let spec = WavSpec {
            channels: 1,
            sample_rate: rate_hz as u32,
            bits_per_sample: 16,
            sample_format: SampleFormat::Int,
        };
        let mut writer = WavWriter::create(&wav, spec).unwrap();
        for &x in samples {
            writer
                .write_sample((x * 32_767.0).round().clamp(-32_768.0, 32_767.0) as i16)
                .unwrap();
        }
        writer.finalize().unwrap();
        let run = |program: &str, arguments: &[String]| {
            let done = Command::new(program)
                .args(arguments)
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .status();
            assert!(
                done.is_ok_and(|status| status.success()),
                "{program} is missing or failed: install the packages lame and vorbis-tools"
            );
        };
        let (from, coded) = (
            wav.display().to_string(),
            match coding {
                Coding::Wav => wav.clone(),
                Coding::Mp3(_) => name("mp3"),
                Coding::Ogg(_) => name("ogg"),
            },
        );
        let to = coded.display().to_string();
        match coding {
            Coding::Wav => {}
            Coding::Mp3(rate) => run(
                "lame",
                &["--quiet".into(), "-b".into(), rate.to_string(), from, to],
            ),
            Coding::Ogg(quality) => run(
                "oggenc",
                &[
                    "-Q".into(),
                    "-q".into(),
                    quality.to_string(),
                    "-o".into(),
                    to,
                    from,
                ],
            ),
        }
        let read = decode(&coded);
        let _ = std::fs::remove_file(&wav);
        let _ = std::fs::remove_file(&coded);
        read
    }
}

/// The rooms of Debian's guitarix-common and jconvolver-config-files, 48 kHz, as many as are installed. Both packages
/// are GPL: their files are a test's input and nothing else.
pub fn rooms(guitarix: Option<PathBuf>, jconvolver: Option<PathBuf>) -> Vec<Vec<f64>> {
    let channels = |path: &Path| {
        let (channels, rate_hz) = decode(path);
        assert_eq!(rate_hz, RATE_HZ, "{}", path.display());
        channels
            .into_iter()
            .map(|x| x.into_iter().map(f64::from).collect::<Vec<f64>>())
    };
    let mut rooms = Vec::new();
    if let Some(folder) = guitarix {
        rooms.extend(channels(&folder.join("greathall.wav")));
    }
    if let Some(folder) = jconvolver {
        rooms.extend(channels(&folder.join("demo-reverbs/street2-L.wav")));
        rooms.extend(channels(&folder.join("demo-reverbs/street2-R.wav")));
    }
    for room in &mut rooms {
        let energy: f64 = room.iter().map(|x| x * x).sum();
        room.iter_mut().for_each(|x| *x /= energy.sqrt());
    }
    rooms
}
