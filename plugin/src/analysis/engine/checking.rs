//! The line check: orders its signal, records what arrives meanwhile, starts the reading, and keeps the findings.

use std::sync::Arc;
use std::time::{Duration, Instant};

use nice_plug::util::permit_alloc;
use sumproof_core::dsp::numbers::{to_frames, to_index};
use sumproof_core::line_check::{self, Findings, Generator, Plan, ReadFailure, SignalSettings};
use sumproof_report::line_check::lines;
use sumproof_views::{Found, LineCheck, OwnFeed, Sending};

use super::Engine;
use crate::analysis::job::Job;
use crate::bridge::line_check::{End, Signal, Switch};
use crate::bridge::ring::Frame;

/// What is recorded after the signal, s: no path on a stage has a longer delay.
const BEHIND_S: f64 = 1.0;
/// An order that has not begun by then is void: no signal may come as a surprise.
const BEGINS_WITHIN: Duration = Duration::from_secs(1);
/// While the signal goes out, frames must arrive at least this often.
const MOVES_WITHIN: Duration = Duration::from_secs(1);
/// Name of the user's own feed when it is made from a finding, as in the command.
const SAVED_AS: &str = "as measured";
const SAVED_AS_LIKELY: &str = "as measured, likely";

/// A signal that is ordered or going out.
#[derive(Debug)]
struct Run {
    number: u64,
    plan: Plan,
    rate_hz: f64,
    /// What arrived, up to the capacity reserved for it.
    arrived: [Vec<f32>; 2],
    begun: bool,
    lost: bool,
    moved_at: Instant,
}

impl Run {
    /// Appends frames up to the reserved capacity: allocates nothing.
    fn keep<const C: usize>(&mut self, frames: &[Frame<C>]) {
        let room = self.arrived[0].capacity() - self.arrived[0].len();
        let kept = &frames[..frames.len().min(room)];
        for (index, channel) in self.arrived.iter_mut().enumerate() {
            channel.extend(kept.iter().map(|frame| frame.get(index).copied().unwrap_or(0.0)));
        }
        self.moved_at = Instant::now();
    }
}

/// A recording being read, in a thread of its own, so the meters keep running.
type ReadJob = Job<Result<Findings, ReadFailure>>;

fn read(run: Run) -> ReadJob {
    Job::start("sumproof lines", move |_| {
        let [left, right] = &run.arrived;
        line_check::read(&[left, right], run.rate_hz, &run.plan)
    })
}

/// State of the line check.
#[derive(Debug, Default)]
pub(super) struct Checking {
    /// Number of the latest run.
    last: u64,
    run: Option<Run>,
    work: Option<ReadJob>,
    said: Option<String>,
    finding: Option<Arc<Findings>>,
    found: Option<Arc<Found>>,
    saved: bool,
}

impl Checking {
    /// Takes frames that arrived.
    pub(super) fn process_frames<const C: usize>(&mut self, frames: &[Frame<C>]) {
        if let Some(run) = self.run.as_mut().filter(|run| run.begun) {
            run.keep(frames);
        }
    }

    /// Frames are missing at this point.
    pub(super) fn lost(&mut self) {
        if let Some(run) = &mut self.run {
            run.lost |= run.begun;
        }
    }

    pub(super) fn begins(&mut self, number: u64) {
        if let Some(run) = self.run.as_mut().filter(|run| run.number == number) {
            (run.begun, run.moved_at) = (true, Instant::now());
        }
    }

    pub(super) fn ends(&mut self, number: u64, why: End) {
        let Some(run) = self.run.take_if(|run| run.number == number) else {
            return;
        };
        permit_alloc(|| {
            self.said = if why == End::Whole && !run.lost {
                self.work = Some(read(run));
                None
            } else {
                Some(String::from(ended(if run.lost { End::Lost } else { why })))
            };
        });
    }

    /// The sample rate changes, or the host stops: any order is cancelled.
    pub(super) fn call_off(&mut self, switch: &Switch) {
        switch.release();
        if let Some(run) = &self.run {
            self.ends(run.number, End::HostStopped);
        }
    }

    /// Whether a signal or a reading is in progress.
    pub(super) fn is_busy(&self) -> bool {
        self.run.is_some() || self.work.is_some()
    }

    /// Checks a running signal or reading for timeouts and results. Returns whether the window needs an update.
    pub(super) fn look(&mut self, switch: &Switch) -> bool {
        let overdue = self.run.as_ref().filter(|run| {
            let within = if run.begun { MOVES_WITHIN } else { BEGINS_WITHIN };
            run.moved_at.elapsed() > within
        });
        if let Some(run) = overdue {
            switch.end(run.number);
            self.ends(run.number, End::HostStopped);
            return true;
        }
        let Some(work) = self.work.take_if(|work| work.is_done()) else {
            return self.run.is_some();
        };
        match work.finish().and_then(Result::ok) {
            Some(Ok(finding)) => {
                self.found = Some(Arc::new(Found {
                    sentence: sumproof_wording::line_check::sentence(&finding),
                    lines: lines(&finding),
                    can_save: finding.own_feed().is_some(),
                    is_sure: finding.feed_trust() == Some(line_check::Trust::Sure),
                }));
                self.finding = Some(Arc::new(finding));
            }
            Some(Err(failure)) => self.said = Some(not_read(&failure)),
            None => self.said = Some(String::from("What arrived could not be read: send it again.")),
        }
        true
    }

