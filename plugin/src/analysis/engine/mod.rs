//! The analysis of one instance: reads the ring, keeps the takes, and publishes what the window shows.
//!
//! It stands behind a lock ([`Analysis`]). The analysis thread, which looks every few milliseconds, shares it with the
//! window and with the thread that saves or loads a state. The real-time audio thread never touches it.

mod access;
mod checking;
mod held;
mod phrases;
mod recording;
mod rings;
mod showing;

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Instant;

use nice_plug::util::permit_alloc;
use nice_plug_egui::RepaintNotifier;
use sumproof_core::routing::feed::Feed;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::reading::Reading;
use sumproof_core::session::span::Over;
use sumproof_core::split::Split;
use sumproof_core::split::two_pass::PassRecorder;
use sumproof_views::{Boxes, CardWords, History, TakeSummary};

use crate::analysis::job::Abandoned;
use crate::analysis::passes::Pairing;
use crate::analysis::side_work::{Order, Orders};
use crate::analysis::worker::Activity;
use crate::bridge::published::Published;
use crate::bridge::recommendations::Recommendations;
use crate::bridge::ring::{Command, Event, Frame};
use crate::bridge::shared::Shared;
use crate::parameters::params::HostParams;
use crate::parameters::settings::Settings;
use crate::state::migrate::Kept;
use crate::state::names::Names;
use crate::state::takes::{TakeId, Takes};
use crate::testing::faults::Fault;
pub use access::Analysis;
use checking::Checking;
pub use held::Added;
use phrases::PhraseWork;
use recording::{Halves, PairWork, RunningTake};
pub use rings::AnyEnd;
use rings::Attached;

/// Frames processed in one look, so that the lock is held only briefly.
const FRAMES_A_LOOK: usize = 16_384;
/// The same where no other thread waits: what arrives in the longest sleep at 192 kHz.
const FRAMES_A_LONG_LOOK: usize = 65_536;
/// The shortest phrase that becomes a take by itself, s.
const SHORTEST_TAKE_S: f64 = 4.0;
/// Length of the phrase's end over which the side-chain tells dry and wet apart, s.
const SIDE_CHAIN_S: f64 = 3.0;
/// Frames handed to the monitor at once.
const CHUNK: usize = 512;

/// What else an engine is connected to.
pub struct Links {
    /// The host's parameters.
    pub params: Arc<HostParams>,
    /// The atomics shared with the audio thread.
    pub shared: Arc<Shared>,
    /// Sends the user's own feed to the audio thread.
    pub own: triple_buffer::Input<Feed>,
    /// Sends readings to the window.
    pub published: triple_buffer::Input<Published>,
    /// Asks the window to draw.
    pub repaint: RepaintNotifier,
}

/// The engine's view of its side-chain.
#[derive(Default)]
struct SideLink {
    /// Orders not yet handed to the side-chain's work.
    orders: Vec<Order>,
    /// The live split as last read, if the reference yields one.
    split: Option<Split>,
    shown: Option<sumproof_wording::side_chain::SideChain>,
}

/// The analysis of one instance.
pub struct Engine {
    links: Links,
    end: Option<AnyEnd>,
    /// Nothing more arrives through `end`.
    closed: bool,
    /// Rings that follow it.
    coming: VecDeque<Attached>,
    monitor: Option<Monitor>,
    /// Only with a side-chain.
    side: Option<SideLink>,
    rig: Rig,
    settings: Settings,
    running: Option<RunningTake>,
    /// The sound of the take being recorded, up to the length that is kept.
    sound: Option<PassRecorder>,
    /// Frames still in the ring from before a state was loaded: no take begins in them.
    void_frames: usize,
    /// Passes being aligned and compared.
    pair_work: VecDeque<PairWork>,
    /// The latest dry and wet pass, and those that didn't make up a full one. Like their sound, kept for the session
    /// only.
    halves: Halves,
    failed_passes: Vec<TakeId>,
    /// Phrases being made into takes, in order, and the number of phrases that had ended when last checked.
    phrase_work: VecDeque<PhraseWork>,
    phrases_over: u64,
    /// The latest phrase that became a take.
    taken_phrase: u64,
    names: Names,
    /// Pair work of a project that was left: its result is dropped, and no thread waits for it.
    left_behind: Vec<Abandoned>,
    /// Result of the last pair, and the bands in which it fails, Hz.
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
    /// Summaries of the takes for the present rig, while not all are made.
    fresh: Option<Vec<TakeSummary>>,
    kept: Kept,
    message: Option<String>,
    reading: Box<Reading>,
    history: Box<History>,
    unread_frames: u64,
    /// Frames since the board was last read, and the time of that reading.
    board_frames: u64,
    board_at: Option<Instant>,
    /// A setting has changed, so the board must be read again.
    reread: bool,
    /// The causes, a sentence each.
    why: Arc<Vec<String>>,
    worse_held_frames: u64,
    read_at: Option<Instant>,
    recommendations: Arc<Recommendations>,
    pairing: Pairing,
    checking: Checking,
    counselled_at: Option<Instant>,
    /// Something changed that the window does not show yet.
    unshown: bool,
    failed: bool,
    fault: Fault,
}

impl Engine {
    /// An analysis without any sound so far.
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

    /// One look: processes some of what waits, and makes a reading if one is due.
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
            // Counts what did not fit into this look, not the block that arrived during it.
            let left_over = engine.end.as_ref().map_or(0, AnyEnd::waiting);
            // Where its findings are neither seen nor heard, the work can be put off: the ring holds seconds.
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

    /// Processes everything that waits, where there is no analysis thread. Allocates only where a take ends or the
    /// window is updated.
    pub fn work_through(&mut self) {
        self.guarded(|engine| {
            while engine.take_in(FRAMES_A_LOOK) || !engine.coming.is_empty() {
                engine.read_if_due();
            }
        });
    }

    /// Processes everything that waits, and ends a take whose recording was switched off without another block, so a
    /// state saved now holds it.
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

    /// The orders for the side-chain's work; `None` without a side-chain.
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

    /// After a panic: all work stops, and the window says so.
    fn fail(&mut self) {
        self.failed = true;
        self.links.shared.analysis_failed.store(true, Ordering::Relaxed);
    }

    /// Runs `body`. After a panic in one, all work stops and the window says so; the takes stay as they are and can be
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

    /// Only readings depend on the rig, and setting it costs as much as one. The monitor gets it before the next
    /// reading; otherwise automation would pay for every step of a gain.
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
        let watched = self.is_urgent();
        let mut stored = false;
        let Some(monitor) = &mut self.monitor else { return };
        monitor.set_watched(watched);
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

    /// Whether a window shows the findings or an audition depends on them.
    fn is_urgent(&self) -> bool {
        self.settings.audition || self.window_is_open()
    }

    fn window_is_open(&self) -> bool {
        self.links.shared.has_window()
    }
}
