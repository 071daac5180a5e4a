//! The rings through which sound reaches the engine: one after the other, each emptied before the next begins.

use nice_plug::util::permit_alloc;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::split::side_chain::Reference;

use super::Engine;
use crate::analysis::side_work::Order;
use crate::bridge::line_check::Signal;
use crate::bridge::ring::AnalysisEnd;
use crate::testing::faults::Fault;

/// The analysis' end of either kind of ring.
pub enum AnyEnd {
    /// Ring of the plugin without a side-chain.
    Pair(AnalysisEnd<2>),
    /// Ring of the plugin with a side-chain.
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
    pub(super) fn waiting(&self) -> usize {
        match self {
            Self::Pair(end) => end.waiting(),
            Self::WithReference(end) => end.waiting(),
        }
    }

    pub(super) fn order(&mut self, signal: Box<Signal>) -> bool {
        match self {
            Self::Pair(end) => end.order(signal),
            Self::WithReference(end) => end.order(signal),
        }
    }

    pub(super) fn free_spent(&mut self) {
        match self {
            Self::Pair(end) => end.free_spent(),
            Self::WithReference(end) => end.free_spent(),
        }
    }

    /// Whether neither frames nor commands wait.
    fn is_empty(&mut self) -> bool {
        match self {
            Self::Pair(end) => end.is_empty(),
            Self::WithReference(end) => end.is_empty(),
        }
    }

    /// Discards everything that waits.
    pub(super) fn discard(&mut self) {
        match self {
            Self::Pair(end) => end.drain(usize::MAX, |_| {}),
            Self::WithReference(end) => end.drain(usize::MAX, |_| {}),
        };
    }
}

/// A ring that was handed over, with its sample rate and reference.
pub(super) struct Attached {
    end: AnyEnd,
    rate_hz: f64,
    reference: Reference,
    /// Nothing more arrives through it.
    closed: bool,
}

impl Engine {
    /// Adds a new ring and its sample rate, Hz. What the old one still holds is processed first, and a take that was
    /// being recorded ends there. `reference` is the signal on the side-chain, where the ring has one.
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

    /// The host stopped for good or for now: what waits is still processed, and a take ends there.
    pub fn detach(&mut self) {
        match self.coming.back_mut() {
            Some(last) => last.closed = true,
            None => self.closed = self.end.is_some(),
        }
        self.guarded(|engine| engine.checking.call_off(&engine.links.shared.switch));
        self.unshown = true;
    }

    /// Goes on to the next ring once this one is closed and empty.
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

    /// Processes at most `limit` frames. Returns whether any arrived.
    pub(super) fn take_in(&mut self, limit: usize) -> bool {
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
}
