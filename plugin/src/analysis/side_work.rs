//! The side-chain's work, which takes too long for the engine's lock: orders are queued, the analysis thread carries
//! them out in shares, and the results are handed back.

use std::collections::VecDeque;
use std::time::{Duration, Instant};

use sumproof_core::split::Split;
use sumproof_core::split::side_chain::Reference;
use sumproof_wording::side_chain::SideChain as Shown;

use crate::analysis::side_chain::{ReferenceSide, ToldApart};
use crate::state::takes::TakeId;

/// Time between two readings of the live split.
const READ_EVERY: Duration = Duration::from_millis(40);
/// Sound per step while the host plays, s: ten steps in the time in which new results can come.
const LIVE_STEP_S: f64 = 0.06;
/// The same while it renders faster than real time: all steps together cost a fortieth of the sound's duration.
const RENDER_STEP_S: f64 = 0.6;

/// Orders, carried out in the order in which they came.
#[derive(Debug)]
pub(crate) enum Order {
    /// Sound of another sample rate (Hz) or kind of reference follows.
    Attach(f64, Reference),
    /// Split time and integration time, s.
    Settings(f64, f64),
    /// Both references, left and right.
    Frames(Vec<[f32; 4]>),
    /// The next frame does not follow the last.
    Gap,
    /// A take begins.
    Start,
    /// A take ended and is stored, with its dry and wet estimated; with its name.
    End(TakeId, String),
    /// The take has no frames.
    Drop,
    /// Takes that are recorded or worked on belong to another project.
    Leave,
    /// Clear the averages.
    Reset,
}

/// What is to be done in one look.
#[derive(Debug)]
pub(crate) struct Orders {
    pub(crate) orders: Vec<Order>,
    /// Whether the result is seen or heard.
    pub(crate) watched: bool,
    /// Whether a response is needed: for a window, an audition or a take.
    pub(crate) wanted: bool,
    /// Whether the host plays in real time.
    pub(crate) live: bool,
}

/// Results of one look.
pub(crate) struct News {
    /// State of the side-chain, where it changed.
    pub(crate) shown: Option<Shown>,
    /// The live split, where it was read: `Some(None)` when the reference yields none.
    pub(crate) split: Option<Option<Split>>,
    /// Takes that are done.
    pub(crate) done: Vec<(TakeId, ToldApart)>,
    /// Whether there is more to do at once.
    pub(crate) busy: bool,
}

/// The work on one side-chain.
#[derive(Default)]
pub(crate) struct SideWork {
    side: Option<ReferenceSide>,
    rate_hz: f64,
    references: usize,
    settings: Option<(f64, f64)>,
    /// Orders not carried out yet: sound of another rate waits until the takes of this one are done.
    waiting: VecDeque<Order>,
    /// Takes being worked on, in order.
    ending: VecDeque<TakeId>,
    /// Sound for which no step was taken yet, frames.
    credit: f64,
    read_at: Option<Instant>,
}

impl SideWork {
    /// Carries out the orders, and one share of the long work.
    pub(crate) fn run(&mut self, orders: Orders) -> News {
        let mut done = Vec::new();
        let heard = orders
            .orders
            .iter()
            .any(|order| matches!(order, Order::Frames(_) | Order::Reset));
        if let Some(side) = &mut self.side {
            side.set_watched(orders.watched);
        }
        let Orders {
            orders,
            watched,
            wanted,
            live,
        } = orders;
        if orders.iter().any(|order| matches!(order, Order::Leave)) {
            // Earlier orders belong to the project that was left and are dropped.
            self.leave();
        }
        self.waiting.extend(orders);
        while let Some(order) = self.next_order() {
            self.apply(order, &mut done);
        }
        let busy = self.take_a_share(wanted, live, &mut done) || !self.waiting.is_empty();
        // While sound of another rate waits, a split of the old one is useless.
        let due = watched
            && heard
            && self.waiting.is_empty()
            && self.read_at.is_none_or(|at| at.elapsed() >= READ_EVERY);
        if due {
            self.read_at = Some(Instant::now());
        }
        let side = self.side.as_mut();
        News {
            split: side.filter(|_| due).map(|side| side.read().cloned()),
            shown: self.side.as_ref().map(ReferenceSide::shown),
            done,
            busy,
        }
    }