    pub(super) fn shown(&self) -> LineCheck {
        LineCheck {
            held: false,
            on: false,
            sending: self.run.as_ref().map(|run| Sending {
                settings: *run.plan.settings(),
                at_s: run.arrived[0].len() as f64 / run.rate_hz,
            }),
            reading: self.work.is_some(),
            said: self.said.clone(),
            found: self.found.clone(),
            saved: self.saved,
        }
    }
}

impl Engine {
    /// The second step of a line check: orders the signal and reserves memory for what arrives. Where that fails, shows
    /// the reason.
    pub fn send_check(&mut self, settings: SignalSettings) {
        let ordered = self.order_check(settings);
        if let Err(line) = ordered {
            self.checking.said = Some(line);
        }
        self.unshown = true;
    }

    fn order_check(&mut self, settings: SignalSettings) -> Result<(), String> {
        let shared = Arc::clone(&self.links.shared);
        if self.checking.is_busy() || !shared.switch.is_held() {
            return Ok(());
        }
        let (Some(end), Some(monitor)) = (&mut self.end, &self.monitor) else {
            return Err(String::from(ended(End::HostStopped)));
        };
        let rate_hz = monitor.rate_hz();
        if self.settings.bypass {
            return Err(String::from(ended(End::Bypassed)));
        }
        if !shared.pulse.is_real_time() {
            return Err(String::from(ended(End::Bounces)));
        }
        let plan = Plan::new(settings).map_err(|error| format!("{error}."))?;
        let frames = to_index(((plan.seconds() + BEHIND_S) * rate_hz).ceil());
        let number = self.checking.last + 1;
        let signal = Box::new(Signal {
            run: number,
            generator: Generator::new(plan.clone(), rate_hz),
            behind_frames: to_frames(BEHIND_S * rate_hz),
        });
        // A block can be of any length: the last one may reach beyond the end.
        let room = frames + to_index(rate_hz);
        let run = Run {
            number,
            plan,
            rate_hz,
            arrived: [Vec::with_capacity(room), Vec::with_capacity(room)],
            begun: false,
            lost: false,
            moved_at: Instant::now(),
        };
        // Allowed before it is ordered: an order taken before it is allowed would be given back.
        if !shared.switch.allow(number) {
            return Ok(());
        }
        if !end.order(signal) {
            shared.switch.end(number);
            return Err(String::from(
                "The last signal is still on its way out: try again.",
            ));
        }
        self.checking = Checking {
            last: number,
            run: Some(run),
            ..Checking::default()
        };
        Ok(())
    }

    /// Stores what the line check found as the user's own feed.
    pub fn save_check(&mut self) {
        let own = self
            .checking
            .finding
            .as_ref()
            .and_then(|finding| finding.own_feed());
        let is_sure = self.checking.found.as_ref().is_some_and(|found| found.is_sure);
        let name = if is_sure { SAVED_AS } else { SAVED_AS_LIKELY };
        if let Some(feed) = own {
            let OwnFeed { name, feed } = OwnFeed {
                name: String::from(name),
                feed,
            };
            self.set_own(feed);
            self.set_own_name(&name);
            self.checking.saved = true;
            self.unshown = true;
        }
    }
}

/// Says why a signal ended, and what to do.
fn ended(why: End) -> &'static str {
    match why {
        End::Whole => "All of it was sent.",
        End::Stopped => "Stopped. Nothing was read.",
        End::Bypassed => "The plugin is bypassed: switch it on, and send again.",
        End::Bounces => {
            "The host doesn\u{2019}t play in real time now, or hasn\u{2019}t for long enough: send again in a moment."
        }
        End::Records => {
            "The host records, and no test signal goes into a recording: stop it, and send again."
        }
        End::Unattended => "The window was not drawn for a while, so the signal was ended: send again.",
        End::HostStopped => {
            "The host\u{2019}s audio stopped, or isn\u{2019}t running: start it, and send again."
        }
        End::Lost => "The computer was too busy, and some of what arrived is missing: send again.",
    }
}

/// Says why the recording can't be read, and what to do.
fn not_read(failure: &ReadFailure) -> String {
    match failure {
        ReadFailure::Silence => String::from(
            "Nothing arrives on this track\u{2019}s inputs: choose the input that what arrives comes in on, and send again.",
        ),
        ReadFailure::NotFound => String::from(
            "The test signal isn\u{2019}t in what arrives on this track\u{2019}s inputs: check which input that is, turn up, and \
             send again.",
        ),
        ReadFailure::Faint => String::from(
            "The test signal arrives, but too weak to say anything: louder, closer, or with less noise, and send again.",
        ),
        ReadFailure::Partial { there, missing } => format!(
            "Only a part of the signal arrives ({}; not: {}): send again, and leave everything as it is meanwhile.",
            there.join(", "),
            missing.join(", ")
        ),
        other => format!("What arrives {other}."),
    }
}
