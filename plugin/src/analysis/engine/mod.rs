//! The analysis of one instance: takes what crossed the ring, keeps the takes, and publishes what the window shows.
//!
//! It stands behind a lock ([`Analysis`]) that three sides share: the analysis thread, which looks in every few
//! milliseconds; the audio thread while the host renders faster than real time, where waiting is allowed and nothing may
//! be lost; and whoever saves or loads a state. The real-time audio thread never touches it.

mod checking;
mod held;
mod recording;
mod showing;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, TryLockError};
use std::time::Instant;

use nice_plug_egui::RepaintNotifier;
use sumproof_core::routing::feed::Feed;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::reading::Reading;
use sumproof_core::split::side_chain::Reference;
use sumproof_core::split::two_pass::PassRecorder;
use sumproof_views::{Boxes, History, TakeSummary};

use crate::analysis::passes::{PairJob, Pairing};
use crate::analysis::recommendations::Recommendations;
use crate::analysis::side_chain::ReferenceSide;
use crate::analysis::worker::Activity;
use crate::audio::line_check::Signal;
use crate::bridge::published::Published;
use crate::bridge::ring::{AnalysisEnd, Command, Event, Frame};
use crate::bridge::shared::Shared;
use crate::parameters::params::HostParams;
use crate::parameters::settings::Settings;
use crate::state::migrate::Kept;
use crate::state::takes::Takes;
use crate::testing::faults::Fault;
use checking::Checking;
pub use held::Added;
use recording::RunningTake;

/// Frames handled in one go, so that nobody waits long for the lock.
const FRAMES_A_LOOK: usize = 16_384;
/// The same where nobody waits for anything: what comes in the longest sleep at 192 kHz.
const FRAMES_A_LONG_LOOK: usize = 65_536;
/// Frames handed to the monitor at once.
const CHUNK: usize = 512;

/// The analysis behind its lock.
#[derive(Clone)]
pub struct Analysis(Arc<Mutex<Engine>>);

impl Analysis {
    /// Puts an engine behind a lock.
    pub fn new(engine: Engine) -> Self {
        Self(Arc::new(Mutex::new(engine)))
    }

    /// Waits for the analysis. What panicked inside is marked as such in the engine, so a poisoned lock says nothing more.
    pub fn lock(&self) -> MutexGuard<'_, Engine> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The analysis, if nobody is at it.
    pub fn lock_if_free(&self) -> Option<MutexGuard<'_, Engine>> {
        match self.0.try_lock() {
            Ok(engine) => Some(engine),
            Err(TryLockError::Poisoned(poisoned)) => Some(poisoned.into_inner()),
            Err(TryLockError::WouldBlock) => None,
        }
    }

    /// One look of the analysis thread.
    pub fn look(&self) -> Activity {
        // Somebody who is at it has sound.
        self.lock_if_free()
            .map_or(Activity::Sound, |mut engine| engine.look())
    }
}

/// The analysis' end of either kind of ring.
pub enum AnyEnd {
    /// Of the plugin without a side-chain.
    Pair(AnalysisEnd<2>),
    /// Of the one with.
    WithReference(AnalysisEnd<4>),
}

impl From<AnalysisEnd<2>> for AnyEnd {
    fn from(end: AnalysisEnd<2>) -> Self {
        Self::Pair(end)
    }
}

impl From<AnalysisEnd<4>> for AnyEnd {
    fn from(end: AnalysisEnd<4>) -> Self {
        Self::WithReference(end)
    }
}

impl AnyEnd {
    fn waiting(&self) -> usize {
        match self {
            Self::Pair(end) => end.waiting(),
            Self::WithReference(end) => end.waiting(),
        }
    }

    fn order(&mut self, signal: Box<Signal>) -> bool {
        match self {
            Self::Pair(end) => end.order(signal),
            Self::WithReference(end) => end.order(signal),
        }
    }

    fn free_spent(&mut self) {
        match self {
            Self::Pair(end) => end.free_spent(),
            Self::WithReference(end) => end.free_spent(),
        }
    }

    /// Lets everything go by unheard.
    fn discard(&mut self) {
        match self {
            Self::Pair(end) => end.drain(usize::MAX, |_| {}),
            Self::WithReference(end) => end.drain(usize::MAX, |_| {}),
        };
    }
}

/// What else an engine is connected to.
pub struct Links {
    /// The host's parameters.
    pub params: Arc<HostParams>,
    /// The words shared with the audio thread.
    pub shared: Arc<Shared>,
    /// Where the user's own feed goes to the audio thread.
    pub own: triple_buffer::Input<Feed>,
    /// Where readings go to the window.
    pub published: triple_buffer::Input<Published>,
    /// Asks the window to draw.
    pub repaint: RepaintNotifier,
}

