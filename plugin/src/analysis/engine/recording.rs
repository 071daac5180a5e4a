//! Takes being recorded, and passes that become a pair.

use nice_plug::util::permit_alloc;
use sumproof_core::session::take::Pass;
use sumproof_core::split::two_pass::PassRecorder;
use sumproof_wording::passes;

use super::{AnyEnd, Engine};
use crate::analysis::passes::{PairJob, Paired, Pairing, PairingStep, finished};
use crate::analysis::side_work::{News, Order};
use crate::state::takes::{TakeId, Takes};

/// A take being recorded.
#[derive(Debug, Clone, Copy)]
pub(super) struct RunningTake {
    pub(super) pass: Pass,
    /// Markers pushed where frames are missing; the monitor counts them as invalid.
    pub(super) markers: u64,
}

/// The latest dry and wet pass.
pub(super) type Halves = [Option<TakeId>; 2];

/// Work on passes, and the dry and the wet one it uses.
pub(super) type PairWork = (PairJob, Halves);

/// Whether passes were compared and don't belong together.
fn has_failed(paired: &Paired) -> bool {
    paired.take.is_none() && !paired.failing.is_empty()
}

/// Stores the take of a pair, and returns the line to show.
fn kept(takes: &mut Takes, pairing: &mut Pairing, paired: Paired) -> String {
    let Some(take) = paired.take else {
        return paired.line;
    };
    let replaced = pairing.replaced(paired.instead_of);
    if replaced.is_some_and(|id| takes.replace(id, take.clone())) {
        return paired.line;
    }
    match takes.add(take) {
        Some(id) => {
            pairing.stored(id, paired.by_difference);
            paired.line
        }
        None => String::from(passes::NO_ROOM),
    }
}

impl Engine {
    pub(super) fn start_take(&mut self, pass: Pass) {
        self.finish_take();
        if self.void_frames > 0 {
            // The command belongs to the previous project.
            return;
        }
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
        let rate_hz = monitor.rate_hz();
        // A dry or a wet pass is a half: there is nothing to tell apart in it.
        if pass == Pass::Full {
            self.order(Order::Start);
        }
        permit_alloc(|| self.sound = Some(PassRecorder::new(rate_hz)));
        self.running = Some(RunningTake { pass, markers: 0 });
    }

    pub(super) fn finish_take(&mut self) {
        let (Some(running), Some(monitor)) = (self.running.take(), &mut self.monitor) else {
            return;
        };
        let takes = &mut self.takes;
        let said = permit_alloc(|| {
            // A half of a pair takes no name from the list.
            let name = match running.pass {
                Pass::Full => self.names.take(),
                Pass::Dry | Pass::Wet => None,
            };
            let name = name.unwrap_or_else(|| takes.next_name());
            let Some(mut take) = monitor.finish_take(name, running.pass) else {
                if let Some(side) = &mut self.side {
                    side.orders.push(Order::Drop);
                }
                self.sound = None;
                return None;
            };
            take.gaps = running.markers;
            take.invalid_frames = take.invalid_frames.saturating_sub(running.markers);
            // Where frames are missing, passes can't be aligned.
            let sound = self.sound.take().filter(|_| running.markers == 0);
            let outcome = self.pairing.heard(&take, sound);
            let name = take.name.clone();
            // There was room when the take began.
            let id = takes.add(take);
            match running.pass {
                Pass::Dry => self.halves[0] = id,
                Pass::Wet => self.halves[1] = id,
                Pass::Full => {}
            }
            // It is stored with what is known so far; the side-chain's split follows when it is found.
            if let (Some(side), Some(id), Pass::Full) = (&mut self.side, id, running.pass) {
                side.orders.push(Order::End(id, name));
            }
            match outcome {
                PairingStep::Waits => {
                    if running.pass != Pass::Full {
                        self.pair_said = None;
                    }
                    None
                }
                PairingStep::Now(paired) => {
                    let failing = paired.failing.clone();
                    if has_failed(&paired) {
                        self.failed_passes.extend(self.halves.into_iter().flatten());
                    }
                    let line = kept(takes, &mut self.pairing, *paired);
                    self.pair_said = Some((line.clone(), failing));
                    Some(line)
                }
                PairingStep::Later(work) => {
                    // The previous pair's work goes on, and its take is stored when it is done.
                    self.pair_work.push_back((work, self.halves));
                    Some(String::from(passes::LAYING))
                }
            }
        });
        if let Some(line) = said {
            self.say(line);
        }
        self.sum_up_anew();
    }

