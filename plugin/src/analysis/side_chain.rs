//! The analysis' side of a side-chain: whether a reference arrives, and dry and wet told apart by it.

use nice_plug::util::permit_alloc;
use sumproof_core::dsp::db;
use sumproof_core::dsp::numbers::to_single;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::split::side_chain::{Reference, SideChain};
use sumproof_core::split::{Method, Split};
use sumproof_wording::side_chain::{
    SideChain as Shown, SideChainState, interrupted, nothing_came, too_short, unexplained,
};

/// The reference counts as missing once it has been silent this long while the channels sound, s: a reverb's tail goes
/// on after the last note.
const TAIL_S: f64 = 6.0;
/// The same before anything has arrived on the side-chain, s.
const FIRST_S: f64 = 1.0;
/// The least share of a take's sound during which the reference must sound for dry and wet to be told apart.
const LEAST_SHARE: f64 = 0.05;
/// Frames in which the channels sounded, and how many of them had a sounding reference.
#[derive(Debug, Clone, Copy, Default)]
struct ReferenceCoverage {
    sound: u64,
    referenced: u64,
}

/// State of one side-chain.
pub(crate) struct ReferenceSide {
    kind: Reference,
    side_chain: SideChain,
    split: Split,
    /// Frames of sound since the reference sounded last.
    missing_frames: u64,
    /// Whether the reference has ever sounded.
    came: bool,
    /// Coverage of the take being recorded.
    take: Option<ReferenceCoverage>,
}

impl ReferenceSide {
    /// A side-chain for a sample rate, Hz. Allocates all it needs: up to 105 MB at 48 kHz.
    pub(crate) fn new(rate_hz: f64, kind: Reference) -> Self {
        let side_chain = SideChain::new(rate_hz, kind);
        Self {
            kind,
            split: Split::silent(side_chain.grid().len(), Method::SideChain),
            side_chain,
            missing_frames: 0,
            came: false,
            take: None,
        }
    }

    /// Whether it was made for this rate and kind.
    pub(crate) fn fits(&self, rate_hz: f64, kind: Reference) -> bool {
        self.side_chain.rate_hz() == rate_hz && self.kind == kind
    }

    /// Sets split time and integration time, s.
    pub(crate) fn set(&mut self, split_s: f64, integration_s: f64) {
        self.side_chain.set_split(split_s);
        self.side_chain.set_integration(integration_s);
    }

    /// Takes frames, at most a block's worth at a time.
    pub(crate) fn push(&mut self, first: &[f32], second: &[f32], left: &[f32], right: &[f32]) {
        self.side_chain.push(first, second, left, right);
        let frames = left.len() as u64;
        let referenced = sounds(first, second);
        if referenced {
            self.came = true;
            self.missing_frames = 0;
        }
        if sounds(left, right) {
            if !referenced {
                self.missing_frames = self.missing_frames.saturating_add(frames);
            }
            if let Some(take) = &mut self.take {
                take.sound += frames;
                take.referenced += if referenced { frames } else { 0 };
            }
        }
    }

    /// Does one step of the response's computation. Returns `false` when there is none to do.
    pub(crate) fn work(&mut self) -> bool {
        let has_work = self.side_chain.has_work();
        if has_work {
            self.side_chain.work(1);
        }
        has_work
    }

    /// Sets whether its result is seen or heard.
    pub(crate) fn set_watched(&mut self, watched: bool) {
        self.side_chain.set_watched(watched);
    }

    /// The next frame does not follow the last.
    pub(crate) fn mark_gap(&mut self) {
        self.side_chain.mark_gap();
    }

    /// Its state, for the window.
    pub(crate) fn shown(&self) -> Shown {
        let state = if self.is_missing() {
            SideChainState::NoReference
        } else if let Some(state) = self.side_chain.state() {
            SideChainState::Found {
                arrival_ms: state.arrival_s.map(|arrival_s| to_single(1e3 * arrival_s)),
                unexplained: to_single(state.unexplained),
                heard_s: to_single(state.heard_s),
            }
        } else if self.came {
            SideChainState::Searching
        } else {
            SideChainState::Waiting
        };
        Shown {
            split_ms: to_single(1e3 * self.side_chain.split_s()),
            state,
        }
    }

