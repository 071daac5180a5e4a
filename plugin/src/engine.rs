//! The analysis of one instance: takes what crossed the seam, keeps the takes, and publishes what the window shows.
//!
//! It stands behind a lock ([`Analysis`]) that three sides share: the analysis thread, which looks in every few
//! milliseconds; the audio thread while the host renders faster than real time, where waiting is allowed and nothing may
//! be lost; and whoever saves or loads a state. The real-time audio thread never touches it.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, TryLockError};
use std::time::{Duration, Instant};

use nice_plug::util::permit_alloc;
use nice_plug_egui::RepaintNotifier;
use sumproof_core::board::Rig;
use sumproof_core::feed::{Feed, Side};
use sumproof_core::monitor::Monitor;
use sumproof_core::outcome::Limits;
use sumproof_core::reading::Reading;
use sumproof_core::sidechain::Reference;
use sumproof_core::take::{Pass, Take};
use sumproof_core::twopass::PassRecorder;
use sumproof_views::{Boxes, History, OwnFeed, Passes, TakeSummary};

use crate::choices::PassChoice;
use crate::counsel::Counsel;
use crate::pairing::{Outcome, Paired, Pairing, Work};
use crate::params::HostParams;
use crate::published::{Published, summary};
use crate::reference::ReferenceSide;
use crate::seam::{AnalysisEnd, Command, Event, Frame};
use crate::settings::Settings;
use crate::shared::Shared;
use crate::state::Kept;
use crate::takes::{StoredTakes, Takes};
use crate::worker::Found;

/// Advice and margin follow the sound this often: they cost more than a reading, and nobody acts on them faster.
const COUNSEL_EVERY: Duration = Duration::from_secs(1);

/// Frames handled in one go, so that nobody waits long for the lock.
const FRAMES_A_LOOK: usize = 16_384;
/// Frames handed to the monitor at once.
const CHUNK: usize = 512;
/// Time between two readings for the window.
const WINDOW_PERIOD: Duration = Duration::from_millis(40);
/// Sound between two readings for the audition, s.
const AUDITION_PERIOD_S: f64 = 0.1;
/// Sound for which the audition keeps to the line that was found the worse, s, so that near-equals do not alternate.
const WORSE_HELD_S: f64 = 3.0;
/// Takes summed up in one look.
const SUMMARIES_A_LOOK: usize = 4;

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

    /// One look of the analysis thread.
    pub fn look(&self) -> Found {
        match self.0.try_lock() {
            Ok(mut engine) => engine.look(),
            Err(TryLockError::Poisoned(poisoned)) => poisoned.into_inner().look(),
            // Somebody is at it: there is sound.
            Err(TryLockError::WouldBlock) => Found::Sound,
        }
    }
}

/// The analysis' end of either kind of seam.
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

    /// Lets everything go by unheard.
    fn discard(&mut self) {
        match self {
            Self::Pair(end) => end.drain(usize::MAX, |_| {}),
            Self::WithReference(end) => end.drain(usize::MAX, |_| {}),
        };
    }
}

/// What became of takes from elsewhere.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Added {
    /// They are here now.
    pub added: usize,
    /// They were here already.
    pub known: usize,
    /// There was no room for them.
    pub no_room: usize,
}

/// A take being recorded.
#[derive(Debug, Clone, Copy)]
struct Running {
    pass: Pass,
    /// Markers pushed where frames are missing; the monitor counts them as garbage.
    markers: u64,
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
    running: Option<Running>,
    /// The sound of the take being recorded, as much as is kept.
    sound: Option<PassRecorder>,
    /// Passes being laid over one another.
    pair_work: Option<Work>,
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
    counsel: Arc<Counsel>,
    pairing: Pairing,
    counselled_at: Option<Instant>,
    /// Something changed that the window has not been shown.
    unshown: bool,
    failed: bool,
}