/// The analysis of one instance.
pub struct Engine {
    links: Links,
    end: Option<AnyEnd>,
    monitor: Option<Monitor>,
    /// Only with a side-chain.
    reference: Option<ReferenceSide>,
    rig: Rig,
    settings: Settings,
    running: Option<RunningTake>,
    /// The sound of the take being recorded, as much as is kept.
    sound: Option<PassRecorder>,
    /// Passes being laid over one another.
    pair_work: Option<PairJob>,
    /// What came of the last pair, and where it fails.
    pair_said: Option<(String, Vec<[f32; 2]>)>,
    /// Name of the user's own feed; empty for none.
    own_name: String,
    boxes: Boxes,
    /// Markers pushed since the monitor's counts began.
    markers: u64,
    /// Frames came since the last gap.
    flowing: bool,
    takes: Takes,
    summaries: Arc<Vec<TakeSummary>>,
    /// Summaries of the takes and the rig as they are now, while not all are made.
    fresh: Option<Vec<TakeSummary>>,
    kept: Kept,
    message: Option<String>,
    reading: Box<Reading>,
    history: Box<History>,
    unread_frames: u64,
    worse_held_frames: u64,
    read_at: Option<Instant>,
    recommendations: Arc<Recommendations>,
    pairing: Pairing,
    checking: Checking,
    counselled_at: Option<Instant>,
    /// Something changed that the window has not been shown.
    unshown: bool,
    failed: bool,
    fault: Fault,
}

impl Engine {
    /// An analysis that has heard nothing.
    pub fn new(links: Links) -> Self {
        let settings = Settings::read(&links.params);
        Self {
            links,
            end: None,
            monitor: None,
            reference: None,
            rig: Rig::default(),
            settings,
            running: None,
            sound: None,
            pair_work: None,
            pair_said: None,
            own_name: String::new(),
            boxes: Boxes::default(),
            markers: 0,
            flowing: false,
            takes: Takes::default(),
            summaries: Arc::default(),
            fresh: None,
            kept: Kept::default(),
            message: None,
            reading: Box::default(),
            history: Box::default(),
            unread_frames: 0,
            worse_held_frames: 0,
            read_at: None,
            recommendations: Arc::default(),
            pairing: Pairing::default(),
            checking: Checking::default(),
            counselled_at: None,
            unshown: true,
            failed: false,
            fault: Fault::None,
        }
    }

    /// Begins to take frames of a sample rate from a new ring. What the old one still holds is taken first, and a take that
    /// was being recorded ends there. `reference` is what the side-chain brings, where the ring has one.
    pub fn attach(&mut self, end: AnyEnd, rate_hz: f64, reference: Reference) {
        self.settle();
        self.finish_take();
        self.checking.call_off(&self.links.shared.switch);
        if self
            .monitor
            .as_ref()
            .is_none_or(|monitor| monitor.rate_hz() != rate_hz)
        {
            let mut monitor = Monitor::new(rate_hz);
            monitor.set_integration(self.settings.integration_s);
            self.monitor = Some(monitor);
            self.markers = 0;
            self.flowing = false;
        }
        if matches!(end, AnyEnd::WithReference(_)) {
            if self
                .reference
                .as_ref()
                .is_none_or(|side| !side.fits(rate_hz, reference))
            {
                self.reference = Some(ReferenceSide::new(rate_hz, reference));
            }
            self.settings_to_reference();
        }
        self.end = Some(end);
        self.fault = Fault::from_environment();
        self.links.shared.emptied();
        self.unshown = true;
    }

    /// The host stopped for good or for now: everything is taken in, and a take ends here.
    pub fn detach(&mut self) {
        self.settle();
        self.guarded(|engine| {
            engine.finish_take();
            engine.checking.call_off(&engine.links.shared.switch);
        });
        self.unshown = true;
    }

    /// One look: some of what waits, and a reading if it is time.
    pub fn look(&mut self) -> Activity {
        self.guarded(|engine| {
            engine.fault.strike_look();
            let limit = if engine.is_urgent() {
                FRAMES_A_LOOK
            } else {
                FRAMES_A_LONG_LOOK
            };
            let came = engine.take_in(limit);
            // Not the block that came while this one was looked at, but what did not fit into the look.
            let left_over = engine.end.as_ref().map_or(0, AnyEnd::waiting);
            // Where nobody sees or hears what it finds, it may as well be found later: the ring holds seconds.
            let soon = came && (engine.is_urgent() || left_over > FRAMES_A_LOOK / 4);
            engine.work_on_reference();
            engine.gather_pair(false);
            engine.look_after_check();
            engine.read_if_due();
            soon || engine.pair_work.is_some()
                || engine.checking.is_busy()
                || engine.unshown && engine.window_is_open()
        })
        .map_or(Activity::Nothing, |busy| {
            if busy { Activity::Sound } else { Activity::Nothing }
        })
    }

    fn look_after_check(&mut self) {
        if let Some(end) = &mut self.end {
            end.free_spent();
        }
        self.unshown |= self.checking.look(&self.links.shared.switch);
    }

    /// Everything that waits. For the audio thread when the host renders offline: allocates only where a take ends or the
    /// window is shown something.
    pub fn work_through(&mut self) {
        self.guarded(|engine| {
            while engine.take_in(FRAMES_A_LOOK) {
                engine.work_on_reference();
                engine.read_if_due();
            }
        });
    }

