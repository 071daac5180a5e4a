//! Takes being recorded, and passes that become a pair.

use nice_plug::util::permit_alloc;
use sumproof_core::session::take::Pass;
use sumproof_core::split::two_pass::PassRecorder;

use super::Engine;
use crate::analysis::passes::{Paired, PairingStep};
use crate::analysis::side_chain::ReferenceSide;
use crate::state::takes::Takes;

/// A take being recorded.
#[derive(Debug, Clone, Copy)]
pub(super) struct RunningTake {
    pub(super) pass: Pass,
    /// Markers pushed where frames are missing; the monitor counts them as invalid.
    pub(super) markers: u64,
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
    pub(super) fn start_take(&mut self, pass: Pass) {
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
        // A dry or a wet pass is a half: there's nothing to tell apart in it.
        if let Some(side) = self.reference.as_mut().filter(|_| pass == Pass::Full) {
            side.start_take();
        }
        let rate_hz = monitor.rate_hz();
        permit_alloc(|| self.sound = Some(PassRecorder::new(rate_hz)));
        self.running = Some(RunningTake { pass, markers: 0 });
    }

    pub(super) fn finish_take(&mut self) {
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
            take.invalid_frames = take.invalid_frames.saturating_sub(running.markers);
            let by_reference = reference.as_mut().and_then(|side| side.finish_take(&mut take));
            // Where frames are missing, no sound lies over another.
            let sound = self.sound.take().filter(|_| running.markers == 0);
            let outcome = self.pairing.heard(&take, sound);
            // There was room when the take began.
            let _ = takes.add(take);
            match outcome {
                PairingStep::Waits => {
                    if running.pass != Pass::Full {
                        self.pair_said = None;
                    }
                    by_reference
                }
                PairingStep::Now(paired) => {
                    let failing = paired.failing.clone();
                    let line = kept(takes, *paired);
                    self.pair_said = Some((line.clone(), failing));
                    Some(line)
                }
                PairingStep::Later(work) => {
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
    pub(super) fn gather_pair(&mut self, wait: bool) {
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

    /// What comes next does not follow what came: a frame that is no sound breaks every average there, as an invalid one does.
    pub(super) fn mark_gap(&mut self) {
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
}
