//! The analysis of one instance: takes what crossed the ring, keeps the takes, and publishes what the window shows.
//!
//! It stands behind a lock ([`Analysis`]) that the analysis thread, which looks in every few milliseconds, shares with whoever
//! saves or loads a state and with the window. All work is that thread's: a host's thread hands over and takes away, and where it
//! wants what is on its way (when it saves, and when it renders faster than real time and the ring is full) it waits without
//! working. The real-time audio thread never touches the lock. What takes long, a side-chain's response, is worked out without it
//! ([`crate::analysis::side_work`]).

mod checking;
mod held;
mod phrases;
mod recording;
mod showing;

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, TryLockError};
use std::time::{Duration, Instant};

use nice_plug::util::permit_alloc;
use nice_plug_egui::RepaintNotifier;
use sumproof_core::routing::feed::Feed;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::reading::Reading;
use sumproof_core::session::span::Over;
use sumproof_core::split::Split;
use sumproof_core::split::side_chain::Reference;
use sumproof_core::split::two_pass::PassRecorder;
use sumproof_views::{Boxes, CardWords, History, TakeSummary};

use crate::analysis::job::Abandoned;
use crate::analysis::passes::Pairing;
use crate::analysis::recommendations::Recommendations;
use crate::analysis::side_work::{Order, Orders, SideWork};
use crate::analysis::worker::Activity;
use crate::audio::line_check::Signal;
use crate::bridge::published::Published;
use crate::bridge::ring::{AnalysisEnd, Command, Event, Frame};
use crate::bridge::shared::Shared;
use crate::parameters::params::HostParams;
use crate::parameters::settings::Settings;
use crate::state::migrate::Kept;
use crate::state::names::Names;
use crate::state::takes::{TakeId, Takes};
use crate::testing::faults::Fault;
use checking::Checking;
pub use held::Added;
use phrases::PhraseWork;
use recording::{Halves, PairWork, RunningTake};

/// Frames handled in one go, so that nobody waits long for the lock.
const FRAMES_A_LOOK: usize = 16_384;
/// The same where nobody waits for anything: what comes in the longest sleep at 192 kHz.
const FRAMES_A_LONG_LOOK: usize = 65_536;
/// A shorter phrase doesn't become a take by itself, s.
const SHORTEST_TAKE_S: f64 = 4.0;
/// The side-chain tells dry and wet apart over about the last so many seconds of a phrase, s.
const SIDE_CHAIN_S: f64 = 3.0;
/// Frames handed to the monitor at once.
const CHUNK: usize = 512;
/// First and longest pause between two looks of a host's thread at what it waits for.
const LOOK_EVERY: (Duration, Duration) = (Duration::from_millis(1), Duration::from_millis(32));
/// A host that saves waits at most so long for what is on its way: it takes milliseconds, unless others have the machine. Where nobody
/// comes, in a test that counts what a host's call does by itself, there's no point in that.
const PATIENCE: Duration = if cfg!(test) {
    Duration::from_millis(50)
} else {
    Duration::from_secs(5)
};
/// One that renders waits so long for room; then the analysis must have died.
const RENDER_PATIENCE: Duration = Duration::from_secs(20);

