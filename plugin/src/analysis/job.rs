//! Work in a thread of its own, of which nothing is left when it is given up.

use std::thread::{self, JoinHandle};

/// Work that goes on, or what came of it.
#[derive(Debug)]
pub struct Job<T>(Option<JoinHandle<T>>);

impl<T: Send + 'static> Job<T> {
    /// Begins it, in a thread of that name. Where the system gives none, it is done and nothing comes of it.
    #[must_use]
    pub fn start(name: &str, work: impl FnOnce() -> T + Send + 'static) -> Self {
        Self(thread::Builder::new().name(name.into()).spawn(work).ok())
    }

    /// Whether [`Self::finish`] would not wait.
    #[must_use]
    pub fn is_done(&self) -> bool {
        self.0.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// Waits for what comes of it: an error where it broke, `None` where it never began.
    #[must_use]
    pub fn finish(mut self) -> Option<thread::Result<T>> {
        self.0.take().map(JoinHandle::join)
    }
}

impl<T> Drop for Job<T> {
    /// The library may be unloaded next: nothing of it may still run.
    fn drop(&mut self) {
        if let Some(thread) = self.0.take() {
            let _ = thread.join();
        }
    }
}
