//! Simulated venues, read, and held against the truth: what the test and the table share.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

use std::ops::Range;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use hound::{SampleFormat, WavSpec, WavWriter};
use sumproof_core::line_check::{Findings, Generator, Plan, ReadFailure, Reception, SignalSettings, read};
use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::routing::line::Polarity;
use sumproof_signals::venue::{End, Room, Venue, draw};

/// How a recording is coded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coding {
    Wav,
    Mp3(u32),
    Ogg(u32),
}

impl Coding {
    /// By the venue's number: half are coded.
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

/// What is right of one venue. `None`: it doesn't apply, or the reader said that it can't know.
pub struct Outcome {
    pub number: u64,
    pub venue: Venue,
    pub coding: Coding,
    pub result: Result<Findings, ReadFailure>,
    pub reading_s: f64,
    /// Both lines arrive at the place of recording.
    pub both: bool,
    pub polarity: Answer,
    pub feed: Answer,
    pub delay_error_s: Option<f64>,
    pub level_error_db: Option<f64>,
    pub corner: Answer,
    pub absolute: Answer,
}

impl Outcome {
    /// What was there and what was read, on one line.
    pub fn line(&self) -> String {
        let (venue, recorder) = (&self.venue, &self.venue.recorder);
        let room = match &venue.room {
            Room::None => String::from("no room"),
            Room::Synthetic { decay_s, .. } => format!("made-up room {decay_s:.1} s"),
            Room::Given(_) => String::from("recorded room"),
        };
        let mut line = format!(
            "{}: {:?}, {room}, {:.1} dB, {:.1} ms, noise {} dB below{}, {:?}, clipped {:.1} dB, gain {}",
            self.number,
            venue.end,
            venue.right.gain_db - venue.left.gain_db,
            1e3 * (venue.right.delay_s - venue.left.delay_s),
            venue.noise.map_or(99.0, |noise| noise.below_db).round(),
            if venue.noise.is_some_and(|noise| noise.pink) {
                " (pink)"
            } else {
                ""
            },
            self.coding,
            recorder.clipped_db,
            recorder.gain.is_some(),
        );
        let pair = self
            .result
            .as_ref()
            .ok()
            .and_then(|finding| finding.pair.as_ref());
        if let Some(level) = pair.and_then(|pair| pair.level_db) {
            line += &format!(
                ", level sigma {:.2} confidence {:.2}",
                level.sigma, level.confidence
            );
        }
        if let Some(error) = self.level_error_db {
            line += &format!(", level error {error:.2} dB");
        }
        if let Some(error) = self.delay_error_s {
            line += &format!(", delay error {:.1} us", 1e6 * error);
        }
        let notices = self.result.as_ref().map(|finding| finding.notices.clone());
        line + &format!(
            ", polarity {:?}, feed {:?}, {notices:?}",
            self.polarity, self.feed
        )
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    Right,
    Wrong,
    Unknown,
    NotAsked,
}

impl Answer {
    fn of(given: Option<bool>) -> Self {
        match given {
            Some(true) => Self::Right,
            Some(false) => Self::Wrong,
            None => Self::Unknown,
        }
    }
}

pub struct Bench {
    plan: Plan,
    played: [Vec<f64>; 2],
    rooms: Vec<Vec<f64>>,
    folder: PathBuf,
}

const RATE_HZ: f64 = 48_000.0;

impl Bench {
    pub fn new(rooms: Vec<Vec<f64>>, folder: PathBuf) -> Self {
        let plan = Plan::new(SignalSettings::default()).unwrap();
        let mut generator = Generator::new(plan.clone(), RATE_HZ);
        let frames = generator.frames() as usize;
        let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
        generator.fill(&mut left, &mut right);
        let wide = |x: Vec<f32>| x.into_iter().map(f64::from).collect();
        std::fs::create_dir_all(&folder).unwrap();
        Self {
            plan,
            played: [wide(left), wide(right)],
            rooms,
            folder,
        }
    }

