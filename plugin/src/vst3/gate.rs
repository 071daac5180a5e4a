//! No task is under way on the framework's thread while an editor comes or goes.

use std::sync::mpsc::{SyncSender, sync_channel};
use std::sync::{Mutex, PoisonError};
use std::thread::ThreadId;
use std::time::Duration;

/// How long the framework's thread may take to get to the end of its queue. Its tasks only ask for a frame.
const LONGEST: Duration = Duration::from_millis(200);

/// Something that goes through the queue of the framework's thread and says when it has arrived.
pub struct Marker(SyncSender<()>);

impl Marker {
    /// On the framework's thread.
    pub fn arrive(self) {
        // Whoever waited may have given up.
        let _ = self.0.send(());
    }
}

/// One at a time: calls that post a task, and those during which there must be none.
pub(super) struct Gate {
    lock: Mutex<()>,
    /// The thread that the framework takes for the host's main one: it runs tasks there and then.
    own_thread: ThreadId,
    post: Option<Box<dyn Fn(Marker) + Send + Sync>>,
}

impl Gate {
    /// To be made on the thread that makes the plugin.
    pub(super) fn new(post: Option<Box<dyn Fn(Marker) + Send + Sync>>) -> Self {
        Self {
            lock: Mutex::default(),
            own_thread: std::thread::current().id(),
            post,
        }
    }

    /// Runs what may post a task, and lets the task come to its end.
    pub(super) fn posting<R>(&self, body: impl FnOnce() -> R) -> R {
        let _one = self.lock.lock().unwrap_or_else(PoisonError::into_inner);
        let result = body();
        if std::thread::current().id() != self.own_thread
            && let Some(post) = &self.post
        {
            let (sender, receiver) = sync_channel(1);
            post(Marker(sender));
            // Where the thread has gone the marker is dropped, which ends the wait as well.
            let _ = receiver.recv_timeout(LONGEST);
        }
        result
    }

    /// Runs what must meet no task.
    pub(super) fn alone<R>(&self, body: impl FnOnce() -> R) -> R {
        let _one = self.lock.lock().unwrap_or_else(PoisonError::into_inner);
        body()
    }
}