/// Keeps the take of a pair, and says what there is to say.
fn kept(takes: &mut Takes, paired: Paired) -> String {
    let Some(take) = paired.take else {
        return paired.line;
    };
    let replaced = paired
        .instead_of
        .is_some_and(|name| takes.replace(&name, take.clone()));
    if replaced || takes.add(take) {
        paired.line
    } else {
        String::from("No room for the take of both passes: delete one and record again.")
    }
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
            counsel: Arc::default(),
            pairing: Pairing::default(),
            counselled_at: None,
            unshown: true,
            failed: false,
        }
    }

    /// Begins to take frames of a sample rate from a new seam. What the old one still holds is taken first, and a take that
    /// was being recorded ends there. `reference` is what the side-chain brings, where the seam has one.
    pub fn attach(&mut self, end: AnyEnd, rate_hz: f64, reference: Reference) {
        self.settle();
        self.finish_take();
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
        self.links.shared.emptied();
        self.unshown = true;
    }

    /// The host stopped for good or for now: everything is taken in, and a take ends here.
    pub fn detach(&mut self) {
        self.settle();
        self.guarded(|engine| engine.finish_take());
    }

    /// One look: some of what waits, and a reading if it is time.
    pub fn look(&mut self) -> Found {
        self.guarded(|engine| {
            let came = engine.take_in(FRAMES_A_LOOK);
            engine.work_on_reference();
            engine.gather_pair(false);
            engine.read_if_due();
            came || engine.pair_work.is_some() || engine.unshown && engine.window_is_open()
        })
        .map_or(
            Found::Nothing,
            |busy| if busy { Found::Sound } else { Found::Nothing },
        )
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
            AnyEnd::Pair(end) => end.drain(limit, |event| self.meet(event)),
            AnyEnd::WithReference(end) => end.drain(limit, |event| self.meet(event)),
        };
        if end.waiting() == 0 {
            self.links.shared.emptied();
        }
        self.end = Some(end);
        frames + commands > 0
    }

    fn meet<const C: usize>(&mut self, event: Event<'_, C>) {
        match event {
            Event::Frames(run) => self.hear(run),
            Event::Command(command) => self.obey(command),
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

    fn hear<const C: usize>(&mut self, frames: &[Frame<C>]) {
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

    fn obey(&mut self, command: Command) {
        match command {
            Command::StartTake(pass) => self.start_take(pass),
            Command::StopTake => self.finish_take(),
            Command::Break | Command::Lost(_) => self.mark_gap(),
        }
        self.unshown = true;
    }

    fn start_take(&mut self, pass: PassChoice) {
        self.finish_take();
        let Some(monitor) = &mut self.monitor else { return };
        if !self.takes.has_room() {
            let count = self.takes.len();
            let line = permit_alloc(|| {
                format!("There are {count} takes, the most there can be: delete one to record another.")
            });
            self.say(line);
            return;
        }
        monitor.start_take();
        let pass = match pass {
            PassChoice::Full => Pass::Full,
            PassChoice::Dry => Pass::Dry,
            PassChoice::Wet => Pass::Wet,
        };
        // A dry or a wet pass is a half: there's nothing to tell apart in it.
        if let Some(side) = self.reference.as_mut().filter(|_| pass == Pass::Full) {
            side.start_take();
        }
        let rate_hz = monitor.rate_hz();
        permit_alloc(|| self.sound = Some(PassRecorder::new(rate_hz)));
        self.running = Some(Running { pass, markers: 0 });
    }

    fn finish_take(&mut self) {
        if self.running.is_some() {
            // One pair at a time.
            self.gather_pair(true);
        }
        let (Some(running), Some(monitor)) = (self.running.take(), &mut self.monitor) else {
            return;
        };
        let takes = &mut self.takes;
        let reference = &mut self.reference;
        let said = permit_alloc(|| {
            let Some(mut take) = monitor.finish_take(takes.next_name(), running.pass) else {
                reference.iter_mut().for_each(ReferenceSide::drop_take);
                self.sound = None;
                return None;
            };
            take.garbage_frames = take.garbage_frames.saturating_sub(running.markers);
            let by_reference = reference.as_mut().and_then(|side| side.finish_take(&mut take));
            // Where frames are missing, no sound lies over another.
            let sound = self.sound.take().filter(|_| running.markers == 0);
            let outcome = self.pairing.heard(&take, sound);
            // There was room when the take began.
            let _ = takes.add(take);
            match outcome {
                Outcome::Waits => {
                    if running.pass != Pass::Full {
                        self.pair_said = None;
                    }
                    by_reference
                }
                Outcome::Now(paired) => {
                    let failing = paired.failing.clone();
                    let line = kept(takes, *paired);
                    self.pair_said = Some((line.clone(), failing));
                    Some(line)
                }
                Outcome::Later(work) => {
                    self.pair_work = Some(work);
                    Some(String::from("Laying your passes over one another\u{2026}"))
                }
            }
        });
        if let Some(line) = said {
            self.say(line);
        }
        self.sum_up_anew();
    }

    /// Stores what came of passes being laid over one another, if it is done, or once it is.
    fn gather_pair(&mut self, wait: bool) {
        if let Some(work) = self.pair_work.take_if(|work| wait || work.is_done()) {
            permit_alloc(|| {
                self.pair_said = work.finish().map(|paired| {
                    let failing = paired.failing.clone();
                    (kept(&mut self.takes, paired), failing)
                });
                // Where nothing came of it, the line that it is being done no longer holds.
                self.message = self.pair_said.as_ref().map(|(line, _)| line.clone());
            });
            self.sum_up_anew();
        }
    }

    /// What comes next does not follow what came: a frame that is no sound breaks every average there, as garbage does.
    fn mark_gap(&mut self) {
        let (Some(monitor), true) = (&mut self.monitor, self.flowing) else {
            return;
        };
        self.flowing = false;
        monitor.push(&[f32::NAN], &[f32::NAN]);
        self.markers += 1;
        if let Some(running) = &mut self.running {
            running.markers += 1;
        }
    }

    fn window_is_open(&self) -> bool {
        self.links.shared.has_window()
    }

    fn read_if_due(&mut self) {
        let rate_hz = self.monitor.as_ref().map_or(48_000.0, Monitor::rate_hz);
        let heard_s = self.unread_frames as f64 / rate_hz;
        let audition = self.settings.audition && heard_s >= AUDITION_PERIOD_S;
        let window = self.window_is_open()
            && (self.unread_frames > 0 || self.unshown)
            && self.read_at.is_none_or(|at| at.elapsed() >= WINDOW_PERIOD);
        if audition || window {
            self.read(heard_s);
        }
        if window {
            permit_alloc(|| {
                self.sum_up(SUMMARIES_A_LOOK);
                if self.counselled_at.is_none_or(|at| at.elapsed() >= COUNSEL_EVERY) {
                    self.take_counsel();
                }
                self.publish();
            });
            self.read_at = Some(Instant::now());
        }
    }

    /// Everything at once, for a window that has just opened or a user who has just changed something.
    pub fn show_now(&mut self) {
        self.guarded(|engine| {
            engine.follow_settings();
            engine.read(0.0);
            engine.sum_up(SUMMARIES_A_LOOK);
            engine.take_counsel();
            engine.publish();
        });
    }

    fn read(&mut self, heard_s: f64) {
        let Some(monitor) = &mut self.monitor else { return };
        monitor.set_rig(&self.rig);
        let told = self.reference.as_mut().and_then(ReferenceSide::read);
        monitor.read_told(self.settings.feed, told, &mut self.reading);
        self.reading.garbage_frames = self.reading.garbage_frames.saturating_sub(self.markers);
        self.reading.frames = self.reading.frames.saturating_sub(self.markers);
        self.unread_frames = 0;
        if heard_s > 0.0 {
            let meter = self.links.shared.correlation.load(Ordering::Relaxed);
            self.history.push(
                heard_s,
                &self.reading,
                Some(meter).filter(|value| value.is_finite()),
            );
        }
        let row = self.reading.row(self.settings.feed);
        // In silence there is no score, and match and side stay where they are.
        if let Some(score) = row.score {
            if score.level_lu.is_finite() {
                self.links
                    .shared
                    .match_db
                    .store(-score.level_lu as f32, Ordering::Relaxed);
            }
            let right = row.worse == Some(Side::Right);
            if right != self.links.shared.fault_in_right.load(Ordering::Relaxed)
                && self.worse_held_frames == 0
            {
                self.links.shared.fault_in_right.store(right, Ordering::Relaxed);
                self.worse_held_frames = (WORSE_HELD_S * self.reading.rate_hz) as u64;
            }
        }
    }

    /// Brings the takes' figures to the present rig, some at a time: while a line's delay is being dragged they start over
    /// with every step.
    fn sum_up(&mut self, most: usize) {
        let Some(mut fresh) = self.fresh.take() else {
            return;
        };
        let rig = self.rig;
        fresh.extend(
            self.takes
                .iter()
                .skip(fresh.len())
                .take(most)
                .map(|take| summary(take, &rig)),
        );
        if fresh.len() < self.takes.len() {
            self.fresh = Some(fresh);
        } else {
            self.summaries = Arc::new(fresh);
        }
    }

    /// Works out what to do about the sound as it was last read, and how much it can take.
    fn take_counsel(&mut self) {
        self.counselled_at = Some(Instant::now());
        // In silence the last advice stands: it is about the preset, and the player has only stopped to read it.
        if let Some(monitor) = self
            .monitor
            .as_ref()
            .filter(|_| self.reading.wet_over_dry_db.is_some())
        {
            self.counsel = Arc::new(Counsel::on(monitor, &self.reading));
        }
    }

    fn publish(&mut self) {
        let shared = &self.links.shared;
        self.unshown = self.fresh.is_some();
        self.links.published.write(Published {
            reading: *self.reading,
            history: (*self.history).clone(),
            takes: Arc::clone(&self.summaries),
            deleted: self.takes.removed().map(String::from),
            unread_takes: self.takes.unread(),
            newer_state: (!self.kept.from.is_empty()).then(|| self.kept.from.clone()),
            message: self.message.clone().or_else(|| self.kept.notice()),
            lost_frames: shared.lost_frames.load(Ordering::Relaxed),
            counsel: Arc::clone(&self.counsel),
            side_chain: self.reference.as_ref().map(ReferenceSide::shown),
            own: self.own_feed(),
            limits: self.rig.limits,
            boxes: self.boxes,
            passes: Passes {
                working: self.pair_work.is_some(),
                said: self.pair_said.as_ref().map(|(line, _)| line.clone()),
                failing: self
                    .pair_said
                    .as_ref()
                    .map(|(_, failing)| failing.clone())
                    .unwrap_or_default(),
                ..self.pairing.waiting()
            },
        });
        self.links.repaint.request_repaint();
    }

    fn sum_up_anew(&mut self) {
        self.fresh.get_or_insert_default().clear();
        self.unshown = true;
    }

    /// Says one line in the window.
    pub fn say(&mut self, message: String) {
        // The line before it is freed.
        permit_alloc(|| self.message = Some(message));
        self.unshown = true;
    }

    /// Forgets the live averages, the lowest value and the counts.
    pub fn reset(&mut self) {
        if let Some(monitor) = &mut self.monitor {
            monitor.reset();
        }
        if let Some(side) = &mut self.reference {
            side.reset();
        }
        self.markers = 0;
        self.message = None;
        self.history.reset();
        self.counsel = Arc::default();
        self.unshown = true;
    }

    /// The takes, to look at.
    pub fn takes(&self) -> &Takes {
        &self.takes
    }

    /// The takes, to change.
    pub fn takes_mut(&mut self) -> &mut Takes {
        self.sum_up_anew();
        &mut self.takes
    }

    /// Adds takes from elsewhere, as many as there is room for, but none twice.
    pub fn add_takes(&mut self, takes: Vec<Take>) -> Added {
        let mut done = Added::default();
        for mut take in takes {
            take.name = crate::takes::as_name(&take.name);
            let same = |other: &Take| {
                (&other.name, other.sums, other.pass, other.method())
                    == (&take.name, take.sums, take.pass, take.method())
            };
            if self.takes.iter().any(same) {
                done.known += 1;
            } else if self.takes.add(take) {
                done.added += 1;
            } else {
                done.no_room += 1;
            }
        }
        self.sum_up_anew();
        done
    }

    /// The rig that readings are for.
    pub fn rig(&self) -> Rig {
        self.rig
    }

    /// Replaces the takes by stored ones.
    pub fn load_takes(&mut self, stored: StoredTakes) {
        *self.takes_mut() = Takes::from_stored(stored);
    }

    /// The user's own feed.
    pub fn own(&self) -> Feed {
        self.rig.own
    }

    /// Changes the user's own feed, brought into range.
    pub fn set_own(&mut self, own: Feed) {
        let rig = Rig { own, ..self.rig }.clamped();
        self.links.own.write(rig.own);
        self.set_rig(rig);
    }

    /// The user's own feed with its name.
    pub fn own_feed(&self) -> OwnFeed {
        OwnFeed {
            name: self.own_name.clone(),
            feed: self.rig.own,
        }
    }

    /// Its name; empty for none.
    pub fn own_name(&self) -> &str {
        &self.own_name
    }

    /// Names the user's own feed: a line of text, cut where it is too long.
    pub fn set_own_name(&mut self, name: &str) {
        let name = name.trim().chars().filter(|c| !c.is_control());
        self.own_name = name.take(OwnFeed::LONGEST_NAME).collect();
        self.unshown = true;
    }

    /// The kinds of box on the lines, which are only remembered: what they make of a line is in its parameters.
    pub fn boxes(&self) -> Boxes {
        self.boxes
    }

    /// Remembers the kinds of box on the lines.
    pub fn set_boxes(&mut self, boxes: Boxes) {
        self.boxes = boxes;
        self.unshown = true;
    }

    /// The limits between the outcomes.
    pub fn limits(&self) -> Limits {
        self.rig.limits
    }

    /// Changes the limits, brought into range.
    pub fn set_limits(&mut self, limits: Limits) {
        self.set_rig(Rig {
            limits: limits.clamped(),
            ..self.rig
        });
    }

    /// What is kept of a newer version.
    pub fn kept(&self) -> &Kept {
        &self.kept
    }

    /// Takes over what a loaded state kept.
    pub fn set_kept(&mut self, kept: Kept) {
        self.kept = kept;
        self.message = None;
        self.unshown = true;
    }
}