    /// Stores the results of finished pair work. Never waits for it.
    pub(super) fn gather_pairs(&mut self) {
        self.left_behind.retain(|work| !work.is_over());
        while let Some((work, halves)) = self.pair_work.pop_front_if(|(work, _)| work.is_done()) {
            permit_alloc(|| {
                self.pair_said = finished(work).map(|paired| {
                    let failing = paired.failing.clone();
                    if has_failed(&paired) {
                        self.failed_passes.extend(halves.into_iter().flatten());
                    }
                    (kept(&mut self.takes, &mut self.pairing, paired), failing)
                });
                // The work has no result, so the line saying that it is in progress must go.
                self.message = self.pair_said.as_ref().map(|(line, _)| line.clone());
            });
            self.sum_up_anew();
        }
    }

    /// Whether no pair work is running: the next look stores its result.
    #[cfg(test)]
    pub(crate) fn pairs_are_done(&self) -> bool {
        self.pair_work.iter().all(|(work, _)| work.is_done())
    }

    /// Drops what belongs to the present project before another is loaded: the running take, halves of pairs and
    /// pending work.
    pub(super) fn leave_project(&mut self) {
        self.running = None;
        self.sound = None;
        if let Some(monitor) = &mut self.monitor {
            monitor.drop_take();
        }
        self.order(Order::Leave);
        self.pairing = Pairing::default();
        self.left_behind
            .extend(self.pair_work.drain(..).map(|(work, _)| work.give_up()));
        self.halves = Halves::default();
        self.failed_passes.clear();
        let phrases = self.phrase_work.drain(..);
        self.left_behind.extend(phrases.map(|(_, work)| work.give_up()));
        self.pair_said = None;
        self.void_frames = self.end.as_ref().map_or(0, AnyEnd::waiting);
    }

    /// Takes over the results of the side-chain's work.
    pub(in crate::analysis) fn take_news(&mut self, news: News) {
        let Some(side) = &mut self.side else { return };
        // After a phrase's end there is nothing to tell apart: the phrase's reading stands.
        let stands = self.reading.phrase.seconds > 0.0 && !self.reading.phrase.playing;
        if let Some(split) = news.split.filter(|_| !stands) {
            side.split = split;
        }
        if news.shown.is_some() && news.shown != side.shown {
            side.shown = news.shown;
            self.unshown = true;
        }
        // Found while a state was loaded: the id now belongs to another project's take.
        let left = side.orders.iter().any(|order| matches!(order, Order::Leave));
        for (id, told) in news.done.into_iter().filter(|_| !left) {
            if let Some(take) = self.takes.get_mut(id) {
                told.put_into(take);
                self.sum_up_anew();
                if let Some(line) = told.line {
                    self.say(line);
                }
            }
        }
    }

    /// The next frame does not follow the last: an invalid frame is inserted, which breaks every average there.
    pub(super) fn mark_gap(&mut self) {
        let (Some(monitor), true) = (&mut self.monitor, self.flowing) else {
            return;
        };
        self.flowing = false;
        monitor.push(&[f32::NAN], &[f32::NAN]);
        self.markers += 1;
        self.order(Order::Gap);
        if let Some(running) = &mut self.running {
            running.markers += 1;
        }
    }
}
