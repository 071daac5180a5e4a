//! The audio thread's side of one instance.
//!
//! # Real-time
//! [`AudioSide::process`] and [`AudioSide::reset`] allocate nothing, lock nothing and make no system call, and every
//! block costs the same. The exception is a host that renders offline (it says so, or outruns the clock) while the ring
//! is full: no deadline applies then, and the audio thread waits for the analysis, without working, so that no frame is
//! lost.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use nice_plug::params::InternalParamMut;
use nice_plug::prelude::BoolParam;
use sumproof_core::audition::{AuditionSettings, Auditioner};
use sumproof_core::dsp::numbers::{to_index, to_single};
use sumproof_core::routing::feed::{Feed, FeedId, Side};
use sumproof_core::score::rig::Rig;
use sumproof_core::session::meter::RunningCorrelation;
use sumproof_core::split::side_chain::Reference;
use sumproof_views::PedalTask;

use crate::analysis::engine::{Analysis, AnyEnd};
use crate::audio::line_check::{Output, Sender};
use crate::bridge::line_check::End;
use crate::bridge::pedals::Pedal;
use crate::bridge::published::MEASURED_HZ;
use crate::bridge::ring::{AnalysisEnd, AudioEnd, Command, frames_in, ring};
use crate::bridge::shared::{AuditionState, Shared};
use crate::parameters::arming::Switches;
use crate::parameters::choices::Choice;
use crate::parameters::params::HostParams;
use crate::parameters::settings::Settings;
use crate::testing::faults::Fault;

/// Sound the ring holds, s. The analysis looks at least four times a second.
const RING_S: f64 = 2.0;

/// How the host runs the plugin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drive {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Longest block, frames.
    pub longest_block: usize,
    /// Whether the host renders offline.
    pub mode: Mode,
    /// The signal on the side-chain, if there is one.
    pub reference: Reference,
}

/// Whether the host renders offline.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// The host does not say that it renders. Hosts bounce without saying so, so the clock has to agree: see
    /// [`crate::bridge::clock`].
    Playing,
    /// The host renders offline, and says so.
    Offline,
}

/// A block and what decides whether its sound is replaced, by an auditioned feed or a line check's signal.
struct Block<'b> {
    settings: &'b Settings,
    /// Audition is on only because a loaded state says so.
    loaded: bool,
    /// The host renders faster than real time.
    bounces: bool,
    /// The host records.
    host_records: bool,
    left: &'b mut [f32],
    right: &'b mut [f32],
}

/// What depends on the sample rate.
struct RateDependent<const C: usize> {
    end: AudioEnd<C>,
    /// Duration of sound the ring holds.
    ring: Duration,
    auditioner: Auditioner,
    sender: Sender,
    meter: RunningCorrelation,
}

/// The audio thread's side. `C` channels go to the analysis: two, or four with a reference on a side-chain.
pub struct AudioSide<const C: usize> {
    params: Arc<HostParams>,
    shared: Arc<Shared>,
    analysis: Analysis,
    own: triple_buffer::Output<Feed>,
    running: Option<RateDependent<C>>,
    mode: Mode,
    recording: bool,
    /// Last values of the switches that act when they come on: take the last phrase, and next name.
    switched: [bool; 2],
    /// MIDI requests not handed over yet: a program, and what a pedal asked for.
    program: Option<u8>,
    pressed: [bool; 2],
    /// The next frame does not follow the last one the analysis got, and the analysis has not been told.
    broken: bool,
    integration_s: f64,
    pub(crate) fault: Fault,
}

/// Toggles a switch.
fn toggle(param: &BoolParam) {
    // SAFETY: the method stores to the parameter's own atomics and runs its callback; ours have none. Only the
    // stand-alone program gets here: there is no host to notify, and the window reads the value with its next frame.
    unsafe { param._internal_set_plain_value(!param.value()) };
}

