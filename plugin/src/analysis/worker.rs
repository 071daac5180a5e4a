//! The analysis thread. It sleeps by the clock and is never woken by the audio thread, which makes no system calls. It
//! looks every few milliseconds while sound arrives, and ever more rarely in silence. It ends with its owner.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{JoinHandle, Thread};
use std::time::Duration;

/// Time between two looks while sound arrives.
pub const BUSY_POLL: Duration = Duration::from_millis(8);
/// Longest time between two looks: four wake-ups a second.
pub const IDLE_POLL: Duration = Duration::from_millis(250);

/// Result of one look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Activity {
    /// More than fits one look: look again at once.
    Plenty,
    /// Sound arrived: look again soon.
    Sound,
    /// No sound: sleep longer.
    Nothing,
    /// No more work will come: end the thread.
    End,
}

/// How long to sleep, from the results of the last looks.
#[derive(Debug)]
struct Pace(Duration);

impl Pace {
    fn next(&mut self, found: Activity) -> Duration {
        self.0 = match found {
            Activity::Plenty => Duration::ZERO,
            Activity::Sound => BUSY_POLL,
            Activity::Nothing | Activity::End => (self.0 * 2).clamp(BUSY_POLL, IDLE_POLL),
        };
        self.0
    }
}

/// Owner of the thread: dropping it stops the thread and waits for its end.
pub struct Worker {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Worker {
    /// Starts a thread that calls `look` until the worker is dropped or `look` returns [`Activity::End`].
    ///
    /// # Errors
    /// If the system can't start a thread.
    pub fn start(mut look: impl FnMut() -> Activity + Send + 'static) -> std::io::Result<Self> {
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let thread = std::thread::Builder::new()
            .name(String::from("sumproof"))
            .spawn(move || {
                let mut pace = Pace(BUSY_POLL);
                // A token left by `unpark` makes the next `park` return at once, so a stop is never missed.
                while !stopped.load(Ordering::Acquire) {
                    let found = look();
                    if found == Activity::End {
                        break;
                    }
                    match pace.next(found) {
                        // Lets a thread that waits for the lock have it.
                        Duration::ZERO => std::thread::yield_now(),
                        pause => std::thread::park_timeout(pause),
                    }
                }
            })?;
        Ok(Self {
            stop,
            thread: Some(thread),
        })
    }
}

impl Worker {
    /// The thread's handle, for waking it.
    pub fn thread(&self) -> Option<Thread> {
        self.thread.as_ref().map(|thread| thread.thread().clone())
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Release);
        if let Some(thread) = self.thread.take() {
            thread.thread().unpark();
            // A thread that panicked has ended as well.
            let _ = thread.join();
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::AtomicUsize;
    use std::sync::mpsc;

    use super::*;

    #[test]
    fn the_pace_slackens_to_four_a_second_and_picks_up_at_once() {
        let mut pace = Pace(BUSY_POLL);
        let millis: Vec<u128> = (0..8).map(|_| pace.next(Activity::Nothing).as_millis()).collect();
        assert_eq!(millis, [16, 32, 64, 128, 250, 250, 250, 250]);
        assert_eq!(pace.next(Activity::Sound), BUSY_POLL);
    }

    #[test]
    fn dropping_the_worker_ends_the_thread_even_in_its_sleep() {
        // The thread holds one clone; once it is gone, the thread's closure is gone too.
        let alive = Arc::new(());
        let held = Arc::clone(&alive);
        let looks = Arc::new(AtomicUsize::new(0));
        let counted = Arc::clone(&looks);
        let (first, looked) = mpsc::channel();
        let worker = Worker::start(move || {
            let _ = &held;
            counted.fetch_add(1, Ordering::SeqCst);
            let _ = first.send(());
            Activity::Nothing
        })
        .expect("a thread");
        looked.recv().expect("the thread looks once");
        looked.recv().expect("and again when its time is up");
        drop(worker);
        assert_eq!(Arc::strong_count(&alive), 1);
        let after = looks.load(Ordering::SeqCst);
        assert!(after >= 2);
        assert_eq!(looks.load(Ordering::SeqCst), after);
    }

    #[test]
    fn a_look_that_panics_does_not_hang_the_owner() {
        let worker = Worker::start(|| panic!("a look that panics, on purpose")).expect("a thread");
        drop(worker);
        let ended = Worker::start(|| Activity::End).expect("a thread");
        drop(ended);
    }

    #[test]
    fn many_come_and_go() {
        for _ in 0..200 {
            drop(Worker::start(|| Activity::Nothing).expect("a thread"));
        }
    }
}