    /// The next order that can be carried out now. Takes being worked on are finished at their own rate, in shares,
    /// before another rate's sound is accepted.
    fn next_order(&mut self) -> Option<Order> {
        let side = self.side.as_ref().filter(|side| side.is_ending());
        self.waiting.pop_front_if(|order| match (order, side) {
            (Order::Attach(rate_hz, kind), Some(side)) => side.fits(*rate_hz, *kind),
            _ => true,
        })
    }

    fn leave(&mut self) {
        if let Some(side) = &mut self.side {
            side.drop_takes();
        }
        self.ending.clear();
    }

    fn apply(&mut self, order: Order, done: &mut Vec<(TakeId, ToldApart)>) {
        if let Order::Attach(rate_hz, kind) = order {
            self.attach(rate_hz, kind);
            return;
        }
        if let Order::Settings(split_s, integration_s) = order {
            self.settings = Some((split_s, integration_s));
        }
        let Some(side) = &mut self.side else { return };
        match order {
            Order::Settings(split_s, integration_s) => side.set(split_s, integration_s),
            Order::Frames(frames) => {
                self.credit += frames.len() as f64;
                for frames in frames.chunks(512) {
                    let mut lanes = [[0.0f32; 512]; 4];
                    for (at, frame) in frames.iter().enumerate() {
                        for (lane, sample) in lanes.iter_mut().zip(frame) {
                            lane[at] = *sample;
                        }
                    }
                    let [first, second, left, right] = lanes.each_ref().map(|lane| &lane[..frames.len()]);
                    side.push(first, second, left, right);
                }
            }
            Order::Gap => side.mark_gap(),
            Order::Start => side.start_take(),
            Order::End(id, name) => match side.end_take(&name) {
                Ok(()) => self.ending.push_back(id),
                Err(line) => done.push((id, ToldApart { take: None, line })),
            },
            Order::Drop => side.drop_take(),
            Order::Leave => {
                self.leave();
                done.clear();
            }
            Order::Reset => side.reset(),
            Order::Attach(..) => {}
        }
    }

    fn attach(&mut self, rate_hz: f64, kind: Reference) {
        if self.side.as_ref().is_some_and(|side| side.fits(rate_hz, kind)) {
            return;
        }
        let mut side = ReferenceSide::new(rate_hz, kind);
        if let Some((split_s, integration_s)) = self.settings {
            side.set(split_s, integration_s);
        }
        self.side = Some(side);
        self.rate_hz = rate_hz;
        self.references = match kind {
            Reference::Mono => 1,
            Reference::Stereo => 2,
        };
        self.credit = 0.0;
    }

    /// Takes that ended come first. Returns whether there is more to do at once.
    fn take_a_share(&mut self, wanted: bool, live: bool, done: &mut Vec<(TakeId, ToldApart)>) -> bool {
        let Some(side) = &mut self.side else { return false };
        if side.is_ending() {
            if let Some(told) = side.refine()
                && let Some(id) = self.ending.pop_front()
            {
                done.push((id, told));
            }
            return side.is_ending();
        }
        let step_s = if live {
            LIVE_STEP_S
        } else {
            RENDER_STEP_S * self.references as f64
        };
        let step = step_s * self.rate_hz;
        // At most a few steps are saved up: steps that were not needed need not be made up for at once.
        self.credit = self.credit.min(12.0 * step);
        if !wanted || self.credit < step || !side.work() {
            return false;
        }
        self.credit -= step;
        self.credit >= step
    }
}

impl std::fmt::Debug for SideWork {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SideWork")
            .field("rate_hz", &self.rate_hz)
            .field("ending", &self.ending)
            .finish_non_exhaustive()
    }
}
