//! The analysis' side of a side-chain: what comes on it, and dry and wet told apart by it.

use nice_plug::util::permit_alloc;
use sumproof_core::dsp::db;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::split::side_chain::{Reference, SideChain};
use sumproof_core::split::{Method, Split};
use sumproof_views::{SideChain as Shown, SideChainState};

/// The reference may be silent this long while the channels sound before it counts as missing: a reverb's tail goes on
/// after the last note, s.
const TAIL_S: f64 = 6.0;
/// The same before anything has come on the side-chain, s.
const FIRST_S: f64 = 1.0;
/// A take is told apart by a reference that sounded in this share of its sound at least.
const LEAST_SHARE: f64 = 0.05;
/// Steps of the solver in one look, about 0.1 s once in 0.7 s of sound.
const STEPS: usize = 10;

/// Frames of the channels that sounded, and of those the ones beside which the reference did.
#[derive(Debug, Clone, Copy, Default)]
struct ReferenceCoverage {
    sound: u64,
    referenced: u64,
}

/// Everything about one side-chain.
pub(crate) struct ReferenceSide {
    kind: Reference,
    side_chain: SideChain,
    split: Split,
    /// Frames of sound since the reference sounded last.
    missing_frames: u64,
    /// Whether it ever did.
    came: bool,
    /// Of the take being recorded.
    take: Option<ReferenceCoverage>,
}

impl ReferenceSide {
    /// For a sample rate. Allocates all it needs: up to 90 MB at 48 kHz.
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

    /// Whether it was made for this.
    pub(crate) fn fits(&self, rate_hz: f64, kind: Reference) -> bool {
        self.side_chain.rate_hz() == rate_hz && self.kind == kind
    }

    /// Follows the settings.
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

    /// A share of the work the response needs.
    pub(crate) fn work(&mut self) {
        self.side_chain.work(STEPS);
    }

    /// How it stands, for the window.
    pub(crate) fn shown(&self) -> Shown {
        let state = if self.is_missing() {
            SideChainState::NoReference
        } else if let Some(state) = self.side_chain.state() {
            SideChainState::Found {
                arrival_ms: state.arrival_s.map(|arrival_s| (1e3 * arrival_s) as f32),
                unexplained: state.unexplained as f32,
                heard_s: state.heard_s as f32,
            }
        } else if self.came {
            SideChainState::Searching
        } else {
            SideChainState::Waiting
        };
        Shown {
            split_ms: (1e3 * self.side_chain.split_s()) as f32,
            state,
        }
    }

    fn is_missing(&self) -> bool {
        let patience_s = if self.came { TAIL_S } else { FIRST_S };
        self.missing_frames as f64 > patience_s * self.side_chain.rate_hz()
    }

    /// The live split, if the reference tells one.
    pub(crate) fn read(&mut self) -> Option<&Split> {
        if self.is_missing() {
            return None;
        }
        self.side_chain.read(&mut self.split)?;
        // Right after the response is found nothing has been split by it yet.
        (self.split.total.mean_power() > 0.0).then_some(&self.split)
    }

    /// Forgets what was heard, unless a take is being recorded.
    pub(crate) fn reset(&mut self) {
        if self.take.is_none() {
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

    /// Ends the take, and puts its dry and wet in the place of the estimated ones. A line to say where that can't be done,
    /// or where it should be known how well. A few seconds.
    pub(crate) fn finish_take(&mut self, take: &mut Take) -> Option<String> {
        let heard = self.take.take()?;
        let found = self.side_chain.finish_take(take.name.clone(), Pass::Full);
        let name = &take.name;
        if heard.sound == 0 {
            return None;
        }
        if (heard.referenced as f64) < LEAST_SHARE * heard.sound as f64 {
            return Some(format!(
                "\u{2018}{name}\u{2019}: nothing came on the side-chain, so its dry and wet are estimated."
            ));
        }
        let Some(found) = found.filter(|_| self.side_chain.state().is_some()) else {
            return Some(format!(
                "\u{2018}{name}\u{2019} is too short for the side-chain, so its dry and wet are estimated."
            ));
        };
        // The total stays the one from longer blocks.
        let (parts, total) = (found.take.split, take.split.total.clone());
        take.split = Split::new(parts.dry, parts.wet, total, Method::SideChain);
        take.delay = found.take.delay.or(take.delay);
        let share = found.state.unexplained;
        (share > sumproof_views::MUCH_UNEXPLAINED).then(|| {
            format!(
                "\u{2018}{name}\u{2019}: at least {:.0}\u{a0}% of it has nothing linear to do with the side-chain and counts \
                 as wet. Is the side-chain tapped after the amplifier?",
                100.0 * share
            )
        })
    }

    /// Drops the take being recorded.
    pub(crate) fn drop_take(&mut self) {
        self.take = None;
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
