//! All shared state of the plugin's threads, from the plugin's own sources: the ring, the shared atomics, the clock and
//! the worker. Without the framework and the window it is small enough to be built, with all dependencies except the
//! standard library, for a race detector: `cargo xtask bench threads` does that (ThreadSanitizer) and runs the tests of
//! these modules and the one below. Otherwise they run as ordinary tests.
#![allow(
    dead_code,
    missing_docs,
    reason = "what is used and documented is the plugin's"
)]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test chooses the numbers it converts"
)]

#[path = "../../../plugin/src/audio"]
pub mod audio {
    pub mod line_check;
}
#[path = "../../../plugin/src/bridge"]
pub mod bridge {
    pub mod clock;
    pub mod line_check;
    pub mod pedals;
    pub mod ring;
    pub mod shared;
}
#[path = "../../../plugin/src/parameters"]
pub mod parameters {
    pub mod arming;
}
#[path = "../../../plugin/src/analysis"]
pub mod analysis {
    pub mod worker;
}

#[cfg(test)]
mod tests {
    use crate::analysis::worker::{Activity, Worker};
    use crate::bridge::clock::Watch;
    use crate::bridge::ring::{Command, Event, ring};
    use crate::bridge::shared::{AuditionState, Shared};
    use std::sync::atomic::{AtomicU64, Ordering};
    use std::sync::{Arc, Mutex};
    use std::time::Duration;
    use sumproof_core::session::take::Pass;
    use triple_buffer::triple_buffer;

    /// The three threads of an instance at once, each using the shared state as in the plugin: audio pushes frames and
    /// commands and reads the user's feed, the analysis drains and publishes, the window reads.
    #[test]
    fn audio_analysis_and_window_together() {
        const BLOCKS: u64 = 20_000;
        const FRAMES: u64 = 24;
        let shared = Arc::new(Shared::default());
        let (mut audio, mut analysis) = ring::<4>(1_024);
        let (mut own_in, mut own_out) = triple_buffer(&0_u64);
        let (mut published_in, mut published_out) = triple_buffer(&[0_u64; 16]);
        let heard = Arc::new(AtomicU64::new(0));

        let worker = {
            let (shared, heard) = (Arc::clone(&shared), Arc::clone(&heard));
            let mut watch = Watch::default();
            Worker::start(move || {
                watch.look(&shared.pulse);
                let mut came = false;
                analysis.drain(300, |event| {
                    came = true;
                    match event {
                        Event::Frames(frames) => {
                            heard.fetch_add(frames.len() as u64, Ordering::Relaxed);
                        }
                        Event::Command(Command::Lost(lost)) => {
                            heard.fetch_add(lost, Ordering::Relaxed);
                        }
                        Event::Command(_) => {}
                    }
                });
                let total = heard.load(Ordering::Relaxed);
                own_in.write(total);
                published_in.write([total; 16]);
                shared.set_match_db(sumproof_core::routing::feed::FeedId::MonoWedge, total as f32);
                shared.emptied();
                if came { Activity::Sound } else { Activity::Nothing }
            })
            .expect("a thread")
        };

        let window = {
            let shared = Arc::clone(&shared);
            let reader = Mutex::new(());
            std::thread::spawn(move || {
                let open = shared.open_window();
                let mut last = 0;
                while !shared.panicked.load(Ordering::Relaxed) {
                    let _locked = reader.lock();
                    let seen = *published_out.read();
                    assert!(
                        seen.iter().all(|&value| value == seen[0]),
                        "a publication is whole: {seen:?}"
                    );
                    assert!(seen[0] >= last, "and none is older than the one before");
                    last = seen[0];
                    let _ = (shared.heard(), shared.correlation.load(Ordering::Relaxed));
                    std::thread::yield_now();
                }
                drop(open);
            })
        };

        let player = {
            let shared = Arc::clone(&shared);
            std::thread::spawn(move || {
                shared.pulse.begin(48_000.0);
                let channel = [0.25; FRAMES as usize];
                let mut last = 0;
                for block in 0..BLOCKS {
                    shared.pulse.count(channel.len());
                    let lost = audio.push([&channel; 4]);
                    shared.lost_frames.fetch_add(lost as u64, Ordering::Relaxed);
                    if block % 100 == 0 {
                        let _ = audio.send(Command::StartTake(Pass::Dry)) && audio.send(Command::StopTake);
                        let _ = shared.outruns_the_clock(Duration::from_secs(2));
                    }
                    let own = *own_out.read();
                    assert!(own >= last);
                    last = own;
                    shared.set_heard(if block % 2 == 0 {
                        AuditionState::Feed
                    } else {
                        AuditionState::Stereo
                    });
                    shared.correlation.store(block as f32, Ordering::Relaxed);
                    if block % 64 == 0 {
                        std::thread::sleep(Duration::from_micros(50));
                    }
                }
                // A pending command is sent as soon as there is room.
                while !audio.send(Command::Break) {
                    std::thread::yield_now();
                }
            })
        };
        player.join().expect("the player ends");
        while heard.load(Ordering::Relaxed) < BLOCKS * FRAMES {
            std::thread::sleep(Duration::from_millis(1));
        }
        shared.panicked.store(true, Ordering::Relaxed);
        window.join().expect("the window ends");
        drop(worker);
        assert_eq!(heard.load(Ordering::Relaxed), BLOCKS * FRAMES);
    }
}
