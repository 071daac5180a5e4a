//! Makes sure that no task runs on the framework's thread while an editor is attached or removed.

use std::sync::mpsc::{SyncSender, sync_channel};
use std::sync::{Mutex, PoisonError};
use std::thread::ThreadId;
use std::time::Duration;

/// How long the framework's thread may take to finish its queue. Its tasks only ask for a frame.
const LONGEST: Duration = Duration::from_millis(200);

/// Passes through the queue of the framework's thread and signals its arrival.
pub struct Marker(SyncSender<()>);

impl Marker {
    /// Called on the framework's thread.
    pub fn arrive(self) {
        // The waiting thread may have given up.
        let _ = self.0.send(());
    }
}

/// Serialises the calls that post a task and those during which no task may run.
pub(super) struct Gate {
    lock: Mutex<()>,
    /// The thread that the framework takes for the host's main one: there it runs tasks at once.
    own_thread: ThreadId,
    post: Option<Box<dyn Fn(Marker) + Send + Sync>>,
}

impl Gate {
    /// Create it on the thread that creates the plugin.
    pub(super) fn new(post: Option<Box<dyn Fn(Marker) + Send + Sync>>) -> Self {
        Self {
            lock: Mutex::default(),
            own_thread: std::thread::current().id(),
            post,
        }
    }

    /// Runs a `body` that may post a task, and waits until the task has ended.
    pub(super) fn posting<R>(&self, body: impl FnOnce() -> R) -> R {
        let _one = self.lock.lock().unwrap_or_else(PoisonError::into_inner);
        let result = body();
        if std::thread::current().id() != self.own_thread
            && let Some(post) = &self.post
        {
            let (sender, receiver) = sync_channel(1);
            post(Marker(sender));
            // If the thread has ended, the marker is dropped, which ends the wait as well.
            let _ = receiver.recv_timeout(LONGEST);
        }
        result
    }

    /// Runs a `body` during which no task may run.
    pub(super) fn alone<R>(&self, body: impl FnOnce() -> R) -> R {
        let _one = self.lock.lock().unwrap_or_else(PoisonError::into_inner);
        body()
    }
}