impl<const C: usize> AudioSide<C>
where
    AnyEnd: From<AnalysisEnd<C>>,
{
    /// The audio side of an instance that is not active yet.
    pub fn new(
        params: Arc<HostParams>,
        shared: Arc<Shared>,
        analysis: Analysis,
        own: triple_buffer::Output<Feed>,
    ) -> Self {
        Self {
            params,
            shared,
            analysis,
            own,
            running: None,
            mode: Mode::Playing,
            recording: false,
            switched: [true; 2],
            program: None,
            pressed: [false; 2],
            broken: false,
            integration_s: 0.0,
            fault: Fault::None,
        }
    }

    /// Prepares for a sample rate: the one place that allocates. Not for the audio thread.
    pub fn activate(&mut self, drive: &Drive) {
        self.shared.switch.release();
        let (lowest_hz, highest_hz) = MEASURED_HZ;
        if !(lowest_hz..=highest_hz).contains(&drive.rate_hz) {
            self.shared.set_unmeasured(Some(drive.rate_hz));
            self.shared.set_heard(AuditionState::Stereo);
            self.running = None;
            return;
        }
        self.shared.set_unmeasured(None);
        let frames = to_index(RING_S * drive.rate_hz)
            .max(4 * drive.longest_block)
            .clamp(8_192, 1 << 22);
        let (end, analysis_end) = ring::<C>(frames);
        self.analysis
            .lock()
            .attach(analysis_end.into(), drive.rate_hz, drive.reference);
        let settings = Settings::read(&self.params);
        self.integration_s = settings.integration_s;
        // A switch that a state turns on already acted before the state was saved.
        self.switched = [settings.take_phrase, settings.next_name];
        self.running = Some(RateDependent {
            end,
            ring: Duration::from_secs_f64(frames as f64 / drive.rate_hz.max(1.0)),
            auditioner: Auditioner::new(drive.rate_hz),
            sender: Sender::new(drive.rate_hz),
            meter: RunningCorrelation::new(drive.rate_hz, self.integration_s),
        });
        self.mode = drive.mode;
        self.shared.pulse.begin(drive.rate_hz);
        self.recording = false;
        self.broken = true;
        self.fault = Fault::from_environment();
    }

    /// The host stopped: a take that is being recorded ends here. Not for the audio thread.
    pub fn deactivate(&mut self) {
        self.shared.switch.release();
        self.analysis.lock().detach();
        self.recording = false;
        self.shared.set_heard(AuditionState::Stereo);
    }

    /// Forgets the sound so far; takes and settings stay.
    pub fn reset(&mut self) {
        if let Some(running) = &mut self.running {
            running.auditioner.reset();
            running.sender.cut();
            running.meter.reset();
        }
        self.broken = true;
    }

    /// Whether a feed is being heard, in which case sound goes on for a moment after the input has ended.
    pub fn has_tail(&self) -> bool {
        self.running
            .as_ref()
            .is_some_and(|running| !running.auditioner.is_idle())
    }

    /// Whether a line check's signal is going out.
    pub fn sends(&self) -> bool {
        self.running
            .as_ref()
            .is_some_and(|running| running.sender.is_busy())
    }

    /// Processes one block in place; `reference` holds both channels of the reference, where there is one. While
    /// nothing is auditioned the samples are read and not written.
    pub fn process(&mut self, channels: &mut [&mut [f32]], reference: [&[f32]; 2], host_records: bool) {
        let [left, right, ..] = channels else { return };
        let said = Settings::read(&self.params);
        let settings = said.with(self.shared.arming.holds(said.switches()));
        self.fault.strike_block();
        self.shared.pulse.count(left.len());
        if self.running.is_none() {
            return;
        }
        if settings.bypass {
            self.broken = true;
        } else {
            self.follow(&settings);
            self.begin_check();
            self.hand_over([left, right, reference[0], reference[1]]);
            self.measure(&settings, left, right);
        }
        let mut block = Block {
            settings: &settings,
            loaded: said.audition && !settings.audition,
            bounces: self.bounces(),
            host_records,
            left,
            right,
        };
        self.audition(&mut block);
        self.put_out_check(&mut block);
    }

    /// Whether the host renders faster than real time, as far as can be known.
    fn bounces(&self) -> bool {
        match self.mode {
            Mode::Offline => true,
            Mode::Playing => !self.shared.pulse.is_real_time(),
        }
    }

    fn begin_check(&mut self) {
        if let Some(running) = &mut self.running {
            running.sender.begin(&self.shared.switch, &mut running.end);
        }
    }

    /// Replaces the sound by the line check's output, while it has one.
    fn put_out_check(&mut self, block: &mut Block) {
        let Some(running) = &mut self.running else { return };
        let hindered = if block.bounces {
            Some(End::Bounces)
        } else if block.settings.bypass {
            Some(End::Bypassed)
        } else {
            block.host_records.then_some(End::Records)
        };
        let (switch, sender) = (&self.shared.switch, &mut running.sender);
        match sender.put_out(switch, &mut running.end, hindered, block.left, block.right) {
            Output::Input => {}
            Output::Silence => self.shared.set_heard(AuditionState::Held),
            Output::Signal => self.shared.set_heard(AuditionState::Test),
        }
    }

    /// Tells the analysis what changed with this block. A command that finds no room is sent again with the next block.
    fn follow(&mut self, settings: &Settings) {
        let Some(running) = &mut self.running else { return };
        if self.broken {
            self.broken = !running.end.send(Command::Break);
        }
        if settings.record != self.recording {
            let command = if settings.record {
                Command::StartTake(settings.pass)
            } else {
                Command::StopTake
            };
            if running.end.send(command) {
                self.recording = settings.record;
            }
        }
        if let Some(program) = self.program
            && running.end.send(Command::Program(program))
        {
            self.program = None;
        }
        for (pressed, command) in self
            .pressed
            .iter_mut()
            .zip([Command::TakePhrase, Command::NextName])
        {
            *pressed = *pressed && !running.end.send(command);
        }
        let switches = [
            (settings.take_phrase, Command::TakePhrase),
            (settings.next_name, Command::NextName),
        ];
        for (was, (is, command)) in self.switched.iter_mut().zip(switches) {
            if !is || *was || running.end.send(command) {
                *was = is;
            }
        }
    }

    /// A program change, from 0: the program names the next take.
    pub fn program(&mut self, program: u8) {
        self.program = Some(program);
    }

    /// A pedal went down or up. Ignored in a DAW, which assigns pedals itself.
    pub fn pedal(&mut self, pedal: Pedal, is_down: bool) {
        if !self.shared.pedals.are_on() {
            return;
        }
        let task = self.shared.pedals.moved(pedal, is_down);
        let Some(task) = task.and_then(|task| PedalTask::ALL.get(task).copied()) else {
            return;
        };
        let params = &self.params;
        match task {
            PedalTask::TakePhrase => self.pressed[0] = true,
            PedalTask::NextName => self.pressed[1] = true,
            PedalTask::Record => toggle(&params.record),
            PedalTask::Straight => toggle(&params.straight),
            PedalTask::Audition => toggle(&params.audition),
            PedalTask::Feed => {
                // The last feed is the player's own, which may not be set up.
                let built_in = FeedId::ALL.len() - 1;
                let next = (params.feed.value().0 as usize + 1) % built_in;
                // SAFETY: as in `toggle`.
                unsafe { params.feed._internal_set_plain_value(Choice(FeedId::ALL[next])) };
            }
        }
        // A pedal counts as a deliberate action, like a click in the window.
        self.shared.arming.arm(Switches {
            audition: task == PedalTask::Audition,
            in_bounces: false,
            record: task == PedalTask::Record,
            takes_by_phrase: false,
        });
    }

    fn hand_over(&mut self, all: [&[f32]; 4]) {
        let Some(running) = &mut self.running else { return };
        let mut rest: [&[f32]; C] = std::array::from_fn(|channel| all.get(channel).copied().unwrap_or(&[]));
        loop {
            let now = frames_in(&rest).min(running.end.room());
            let cut = rest.map(|channel| channel.split_at(now.min(channel.len())));
            let mut lost = running.end.push(cut.map(|(sound, _)| sound));
            rest = cut.map(|(_, later)| later);
            if frames_in(&rest) > 0 {
                // The ring is full.
                let may_wait = self.mode == Mode::Offline || self.shared.outruns_the_clock(running.ring);
                let end = &running.end;
                if !may_wait || !self.analysis.make_room(|| end.room() > 0) {
                    lost += running.end.push(rest);
                    rest = [&[]; C];
                }
            }
            if lost > 0 {
                running.sender.lost();
                self.shared.lost_frames.fetch_add(lost as u64, Ordering::Relaxed);
            }
            if frames_in(&rest) == 0 {
                break;
            }
        }
        if self.mode == Mode::Offline {
            self.analysis.work_in_render();
        }
    }

    fn measure(&mut self, settings: &Settings, left: &[f32], right: &[f32]) {
        let Some(running) = &mut self.running else { return };
        if settings.integration_s != self.integration_s {
            self.integration_s = settings.integration_s;
            running.meter.set_integration(settings.integration_s);
        }
        running.meter.push(left, right);
        let reading = running.meter.correlation().map_or(f32::NAN, to_single);
        self.shared.correlation.store(reading, Ordering::Relaxed);
    }

    fn audition(&mut self, block: &mut Block) {
        let Some(running) = &mut self.running else { return };
        let settings = block.settings;
        let wanted = settings.audition && !settings.bypass;
        let held_back = wanted && (block.bounces || block.host_records) && !settings.audition_in_bounces;
        let heard = match (wanted, held_back) {
            (false, _) if block.loaded && !settings.bypass => AuditionState::Loaded,
            (false, _) => AuditionState::Stereo,
            (true, false) => AuditionState::Feed,
            (true, true) => AuditionState::HeldBack,
        };
        self.shared.set_heard(heard);
        let feed = (heard == AuditionState::Feed).then(|| {
            let rig = Rig {
                lines: settings.lines,
                law: settings.law,
                own: *self.own.read(),
                ..Rig::default()
            };
            let in_right = self.shared.fault_in_right.load(Ordering::Relaxed);
            rig.feed(settings.feed, if in_right { Side::Right } else { Side::Left })
        });
        let match_db = settings
            .loudness_match
            .then(|| self.shared.match_db(settings.feed));
        running.auditioner.set(&AuditionSettings { feed, match_db });
        if block.bounces && feed.is_none() && !running.auditioner.is_idle() {
            // A bounce has no time for a fade: it gets the original sound from its first frame.
            running.auditioner.reset();
        }
        running.auditioner.process(block.left, block.right);
    }
}
