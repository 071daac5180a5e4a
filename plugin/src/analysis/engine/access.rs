//! The engine behind its locks, and how host, window and analysis thread get access to it.
//!
//! All work is done on the analysis thread. A host's thread only hands over and takes results; where it needs pending
//! work finished (when it saves, and when it renders faster than real time and the ring is full), it waits without
//! working. The side-chain's response takes long, so it is computed without the engine's lock
//! ([`crate::analysis::side_work`]).

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, TryLockError};
use std::time::{Duration, Instant};

use super::Engine;
use crate::analysis::side_work::{Orders, SideWork};
use crate::analysis::worker::Activity;
use crate::bridge::shared::Shared;
use crate::parameters::params::HostParams;
use crate::parameters::settings::Settings;

/// Shortest and longest pause of a host's thread between two checks of what it waits for.
const LOOK_EVERY: (Duration, Duration) = (Duration::from_millis(1), Duration::from_millis(32));
/// How long a host that saves waits for pending work, at most: the work takes milliseconds unless other processes hold
/// the machine. In tests that count what a host's call does by itself no analysis thread runs, so a long wait is
/// pointless.
const PATIENCE: Duration = if cfg!(test) {
    Duration::from_millis(50)
} else {
    Duration::from_secs(5)
};
/// How long a render waits for room in the ring, at most; after that the analysis must have died.
const RENDER_PATIENCE: Duration = Duration::from_secs(20);

/// The analysis behind two locks: the engine's, always held briefly, and the one of the side-chain's work, held for
/// long and waited for by the analysis thread alone.
#[derive(Clone)]
pub struct Analysis(Arc<Locks>);

struct Locks {
    engine: Mutex<Engine>,
    side_work: Mutex<SideWork>,
    shared: Arc<Shared>,
    params: Arc<HostParams>,
}

impl Analysis {
    /// Puts an engine behind a lock.
    pub fn new(engine: Engine) -> Self {
        Self(Arc::new(Locks {
            shared: Arc::clone(&engine.links.shared),
            params: Arc::clone(&engine.links.params),
            engine: Mutex::new(engine),
            side_work: Mutex::default(),
        }))
    }

    /// Waits for the engine's lock. A panic is recorded in the engine itself, so a poisoned lock adds no information.
    pub fn lock(&self) -> MutexGuard<'_, Engine> {
        self.0.engine.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A state was loaded: what it switches on is heard and recorded only once the user switches it on after that.
    pub fn disarm(&self) {
        let settings = Settings::read(&self.0.params);
        self.0.shared.arming.loaded(settings.switches());
    }

    /// The engine, or `None` while another thread holds its lock.
    pub fn lock_if_free(&self) -> Option<MutexGuard<'_, Engine>> {
        match self.0.engine.try_lock() {
            Ok(engine) => Some(engine),
            Err(TryLockError::Poisoned(poisoned)) => Some(poisoned.into_inner()),
            Err(TryLockError::WouldBlock) => None,
        }
    }

    /// One look: one turn of the analysis thread's loop.
    pub fn look(&self) -> Activity {
        // Another thread is working on it, so there is sound.
        let Some(mut engine) = self.lock_if_free() else {
            return Activity::Sound;
        };
        let (activity, orders) = (engine.look(), engine.take_orders());
        drop(engine);
        let Some(orders) = orders else { return activity };
        match self.work_on_side(orders) {
            true => Activity::Plenty,
            false => activity,
        }
    }

    /// One look in which `meanwhile` runs before the results of the side-chain's work are taken over.
    #[cfg(test)]
    pub(crate) fn look_while(&self, meanwhile: impl FnOnce()) {
        let orders = {
            let mut engine = self.lock();
            engine.look();
            engine.take_orders().expect("there is a side-chain")
        };
        let mut work = self.0.side_work.lock().unwrap_or_else(PoisonError::into_inner);
        let news = work.run(orders);
        meanwhile();
        self.lock().take_news(news);
    }

    /// The side-chain's work, without the engine's lock. Returns whether there is more to do at once.
    fn work_on_side(&self, orders: Orders) -> bool {
        let mut work = self.0.side_work.lock().unwrap_or_else(PoisonError::into_inner);
        let news = catch_unwind(AssertUnwindSafe(|| work.run(orders)));
        drop(work);
        let mut engine = self.lock();
        match news {
            Ok(news) => {
                let busy = news.busy;
                engine.take_news(news);
                busy
            }
            Err(_) => {
                engine.fail();
                false
            }
        }
    }

    /// Lets the analysis process all pending sound before a caller reads the result. Where the analysis thread runs,
    /// this only waits for it, and not for long: the caller is a host.
    pub fn catch_up(&self) {
        if !self.0.shared.has_worker() {
            self.lock().settle();
            while self.look_once_more() {}
            return;
        }
        self.0.shared.wanted_settled.store(true, Ordering::Release);
        let begun = Instant::now();
        // Every check costs the host's thread something, and a long wait would be thousands of them.
        let mut pause = LOOK_EVERY.0;
        while self.0.shared.wanted_settled.load(Ordering::Acquire) && begun.elapsed() < PATIENCE {
            self.0.shared.wake_worker();
            std::thread::sleep(pause);
            pause = (2 * pause).min(LOOK_EVERY.1);
        }
    }

    /// Without an analysis thread the caller does its work.
    fn look_once_more(&self) -> bool {
        let orders = self.lock().take_orders();
        orders.is_some_and(|orders| self.work_on_side(orders))
    }

    /// For a host that renders: processes pending sound, or waits until the analysis thread has made room. Returns
    /// `false` when no room can be expected.
    pub fn make_room(&self, has_room: impl Fn() -> bool) -> bool {
        if !self.0.shared.has_worker() {
            self.lock().work_through();
            self.look_once_more();
            return has_room();
        }
        let begun = Instant::now();
        while !has_room() && begun.elapsed() < RENDER_PATIENCE {
            self.0.shared.wake_worker();
            std::thread::sleep(Duration::from_millis(1));
        }
        has_room()
    }

    /// Where there's no analysis thread, a render does its work block by block.
    pub fn work_in_render(&self) {
        if !self.0.shared.has_worker() {
            self.lock().work_through();
            self.look_once_more();
        }
    }
}