    fn is_missing(&self) -> bool {
        let patience_s = if self.came { TAIL_S } else { FIRST_S };
        self.missing_frames as f64 > patience_s * self.side_chain.rate_hz()
    }

    /// The live split, if the reference yields one.
    pub(crate) fn read(&mut self) -> Option<&Split> {
        if self.is_missing() {
            return None;
        }
        self.side_chain.read(&mut self.split)?;
        // Right after the response is found nothing has been split by it yet.
        (self.split.total.mean_power() > 0.0).then_some(&self.split)
    }

    /// Clears its averages, unless a take is being recorded or worked on.
    pub(crate) fn reset(&mut self) {
        if self.take.is_none() && !self.side_chain.is_ending() {
            self.side_chain.reset();
            self.missing_frames = 0;
            self.came = false;
        }
    }

    /// A take begins with the next frame.
    pub(crate) fn start_take(&mut self) {
        permit_alloc(|| self.side_chain.start_take());
        self.take = Some(ReferenceCoverage::default());
    }

    /// Ends the take. Its dry and wet are worked out by [`Self::refine`].
    ///
    /// # Errors
    /// A line that says why they can't be; `None` in it where there is nothing to tell apart. No work is spent on it.
    pub(crate) fn end_take(&mut self, name: &str) -> Result<(), Option<String>> {
        let Some(heard) = self.take.take() else {
            return Err(None);
        };
        if heard.sound == 0 {
            self.side_chain.drop_take();
            return Err(None);
        }
        if (heard.referenced as f64) < LEAST_SHARE * heard.sound as f64 {
            self.side_chain.drop_take();
            return Err(Some(nothing_came(name)));
        }
        if self.side_chain.end_take(name.to_owned(), Pass::Full) {
            Ok(())
        } else {
            Err(None)
        }
    }

    /// Does a share of the work that the end of a take needs. Returns the result once it is done.
    pub(crate) fn refine(&mut self) -> Option<ToldApart> {
        let found = self.side_chain.refine()?;
        let name = &found.take.name;
        if self.side_chain.state().is_none() {
            return Some(ToldApart {
                line: Some(too_short(name)),
                take: None,
            });
        }
        let line = unexplained(name, found.state.unexplained)
            .or_else(|| (found.take.gaps > 0).then(|| interrupted(name)));
        Some(ToldApart {
            take: Some(found.take),
            line,
        })
    }

    /// Whether a take that ended is being worked on.
    pub(crate) fn is_ending(&self) -> bool {
        self.side_chain.is_ending()
    }

    /// Drops the take being recorded.
    pub(crate) fn drop_take(&mut self) {
        self.take = None;
        self.side_chain.drop_take();
    }

    /// Drops every take, being recorded or worked on.
    pub(crate) fn drop_takes(&mut self) {
        self.drop_take();
        self.side_chain.drop_endings();
    }
}

/// A take's dry and wet as worked out.
pub(crate) struct ToldApart {
    /// A take that has them; `None` where they couldn't be told apart.
    pub take: Option<Take>,
    /// The line to show about it.
    pub line: Option<String>,
}

impl ToldApart {
    /// Copies them into the stored take.
    pub(crate) fn put_into(&self, take: &mut Take) {
        let Some(found) = &self.take else { return };
        take.tell_apart(found.split.clone(), found.delay);
    }
}

/// Whether either channel is above the level below which nothing is read.
fn sounds(one: &[f32], other: &[f32]) -> bool {
    let sum: f64 = one
        .iter()
        .chain(other)
        .map(|&sample| f64::from(sample).powi(2))
        .filter(|power| power.is_finite())
        .sum();
    sum > one.len() as f64 * db::to_power(db::NO_READING_DBFS)
}
