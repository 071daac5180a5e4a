//! After construction, no code that the audio thread calls and no code that runs once per hop allocates or frees.

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;

use sumproof_core::audition::{AuditionSettings, Auditioner};
use sumproof_core::line_check::{Generator, Plan, SignalSettings};
use sumproof_core::routing::feed::{FeedId, Lines, Side};
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_core::score::rig::Rig;
use sumproof_core::session::meter::RunningCorrelation;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::reading::Reading;
use sumproof_core::session::span::Over;
use sumproof_core::session::take::Pass;

/// Counts the current thread's calls to the system's allocator.
struct Counting;

thread_local! {
    static CALLS: Cell<usize> = const { Cell::new(0) };
}

fn count() {
    CALLS.with(|calls| calls.set(calls.get() + 1));
}

// SAFETY: every call is forwarded unchanged to the system's allocator; counting touches only a thread-local cell that
// needs no allocation and no destructor.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        count();
        // SAFETY: the caller upholds the contract of `alloc`, which is the same here.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        count();
        // SAFETY: the pointer came from `alloc` above, which is the system's.
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

fn calls_during(work: impl FnOnce()) -> usize {
    let before = CALLS.with(Cell::get);
    work();
    CALLS.with(Cell::get) - before
}

fn noise(seed: u64, len: usize) -> Vec<f32> {
    let mut state = seed;
    (0..len)
        .map(|_| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((state >> 40) as f32 / (1u64 << 24) as f32 - 0.5) * 0.5
        })
        .collect()
}

#[test]
fn the_control_is_seen() {
    assert_eq!(calls_during(|| drop(std::hint::black_box(Box::new(5_u8)))), 2);
}

#[test]
fn hearing_and_reading_allocate_nothing_once_a_monitor_is_made() {
    let (mut left, right) = (noise(1, 120_000), noise(2, 120_000));
    left[70_000] = f32::NAN;
    let mut monitor = Monitor::new(48_000.0);
    let mut reading = Box::<Reading>::default();
    let flipped = Line {
        polarity: Polarity::Flipped,
        delay_s: 0.002,
        ..Line::STRAIGHT
    };
    let rig = Rig {
        lines: Lines {
            left: flipped,
            ..Lines::default()
        },
        ..Rig::default()
    };
    let calls = calls_during(|| {
        for (index, (l, r)) in left.chunks(333).zip(right.chunks(333)).enumerate() {
            monitor.push(l, r);
            match index {
                30 => monitor.start_take(),
                60 => monitor.set_rig(&rig),
                90 => monitor.set_over(Over::Seconds(0.3)),
                120 => monitor.set_over(Over::Phrase),
                300 => monitor.reset(),
                _ => {}
            }
            if index % 50 == 0 {
                monitor.read(FeedId::WedgeLineLate, &mut reading);
            }
        }
    });
    assert_eq!(calls, 0);
    // It really worked: there was sound, and a take is being recorded.
    assert!(reading.row(FeedId::MonoWedge).score.is_some());
    assert!(monitor.finish_take("a take".into(), Pass::Full).is_some());
}

#[test]
fn the_audio_thread_allocates_nothing() {
    let (left, right) = (noise(3, 96_000), noise(4, 96_000));
    let (mut out_left, mut out_right) = (left.clone(), right.clone());
    let mut auditioner = Auditioner::new(48_000.0);
    let mut meter = RunningCorrelation::new(48_000.0, 1.0);
    let rig = Rig::default();
    let calls = calls_during(|| {
        for (index, (l, r)) in out_left.chunks_mut(64).zip(out_right.chunks_mut(64)).enumerate() {
            meter.push(l, r);
            let mut feed = rig.feed(FeedId::ALL[index / 110 % FeedId::ALL.len()], Side::Left);
            feed.right.delay_s = 1e-5 * (index % 300) as f64;
            feed.left.high_pass_hz[0] = 30.0;
            let settings = AuditionSettings {
                feed: Some(feed),
                match_db: Some(3.0),
            };
            auditioner.set(&settings);
            auditioner.process(l, r);
        }
    });
    assert_eq!(calls, 0);
    assert!(meter.correlation().is_some());
    assert_ne!(out_left, left);
    assert!(out_left.iter().all(|sample| sample.abs() <= 1.0));
}

#[test]
fn a_line_checks_signal_is_made_without_allocating() {
    for settings in [SignalSettings::default(), SignalSettings::mono()] {
        let plan = Plan::new(settings).expect("the usual");
        let mut generator = Generator::new(plan, 48_000.0);
        let (mut left, mut right) = (vec![0.0; 8192], vec![0.0; 8192]);
        let mut loudest = 0.0f32;
        let calls = calls_during(|| {
            for size in [1, 64, 333, 8192].into_iter().cycle() {
                let more = generator.fill(&mut left[..size], &mut right[..size]);
                loudest = left[..size].iter().fold(loudest, |most, x| most.max(x.abs()));
                if !more {
                    break;
                }
            }
            assert_eq!(generator.progress(), 1.0);
            generator.restart();
            generator.fill(&mut left, &mut right);
        });
        assert_eq!(calls, 0);
        assert!(loudest > 0.09);
    }
}
