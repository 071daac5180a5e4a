//! Only the analysis thread's work, whose instructions `cargo xtask bench analysis` counts.
//!
//! `sumproof-analysis SOUND WORK`. SOUND is `noise` (without onsets) or `demo` (a guitar), about 8 s at 48 kHz. WORK is
//! `nothing`, `transforms` (the bare Fourier transforms of the blocks), `all-transforms` (those and the ones of a
//! take's longer blocks; both with FORWARD, BACK and LEN for that many further transforms of LEN samples), `attacks`
//! (prints these three numbers for the sound), `heard` (the analysis with the window closed), `recorded` (the same
//! while a take is recorded) or `shown` (with the window open: fast figures 25 times a second, the board twice, advice
//! and margin once). Exits with 2 for a wrong command line.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test chooses the numbers it converts"
)]

use std::hint::black_box;
use std::process::ExitCode;

use realfft::RealFftPlanner;
use sumproof_core::alignment::onset::OnsetEvidence;
use sumproof_core::dsp::samples::Cleaner;
use sumproof_core::routing::feed::FeedId;
use sumproof_core::session::monitor::{LONGER, Monitor};
use sumproof_core::session::reading::Reading;
use sumproof_core::session::recommend::recommend;
use sumproof_core::spectrum::grid::block_len;
use sumproof_core::spectrum::welch::HOPS;
use sumproof_core::split::estimated::Tracker;
use sumproof_core::split::ways::Memory;
use sumproof_signals::{Rng, demo_preset};

const RATE_HZ: f64 = 48_000.0;

/// Frames passed at once, as in the plugin.
const CHUNK: usize = 512;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [sound, work, besides @ ..] = args.as_slice() else {
        return usage();
    };
    let besides: Vec<usize> = besides.iter().filter_map(|number| number.parse().ok()).collect();
    let [left, right] = match sound.as_str() {
        "noise" => noise(),
        "demo" => demo(),
        _ => return usage(),
    };
    match work.as_str() {
        "nothing" => drop(black_box(Monitor::new(RATE_HZ))),
        "transforms" => transforms(left.len(), &[1], &besides),
        "attacks" => {
            let (([forward, back], len), (short, short_len)) = besides_blocks(&left, &right);
            println!("{forward} {back} {len} {short} {short_len}");
            return ExitCode::SUCCESS;
        }
        "all-transforms" => transforms(left.len(), &[1, LONGER], &besides),
        "heard" => analysis(&left, &right, false, false),
        "recorded" => analysis(&left, &right, true, false),
        "shown" => analysis(&left, &right, false, true),
        _ => return usage(),
    }
    println!("{}", left.len());
    ExitCode::SUCCESS
}

fn usage() -> ExitCode {
    eprintln!(
        "usage: sumproof-analysis noise|demo nothing|transforms|all-transforms|attacks|heard|recorded|shown [FORWARD BACK LEN SHORT LEN]"
    );
    ExitCode::from(2)
}

fn noise() -> [Vec<f32>; 2] {
    let mut rng = Rng::new(21);
    let mut channel = || (0..8 * 48_000).map(|_| rng.between(-0.3, 0.3) as f32).collect();
    [channel(), channel()]
}

fn demo() -> [Vec<f32>; 2] {
    let preset = demo_preset(RATE_HZ).full();
    let narrowed = |channel: &[f64]| channel.iter().map(|&sample| sample as f32).collect();
    [narrowed(&preset.left), narrowed(&preset.right)]
}

/// The number and length of the transforms of onset detection (forward, inverse), and of the short frames of the
/// estimate.
fn besides_blocks(left: &[f32], right: &[f32]) -> (([u64; 2], usize), (u64, usize)) {
    let mut onsets = OnsetEvidence::new(RATE_HZ);
    let mut tracker = Tracker::new(RATE_HZ, Memory::PHRASE);
    Cleaner::default().runs(left, right, |run| {
        onsets.push(run);
        tracker.push(run);
    });
    (onsets.transforms(), tracker.transforms())
}

/// The transform of every block of every channel, for block lengths `times` the live one's, and the further transforms
/// (forward, inverse, length) of `besides`. The values don't matter: the same instructions run for any.
fn transforms(frames: usize, times: &[usize], besides: &[usize]) {
    drop(black_box(Monitor::new(RATE_HZ)));
    for times in times {
        let len = times * block_len(RATE_HZ);
        forward(len, 2 * (frames / (len / HOPS)));
    }
    if let &[forwards, backs, len, short, short_len] = besides {
        forward(len, forwards);
        back(len, backs);
        forward(short_len, short);
    }
}

fn forward(len: usize, count: usize) {
    let transform = RealFftPlanner::<f64>::new().plan_fft_forward(len);
    let (mut input, mut output) = (transform.make_input_vec(), transform.make_output_vec());
    let mut scratch = transform.make_scratch_vec();
    for _ in 0..count {
        let done = transform.process_with_scratch(&mut input, &mut output, &mut scratch);
        assert!(done.is_ok(), "the buffers are the transform's own");
        black_box(&output);
    }
}

fn back(len: usize, count: usize) {
    let transform = RealFftPlanner::<f64>::new().plan_fft_inverse(len);
    let (mut input, mut output) = (transform.make_input_vec(), transform.make_output_vec());
    let mut scratch = transform.make_scratch_vec();
    for _ in 0..count {
        let done = transform.process_with_scratch(&mut input, &mut output, &mut scratch);
        assert!(done.is_ok(), "the buffers are the transform's own");
        black_box(&output);
    }
}

/// Frames between two readings of the fast figures, of the board, and of advice and margin, as in the plugin.
const PERIODS: [usize; 3] = [
    (0.04 * RATE_HZ) as usize,
    (0.5 * RATE_HZ) as usize,
    RATE_HZ as usize,
];

fn analysis(left: &[f32], right: &[f32], recorded: bool, shown: bool) {
    let mut monitor = Monitor::new(RATE_HZ);
    monitor.set_watched(shown);
    let mut reading = Box::<Reading>::default();
    let mut unread = [0; 3];
    if recorded {
        monitor.start_take();
    }
    for (l, r) in left.chunks(CHUNK).zip(right.chunks(CHUNK)) {
        monitor.push(l, r);
        if !shown {
            continue;
        }
        let mut due = [false; 3];
        for ((unread, period), due) in unread.iter_mut().zip(PERIODS).zip(&mut due) {
            *unread += l.len();
            *due = *unread >= period;
            if *due {
                *unread = 0;
            }
        }
        let [now, board, counsel] = due;
        if board {
            monitor.read(FeedId::MonoWedge, &mut reading);
        } else if now {
            monitor.read_now(&mut reading);
        }
        if counsel {
            black_box(recommend(&monitor, &reading));
        }
    }
    black_box(&monitor);
}