    /// Everything that waits, and the end of a take whose recording was switched off without another block: what is saved
    /// now holds it.
    pub fn settle(&mut self) {
        self.work_through();
        if self.running.is_some() && !self.links.params.record.value() {
            self.guarded(|engine| engine.finish_take());
        }
        self.guarded(|engine| engine.gather_pair(true));
    }

    /// Runs `body`; after a panic in one, nothing runs any more and the window says so. The takes stay as they are, to be
    /// saved.
    fn guarded<R>(&mut self, body: impl FnOnce(&mut Self) -> R) -> Option<R> {
        if !self.failed {
            if let Ok(value) = catch_unwind(AssertUnwindSafe(|| body(self))) {
                return Some(value);
            }
            self.failed = true;
            self.links.shared.analysis_failed.store(true, Ordering::Relaxed);
        }
        if let Some(end) = &mut self.end {
            end.discard();
            self.links.shared.emptied();
        }
        None
    }

    #[cfg(test)]
    pub(crate) fn fail_on_purpose(&mut self) {
        self.guarded(|_| panic!("a failing analysis, on purpose"));
    }

    /// Takes in at most `limit` frames; whether anything came.
    fn take_in(&mut self, limit: usize) -> bool {
        self.follow_settings();
        let Some(mut end) = self.end.take() else {
            return false;
        };
        let (frames, commands) = match &mut end {
            AnyEnd::Pair(end) => end.drain(limit, |event| self.on_event(event)),
            AnyEnd::WithReference(end) => end.drain(limit, |event| self.on_event(event)),
        };
        if end.waiting() == 0 {
            self.links.shared.emptied();
        }
        self.end = Some(end);
        frames + commands > 0
    }

    fn on_event<const C: usize>(&mut self, event: Event<'_, C>) {
        match event {
            Event::Frames(run) => self.process_frames(run),
            Event::Command(command) => self.apply(command),
        }
    }

    /// The response is only wanted where somebody sees or hears what it tells.
    fn work_on_reference(&mut self) {
        let wanted = self.window_is_open() || self.settings.audition || self.running.is_some();
        if let (Some(side), true) = (&mut self.reference, wanted) {
            side.work();
        }
    }

    fn settings_to_reference(&mut self) {
        if let Some(side) = &mut self.reference {
            side.set(self.settings.split_s, self.settings.integration_s);
        }
    }

    fn follow_settings(&mut self) {
        let settings = Settings::read(&self.links.params);
        if settings == self.settings {
            return;
        }
        self.settings = settings;
        self.unshown = true;
        if let Some(monitor) = &mut self.monitor {
            monitor.set_integration(settings.integration_s);
        }
        self.settings_to_reference();
        let rig = Rig {
            lines: settings.lines,
            law: settings.law,
            ..self.rig
        };
        self.set_rig(rig);
    }

    /// Only readings depend on the rig, and setting it costs as much as one: the monitor is told when it is next read, or
    /// automation would pay for every step of a gain.
    fn set_rig(&mut self, rig: Rig) {
        if rig != self.rig {
            self.rig = rig;
            self.sum_up_anew();
        }
    }

    fn process_frames<const C: usize>(&mut self, frames: &[Frame<C>]) {
        self.checking.process_frames(frames);
        let Some(monitor) = &mut self.monitor else { return };
        let mut lanes = [[0.0f32; CHUNK]; C];
        for chunk in frames.chunks(CHUNK) {
            for (at, frame) in chunk.iter().enumerate() {
                for (lane, &sample) in lanes.iter_mut().zip(frame) {
                    lane[at] = sample;
                }
            }
            let lane = |index: usize| lanes.get(index).map_or(&[][..], |lane| &lane[..chunk.len()]);
            monitor.push(lane(0), lane(1));
            if let Some(sound) = &mut self.sound {
                sound.push(lane(0), lane(1));
            }
            if let Some(side) = &mut self.reference {
                side.push(lane(2), lane(3), lane(0), lane(1));
            }
        }
        self.flowing = true;
        self.unread_frames += frames.len() as u64;
        self.worse_held_frames = self.worse_held_frames.saturating_sub(frames.len() as u64);
    }

    fn apply(&mut self, command: Command) {
        match command {
            Command::StartTake(pass) => self.start_take(pass),
            Command::StopTake => self.finish_take(),
            Command::Break => self.mark_gap(),
            Command::Lost(_) => {
                self.checking.lost();
                self.mark_gap();
            }
            Command::CheckBegins(run) => self.checking.begins(run),
            Command::CheckEnds(run, why) => self.checking.ends(run, why),
        }
        self.unshown = true;
    }

    /// Somebody sees or hears what the analysis finds.
    fn is_urgent(&self) -> bool {
        self.settings.audition || self.window_is_open()
    }

    fn window_is_open(&self) -> bool {
        self.links.shared.has_window()
    }
}
