//! Takes from passes and from a side-chain, whose dry and wet are known separately.

use crate::alignment::delay::DelayFinder;
use crate::dsp::db;
use crate::session::take::{Pass, Take};
use crate::spectrum::grid::block_len;
use crate::split::kind::PresetKind;
use crate::split::side_chain::{EndedTake, SideChain, SideChainState};
use crate::split::two_pass::{TwoPass, TwoPassError, unrelated};
use crate::split::{Method, Split};

impl TwoPass {
    /// The split as a take. Without a full pass the take's sums are those of both passes added, as if dry and wet were
    /// unrelated.
    #[must_use]
    pub fn take(&self, name: String) -> Take {
        let len = block_len(self.grid.rate_hz());
        let delay = DelayFinder::new(self.grid.rate_hz(), len).find(&self.split.dry);
        Take::new(name, Pass::Full, self.sums, 0, &self.grid, &self.split, delay)
    }
}

/// The split of two stored takes; a full take, if given, provides the total. Gains and waveforms can't be checked from
/// spectra: both passes are taken as they are.
///
/// # Errors
/// When the takes have different sample rates or a pass is silent.
pub fn of_takes(name: String, dry: &Take, wet: &Take, full: Option<&Take>) -> Result<Take, TwoPassError> {
    for (pass, take) in [(Pass::Dry, Some(dry)), (Pass::Wet, Some(wet)), (Pass::Full, full)] {
        let Some(take) = take else { continue };
        if take.rate_hz != dry.rate_hz {
            return Err(TwoPassError::Rates);
        }
        if db::from_power(take.sums.mean_power()) <= db::NO_READING_DBFS {
            return Err(TwoPassError::Silent(pass));
        }
    }
    let whole = |take: &Take| take.split.total.clone();
    let split = match full {
        Some(full) => Split::new(whole(dry), whole(wet), whole(full), Method::TwoPass),
        None => Split::of_parts(whole(dry), whole(wet), &dry.grid(), Method::TwoPass),
    };
    let mut both = Take {
        name,
        pass: Pass::Full,
        rate_hz: dry.rate_hz,
        invalid_frames: dry.invalid_frames + wet.invalid_frames,
        gaps: dry.gaps + wet.gaps,
        sums: full.map_or_else(|| unrelated(dry.sums, wet.sums), |full| full.sums),
        delay: dry.delay,
        diagnosis: None,
        split,
        kind: PresetKind::NotSaid,
        evidence: None,
    };
    both.explain_parts(full.and_then(|full| full.diagnosis.as_ref()));
    Ok(both)
}

/// A take with its split and the split's state.
#[derive(Clone, Debug, PartialEq)]
pub struct SideChainTake {
    /// The take.
    pub take: Take,
    /// The state of its split.
    pub state: SideChainState,
    /// Its split on the FFT bins it was computed on.
    pub split: Split,
}

impl SideChain {
    /// Does part of the work at the end of a take ([`SideChain::refine_ending`]). Returns the take once it is done. Allocates.
    pub fn refine(&mut self) -> Option<SideChainTake> {
        let ended = self.refine_ending()?;
        let EndedTake {
            name,
            pass,
            sums,
            invalid_frames,
            gaps,
            delay,
            state,
            split,
        } = ended;
        let take = Take {
            gaps,
            ..Take::new(name, pass, sums, invalid_frames, self.grid(), &split, delay)
        };
        Some(SideChainTake { take, state, split })
    }

    /// Ends the take and computes all of it at once, which takes a second or two: [`Self::end_take`] and
    /// [`Self::refine`] in one. `None` when none was being recorded or it has no frames. Allocates.
    pub fn finish_take(&mut self, name: String, pass: Pass) -> Option<SideChainTake> {
        if !self.end_take(name, pass) {
            return None;
        }
        let mut last = None;
        while self.is_ending() {
            last = self.refine().or(last);
        }
        last
    }
}