    /// The venues of these numbers, as many at once as there are cores. What becomes of each is told as it comes.
    pub fn run_all(&self, numbers: Range<u64>, told: impl Fn(&Outcome) + Sync) -> Vec<Outcome> {
        let next = AtomicU64::new(numbers.start);
        let outcomes = Mutex::new(Vec::new());
        let workers = std::thread::available_parallelism().map_or(1, usize::from);
        std::thread::scope(|scope| {
            for _ in 0..workers {
                scope.spawn(|| {
                    loop {
                        let number = next.fetch_add(1, Ordering::Relaxed);
                        if number >= numbers.end {
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

    pub fn run(&self, number: u64) -> Outcome {
        let (channels, rate_hz) = self.recorded(number);
        self.read(number, &channels, rate_hz)
    }

    /// A venue and how what is recorded there is coded.
    fn drawn(&self, number: u64) -> (Venue, Coding) {
        let venue = draw(number, &self.rooms);
        let coding = match Coding::of(number) {
            // Phones code at 44.1 or 48 kHz.
            Coding::Mp3(_) | Coding::Ogg(_) if venue.recorder.rate_hz > 48_000.0 => Coding::Wav,
            coding => coding,
        };
        (venue, coding)
    }

    /// What is read of a venue's recording: its channels and its rate.
    pub fn recorded(&self, number: u64) -> (Vec<Vec<f32>>, f64) {
        let (venue, coding) = self.drawn(number);
        let recorded = venue.record(&self.played[0], &self.played[1], RATE_HZ);
        let samples: Vec<f32> = recorded.iter().map(|&x| x as f32).collect();
        self.coded(number, coding, &samples, venue.recorder.rate_hz)
    }

    /// What becomes of a venue's recording.
    pub fn read(&self, number: u64, channels: &[Vec<f32>], rate_hz: f64) -> Outcome {
        let (venue, coding) = self.drawn(number);
        let heard: Vec<&[f32]> = channels.iter().map(Vec::as_slice).collect();
        let before = Instant::now();
        let result = read(&heard, rate_hz, &self.plan);
        let reading_s = before.elapsed().as_secs_f64();
        judged(number, venue, coding, result, reading_s)
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

/// Right over left at the place of recording, or `None` unless both arrive.
fn truth(venue: &Venue) -> Option<(Polarity, f64, f64)> {
    let flipped = (venue.left.flip != venue.right.flip) != (venue.end == End::Difference);
    matches!(venue.end, End::Sum | End::Difference).then_some((
        if flipped {
            Polarity::Flipped
        } else {
            Polarity::Normal
        },
        venue.right.delay_s - venue.left.delay_s,
        venue.right.gain_db - venue.left.gain_db,
    ))
}

fn judged(
    number: u64,
    venue: Venue,
    coding: Coding,
    result: Result<Findings, ReadFailure>,
    reading_s: f64,
) -> Outcome {
    let truth = truth(&venue);
    let mut outcome = Outcome {
        number,
        coding,
        reading_s,
        both: truth.is_some(),
        polarity: if truth.is_some() {
            Answer::Unknown
        } else {
            Answer::NotAsked
        },
        feed: Answer::Unknown,
        delay_error_s: None,
        level_error_db: None,
        corner: Answer::NotAsked,
        absolute: Answer::NotAsked,
        venue,
        result,
    };
    let Ok(finding) = &outcome.result else {
        return outcome;
    };
    outcome.feed = feed_answer(&outcome.venue, truth.map(|t| t.0), finding);
    for (side, line) in [&outcome.venue.left, &outcome.venue.right]
        .into_iter()
        .enumerate()
    {
        if let Some(absolute) = finding.lines[side].absolute {
            let turned = outcome.venue.end == End::Difference && side == 1;
            let flipped = (line.flip != outcome.venue.loudspeaker_flipped) != turned;
            let right = (absolute.value == Polarity::Flipped) == flipped;
            if outcome.absolute != Answer::Wrong {
                outcome.absolute = Answer::of(Some(right));
            }
        }
    }
    if let (Some((polarity, delay_s, level_db)), Some(pair)) = (truth, &finding.pair) {
        outcome.polarity = Answer::of(pair.polarity.map(|found| found.value == polarity));
        outcome.delay_error_s = pair
            .delay_s
            .filter(|d| d.confidence >= 0.3)
            .map(|d| d.value - delay_s);
        outcome.level_error_db = pair
            .level_db
            .filter(|l| l.confidence >= 0.3)
            .map(|l| l.value - level_db);
        if let Some(corners) = pair.corners_hz {
            let corner = |line: &sumproof_signals::LineFault| line.high_pass_hz.unwrap_or(0.0);
            let (left, right) = (corner(&outcome.venue.left), corner(&outcome.venue.right));
            // The thinner line, where one is much the thinner, and its corner within a fifth.
            let thinner = if left > right { 0 } else { 1 };
            let (more, less) = (left.max(right), left.min(right));
            if more > 100.0 && more > 3.0 * less {
                let found = corners.value[thinner];
                outcome.corner = Answer::of(Some((found / more).ln().abs() < 0.2));
            }
        }
    }
    outcome
}

/// Whether the feed is right: what the place of recording does, and a built-in feed that does it among those named.
fn feed_answer(venue: &Venue, polarity: Option<Polarity>, finding: &Findings) -> Answer {
    let Some(heard) = finding.feeding.heard else {
        return Answer::Unknown;
    };
    let expected = match (venue.end, polarity) {
        (End::Left, _) => Reception::One(Side::Left),
        (End::Right, _) => Reception::One(Side::Right),
        (_, Some(Polarity::Flipped)) => Reception::Difference,
        _ => Reception::Sum,
    };
    let named = &finding.feeding.feeds;
    let fits = match expected {
        Reception::One(Side::Left) => named.first() == Some(&FeedId::LeftLineOnly),
        Reception::One(Side::Right) => named.first() == Some(&FeedId::RightLineOnly),
        Reception::Difference => {
            named.contains(&FeedId::BalancedJackDifference) && named.contains(&FeedId::WedgeLineFlipped)
        }
        Reception::Sum => named.iter().all(|feed| {
            matches!(
                feed,
                FeedId::MonoWedge
                    | FeedId::WedgeLinePadded
                    | FeedId::WedgeLineLate
                    | FeedId::WedgeLineTransformer
            )
        }),
        Reception::Apart => false,
    };
    Answer::of(Some(heard.value == expected && fits))
}

/// The channels of a recording, and its rate.
fn decode(path: &Path) -> (Vec<Vec<f32>>, f64) {
    let recording = sumproof_cli::read_recording(path, f64::INFINITY).unwrap();
    (recording.channels, recording.rate_hz)
}

/// The rooms of Debian's guitarix-common and jconvolver-config-files, 48 kHz, as far as they're there. Both packages are GPL:
/// their files are a test's input and nothing else.
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

/// Whether a room is one of a file.
pub fn is_real(room: &Room) -> bool {
    matches!(room, Room::Given(_))
}

/// The table, as Markdown.
pub fn table(outcomes: &[Outcome]) -> String {
    type Which = fn(&Outcome) -> bool;
    let rows: [(&str, Which); 15] = [
        ("all", |_| true),
        ("sum", |o| o.venue.end == End::Sum),
        ("difference", |o| o.venue.end == End::Difference),
        ("left or right only", |o| !o.both),
        ("no room", |o| o.venue.room == Room::None),
        ("made-up room", |o| matches!(o.venue.room, Room::Synthetic { .. })),
        ("recorded room", |o| is_real(&o.venue.room)),
        ("noise 6 to 12 dB below", |o| {
            o.venue.noise.is_some_and(|noise| noise.below_db < 12.0)
        }),
        ("WAV", |o| o.coding == Coding::Wav),
        ("MP3, 64 and 128 kbit/s", |o| matches!(o.coding, Coding::Mp3(_))),
        ("Ogg, quality 1 and 4", |o| matches!(o.coding, Coding::Ogg(_))),
        ("automatic gain", |o| o.venue.recorder.gain.is_some()),
        ("no automatic gain", |o| o.venue.recorder.gain.is_none()),
        ("clipped", |o| o.venue.recorder.clipped_db > 0.0),
        ("begun late", |o| o.venue.recorder.before_s < 0.0),
    ];
    let mut text = String::from(
        "| venues | number | polarity right / wrong / unknown | feed right / wrong / unknown | delay within 0.1 ms | \
         level within 0.5 dB | delay error, 95 % (µs) | level error, 95 % (dB) |\n|---|---|---|---|---|---|---|---|\n",
    );
    for (name, which) in rows {
        let of: Vec<&Outcome> = outcomes.iter().filter(|outcome| which(outcome)).collect();
        let count = |answer: Answer, get: fn(&Outcome) -> Answer| {
            of.iter().filter(|outcome| get(outcome) == answer).count()
        };
        let three = |get: fn(&Outcome) -> Answer| {
            format!(
                "{} / {} / {}",
                count(Answer::Right, get),
                count(Answer::Wrong, get),
                count(Answer::Unknown, get)
            )
        };
        let (delay, delay_95) = spread(of.iter().map(|outcome| outcome.delay_error_s), 1e-4, &of);
        let (level, level_95) = spread(of.iter().map(|outcome| outcome.level_error_db), 0.5, &of);
        text += &format!(
            "| {name} | {} | {} | {} | {delay} | {level} | {} | {} |\n",
            of.len(),
            three(|outcome| outcome.polarity),
            three(|outcome| outcome.feed),
            delay_95.map_or_else(|| "–".into(), |x| format!("{:.1}", 1e6 * x)),
            level_95.map_or_else(|| "–".into(), |x| format!("{x:.2}")),
        );
    }
    let both: Vec<&Outcome> = outcomes.iter().filter(|outcome| outcome.both).collect();
    let share = |of: &[&Outcome], holds: &dyn Fn(&Outcome) -> bool| {
        100.0 * of.iter().filter(|outcome| holds(outcome)).count() as f64 / of.len().max(1) as f64
    };
    let all: Vec<&Outcome> = outcomes.iter().collect();
    let within = |error: Option<f64>, limit: f64| error.is_some_and(|error| error.abs() <= limit);
    text += &format!(
        "\nWith what isn't told counted as missed: polarity right in {:.1} %, delay within 0.1 ms in {:.1} %, level within 0.5 dB \
         in {:.1} % of the {} where both lines arrive; feed right in {:.1} % of all.\n",
        share(&both, &|outcome| outcome.polarity == Answer::Right),
        share(&both, &|outcome| within(outcome.delay_error_s, 1e-4)),
        share(&both, &|outcome| within(outcome.level_error_db, 0.5)),
        both.len(),
        share(&all, &|outcome| outcome.feed == Answer::Right),
    );
    let failed: Vec<String> = outcomes
        .iter()
        .filter_map(|outcome| {
            outcome
                .result
                .as_ref()
                .err()
                .map(|error| format!("{} ({error})", outcome.number))
        })
        .collect();
    let number = |of: &dyn Fn(&Outcome) -> bool| -> String {
        let mut numbers: Vec<u64> = outcomes.iter().filter(|o| of(o)).map(|o| o.number).collect();
        numbers.sort_unstable();
        if numbers.is_empty() {
            return "none".into();
        }
        numbers
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join(", ")
    };
    let corners = |answer: Answer| outcomes.iter().filter(|o| o.corner == answer).count();
    let absolutes = |answer: Answer| outcomes.iter().filter(|o| o.absolute == answer).count();
    text += &format!(
        "\nCorner of the thinner line (above 100 Hz and three times the other's) within a fifth: {} of {}. Absolute polarity, \
         where it was given: {} right, {} wrong.\n",
        corners(Answer::Right),
        corners(Answer::Right) + corners(Answer::Wrong),
        absolutes(Answer::Right),
        absolutes(Answer::Wrong)
    );
    text += &format!(
        "\nWrong polarity: {}. Wrong feed: {}. Not read at all: {}.\n",
        number(&|o| o.polarity == Answer::Wrong),
        number(&|o| o.feed == Answer::Wrong),
        if failed.is_empty() {
            "none".into()
        } else {
            failed.join("; ")
        }
    );
    let mut times: Vec<f64> = outcomes.iter().map(|outcome| outcome.reading_s).collect();
    times.sort_by(f64::total_cmp);
    eprintln!(
        "reading took {:.2} s in the middle, {:.2} s at most, with everything else that ran here",
        times[times.len() / 2],
        times[times.len() - 1]
    );
    text
}

/// How many errors are within the limit, of how many given, and how many were not given; and the 95th percentile.
fn spread(errors: impl Iterator<Item = Option<f64>>, limit: f64, of: &[&Outcome]) -> (String, Option<f64>) {
    let both = of.iter().filter(|outcome| outcome.both).count();
    let mut given: Vec<f64> = errors.flatten().map(f64::abs).collect();
    given.sort_by(f64::total_cmp);
    if given.is_empty() {
        return ("–".into(), None);
    }
    let within = given.iter().filter(|error| **error <= limit).count();
    let text = format!(
        "{:.1} % of {} ({} not known)",
        100.0 * within as f64 / given.len() as f64,
        given.len(),
        both - given.len()
    );
    (text, Some(given[(given.len() * 95 / 100).min(given.len() - 1)]))
}
