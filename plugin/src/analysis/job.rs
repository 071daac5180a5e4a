//! Work in a thread of its own that can be abandoned and never outlives its owner.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};

/// Work in progress, or its result.
#[derive(Debug)]
pub struct Job<T> {
    thread: Option<JoinHandle<T>>,
    given_up: GivenUp,
}

/// Set once the result is no longer wanted: the work may then stop at any point.
#[derive(Debug, Clone, Default)]
pub struct GivenUp(Arc<AtomicBool>);

impl GivenUp {
    /// Whether the work was given up.
    #[must_use]
    pub fn is_so(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

impl<T: Send + 'static> Job<T> {
    /// Starts `work` in a thread of that name; it gets a flag that says whether it has been given up. Where the system
    /// can't start a thread, the job counts as done and has no result.
    #[must_use]
    pub fn start(name: &str, work: impl FnOnce(&GivenUp) -> T + Send + 'static) -> Self {
        let given_up = GivenUp::default();
        let shown = given_up.clone();
        let thread = thread::Builder::new().name(name.into());
        Self {
            thread: thread.spawn(move || work(&shown)).ok(),
            given_up,
        }
    }

    /// Whether [`Self::finish`] would not wait.
    #[must_use]
    pub fn is_done(&self) -> bool {
        self.thread.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// Waits for the result: `Some(Err)` after a panic, `None` where the thread could not be started.
    #[must_use]
    pub fn finish(mut self) -> Option<thread::Result<T>> {
        self.thread.take().map(JoinHandle::join)
    }

    /// Gives the work up without waiting for its end.
    #[must_use]
    pub fn give_up(self) -> Abandoned
    where
        T: std::fmt::Debug,
    {
        self.given_up.0.store(true, Ordering::Relaxed);
        Abandoned(Box::new(self))
    }
}

impl<T> Drop for Job<T> {
    /// The library may be unloaded next: none of its code may still run.
    fn drop(&mut self) {
        self.given_up.0.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// Work that was given up but may still be running. Dropping it waits for its end.
#[derive(Debug)]
pub struct Abandoned(Box<dyn MayRun>);

impl Abandoned {
    /// Whether the thread has ended.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.0.is_over()
    }
}

trait MayRun: std::fmt::Debug + Send {
    fn is_over(&self) -> bool;
}

impl<T: Send + std::fmt::Debug + 'static> MayRun for Job<T> {
    fn is_over(&self) -> bool {
        self.is_done()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc;

    #[test]
    fn work_that_is_given_up_is_told_and_not_waited_for() {
        let (noticed, notices) = mpsc::channel();
        let job = Job::start("given up", move |given_up| {
            while !given_up.is_so() {
                thread::yield_now();
            }
            let _ = noticed.send(());
        });
        assert!(!job.is_done());
        let abandoned = job.give_up();
        notices.recv().expect("it was told");
        drop(abandoned);
        let (noticed, notices) = mpsc::channel();
        drop(Job::start("dropped", move |given_up| {
            while !given_up.is_so() {
                thread::yield_now();
            }
            let _ = noticed.send(());
        }));
        assert_eq!(notices.try_recv(), Ok(()));
    }
}