/// The analysis behind its locks: one of the engine, which nobody holds for long, and one of the side-chain's work, which takes
/// long and which only the analysis thread waits for.
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

    /// Waits for the analysis. What panicked inside is marked as such in the engine, so a poisoned lock says nothing more.
    pub fn lock(&self) -> MutexGuard<'_, Engine> {
        self.0.engine.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A state was loaded: what it switches on is heard, and recorded, only when somebody switches it on after that.
    pub fn disarm(&self) {
        let settings = Settings::read(&self.0.params);
        self.0.shared.arming.loaded(settings.switches());
    }

    /// The analysis, if nobody is at it.
    pub fn lock_if_free(&self) -> Option<MutexGuard<'_, Engine>> {
        match self.0.engine.try_lock() {
            Ok(engine) => Some(engine),
            Err(TryLockError::Poisoned(poisoned)) => Some(poisoned.into_inner()),
            Err(TryLockError::WouldBlock) => None,
        }
    }

    /// One look of the analysis thread.
    pub fn look(&self) -> Activity {
        // Somebody who is at it has sound.
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

    /// One look in which something else happens before what the side-chain's work came to is taken over.
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

    /// The side-chain's work, without the engine's lock. Says whether there's more to do at once.
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

    /// Lets the analysis take in what waits, for somebody who wants what it makes of it. Where the analysis thread runs, this only
    /// waits for it, and not for long: whoever calls is a host.
    pub fn catch_up(&self) {
        if !self.0.shared.has_worker() {
            self.lock().settle();
            while self.look_once_more() {}
            return;
        }
        self.0.shared.wanted_settled.store(true, Ordering::Release);
        let begun = Instant::now();
        // Every look costs the host's thread something, and a long wait would be thousands of them.
        let mut pause = LOOK_EVERY.0;
        while self.0.shared.wanted_settled.load(Ordering::Acquire) && begun.elapsed() < PATIENCE {
            self.0.shared.wake_worker();
            std::thread::sleep(pause);
            pause = (2 * pause).min(LOOK_EVERY.1);
        }
    }

    /// Without an analysis thread, whoever wants something does its work.
    fn look_once_more(&self) -> bool {
        let orders = self.lock().take_orders();
        orders.is_some_and(|orders| self.work_on_side(orders))
    }

    /// For a host that renders: takes in what waits, or waits until the analysis thread has taken in some of it. False when there's
    /// no hope of that.
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

    /// Whether there is nothing left in it.
    fn is_empty(&mut self) -> bool {
        match self {
            Self::Pair(end) => end.is_empty(),
            Self::WithReference(end) => end.is_empty(),
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

/// A ring that was handed over, and what comes through it.
struct Attached {
    end: AnyEnd,
    rate_hz: f64,
    reference: Reference,
    /// Nothing more comes through it.
    closed: bool,
}

/// What the engine knows of its side-chain.
#[derive(Default)]
struct SideLink {
    /// What its work has not been told.
    orders: Vec<Order>,
    /// The live split as it was last read, if the reference tells one.
    split: Option<Split>,
    shown: Option<sumproof_wording::side_chain::SideChain>,
}

/// The analysis of one instance.
pub struct Engine {
    links: Links,
    end: Option<AnyEnd>,
    /// Nothing more comes through `end`.
    closed: bool,
    /// Rings that come after it.
    coming: VecDeque<Attached>,
    monitor: Option<Monitor>,
    /// Only with a side-chain.
    side: Option<SideLink>,
    rig: Rig,
    settings: Settings,
    running: Option<RunningTake>,
    /// The sound of the take being recorded, as much as is kept.
    sound: Option<PassRecorder>,
    /// Frames that wait from before a state was loaded: no take begins in them.
    void_frames: usize,
    /// Passes being laid over one another.
    pair_work: VecDeque<PairWork>,
    /// The dry and the wet pass recorded last, and those that didn't make up a full one: for the session, as their sound is.
    halves: Halves,
    failed_passes: Vec<TakeId>,
    /// Phrases that become takes, in order, and how many phrases were over when that was last looked at.
    phrase_work: VecDeque<PhraseWork>,
    phrases_over: u64,
    /// The phrase that became a take last.
    taken_phrase: u64,
    names: Names,
    /// The same of a project that was left: of no interest, and waited for by nobody.
    left_behind: Vec<Abandoned>,
    /// What came of the last pair, and where it fails.
    pair_said: Option<(String, Vec<[f32; 2]>)>,
    /// Name of the user's own feed; empty for none.
    own_name: String,
    boxes: Boxes,
    card: CardWords,
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
    /// Frames since the board was read, and when that was.
    board_frames: u64,
    board_at: Option<Instant>,
    /// What was set since asks for another reading of the board.
    reread: bool,
    /// Why it is so, in sentences.
    why: Arc<Vec<String>>,
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
            closed: false,
            coming: VecDeque::new(),
            monitor: None,
            side: None,
            rig: Rig::default(),
            settings,
            running: None,
            sound: None,
            void_frames: 0,
            pair_work: VecDeque::new(),
            halves: Halves::default(),
            failed_passes: Vec::new(),
            phrase_work: VecDeque::new(),
            phrases_over: 0,
            taken_phrase: 0,
            names: Names::default(),
            left_behind: Vec::new(),
            pair_said: None,
            own_name: String::new(),
            boxes: Boxes::default(),
            card: CardWords::default(),
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
            board_frames: 0,
            board_at: None,
            reread: true,
            why: Arc::default(),
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

    /// A new ring, and the sample rate of what comes through it. What the old one still holds is taken in first, and a take that was
    /// being recorded ends there. `reference` is what the side-chain brings, where the ring has one.
    pub fn attach(&mut self, end: AnyEnd, rate_hz: f64, reference: Reference) {
        self.detach();
        self.coming.push_back(Attached {
            end,
            rate_hz,
            reference,
            closed: false,
        });
        self.fault = Fault::from_environment();
        if self.links.shared.has_worker() {
            self.links.shared.wake_worker();
        } else {
            self.work_through();
        }
        self.unshown = true;
    }

    /// The host stopped for good or for now: what waits is still taken in, and a take ends there.
    pub fn detach(&mut self) {
        match self.coming.back_mut() {
            Some(last) => last.closed = true,
            None => self.closed = self.end.is_some(),
        }
        self.guarded(|engine| engine.checking.call_off(&engine.links.shared.switch));
        self.unshown = true;
    }

    /// Goes on to the next ring, where nothing comes through this one any more.
    fn change_rings(&mut self) {
        if self.closed && self.end.as_mut().is_none_or(AnyEnd::is_empty) {
            self.finish_take();
            self.end = None;
            self.closed = false;
        }
        if self.end.is_none()
            && let Some(attached) = self.coming.pop_front()
        {
            permit_alloc(|| self.open(attached));
        }
    }

    fn open(&mut self, attached: Attached) {
        let Attached {
            end,
            rate_hz,
            reference,
            closed,
        } = attached;
        if self
            .monitor
            .as_ref()
            .is_none_or(|monitor| monitor.rate_hz() != rate_hz)
        {
            let mut monitor = Monitor::new(rate_hz);
            monitor.set_over(self.settings.over);
            monitor.set_kind(self.settings.preset);
            self.monitor = Some(monitor);
            self.markers = 0;
            self.flowing = false;
            self.phrases_over = 0;
            self.taken_phrase = 0;
        }
        if matches!(end, AnyEnd::WithReference(_)) {
            let side = self.side.get_or_insert_default();
            side.split = None;
            side.orders.push(Order::Attach(rate_hz, reference));
            self.settings_to_side();
        }
        self.end = Some(end);
        self.closed = closed;
        self.links.shared.emptied();
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
            if engine.links.shared.wanted_settled.load(Ordering::Acquire) {
                engine.settle_now();
                engine.links.shared.wanted_settled.store(false, Ordering::Release);
            }
            // Not the block that came while this one was looked at, but what did not fit into the look.
            let left_over = engine.end.as_ref().map_or(0, AnyEnd::waiting);
            // Where nobody sees or hears what it finds, it may as well be found later: the ring holds seconds.
            let soon = came && (engine.is_urgent() || left_over > FRAMES_A_LOOK / 4);
            engine.gather_pairs();
            engine.gather_phrases();
            engine.look_after_check();
            engine.read_if_due();
            soon || !engine.pair_work.is_empty()
                || !engine.phrase_work.is_empty()
                || !engine.coming.is_empty()
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

    /// Everything that waits, where there's no analysis thread: allocates only where a take ends or the
    /// window is shown something.
    pub fn work_through(&mut self) {
        self.guarded(|engine| {
            while engine.take_in(FRAMES_A_LOOK) || !engine.coming.is_empty() {
                engine.read_if_due();
            }
        });
    }

    /// Everything that waits, and the end of a take whose recording was switched off without another block: what is saved
    /// now holds it.
    pub fn settle(&mut self) {
        self.guarded(Self::settle_now);
    }

    fn settle_now(&mut self) {
        while self.take_in(FRAMES_A_LOOK) || !self.coming.is_empty() {
            self.read_if_due();
        }
        if self.running.is_some() && !self.links.params.record.value() {
            self.finish_take();
        }
        self.gather_pairs();
        self.gather_phrases();
    }

    /// What the side-chain's work is to do, where there is one.
    fn take_orders(&mut self) -> Option<Orders> {
        let watched = self.is_urgent();
        let side = self.side.as_mut().filter(|_| !self.failed)?;
        Some(Orders {
            orders: std::mem::take(&mut side.orders),
            watched,
            wanted: watched || self.running.is_some(),
            live: self.links.shared.pulse.is_real_time(),
        })
    }

    fn order(&mut self, order: Order) {
        if let Some(side) = &mut self.side {
            permit_alloc(|| side.orders.push(order));
        }
    }

    /// Something panicked: nothing runs any more, and the window says so.
    fn fail(&mut self) {
        self.failed = true;
        self.links.shared.analysis_failed.store(true, Ordering::Relaxed);
    }

    /// Runs `body`; after a panic in one, nothing runs any more and the window says so. The takes stay as they are, to be
    /// saved.
    fn guarded<R>(&mut self, body: impl FnOnce(&mut Self) -> R) -> Option<R> {
        if !self.failed {
            if let Ok(value) = catch_unwind(AssertUnwindSafe(|| body(self))) {
                return Some(value);
            }
            self.fail();
        }
        self.links.shared.wanted_settled.store(false, Ordering::Release);
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
        self.change_rings();
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

    fn settings_to_side(&mut self) {
        let split_s = self.settings.split_s;
        let integration_s = match self.settings.over {
            Over::Phrase => SIDE_CHAIN_S,
            Over::Seconds(seconds) => seconds,
        };
        self.order(Order::Settings(split_s, integration_s));
    }

    fn follow_settings(&mut self) {
        let settings = Settings::read(&self.links.params);
        if settings == self.settings {
            return;
        }
        self.settings = settings;
        self.unshown = true;
        if let Some(monitor) = &mut self.monitor {
            monitor.set_over(settings.over);
            monitor.set_kind(settings.preset);
        }
        self.reread = true;
        self.settings_to_side();
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
            self.reread = true;
            self.sum_up_anew();
        }
    }

    fn process_frames<const C: usize>(&mut self, frames: &[Frame<C>]) {
        self.checking.process_frames(frames);
        let keeps_phrases = self.keeps_phrases();
        let mut stored = false;
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
            let (over, seconds) = monitor.phrases_over();
            if over != self.phrases_over {
                self.phrases_over = over;
                if keeps_phrases && seconds >= SHORTEST_TAKE_S {
                    let kept = Self::phrase_to_take(
                        monitor,
                        &mut self.taken_phrase,
                        &mut self.names,
                        &mut self.takes,
                    );
                    stored |= kept.is_some();
                    permit_alloc(|| self.phrase_work.extend(kept));
                }
            }
            if let Some(sound) = &mut self.sound {
                sound.push(lane(0), lane(1));
            }
        }
        if let (Some(side), 4) = (&mut self.side, C) {
            let of_side = |frame: &Frame<C>| [2, 3, 0, 1].map(|lane| frame.get(lane).copied().unwrap_or(0.0));
            permit_alloc(|| {
                side.orders
                    .push(Order::Frames(frames.iter().map(of_side).collect()));
            });
        }
        self.void_frames = self.void_frames.saturating_sub(frames.len());
        self.flowing = true;
        self.unread_frames += frames.len() as u64;
        self.board_frames += frames.len() as u64;
        self.worse_held_frames = self.worse_held_frames.saturating_sub(frames.len() as u64);
        if stored {
            self.sum_up_anew();
        }
    }

    fn apply(&mut self, command: Command) {
        match command {
            Command::StartTake(pass) => self.start_take(pass),
            Command::StopTake => self.finish_take(),
            Command::TakePhrase => self.take_phrase(),
            Command::NextName => self.skip_name(),
            Command::Program(program) => self.names.play(program),
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
