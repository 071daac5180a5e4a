//! A take seen through a view (feeds, lines, limits): everything the forms of output have in common, computed once.
//!
//! In: the core's takes. Out: [`judged::Judged`]. Uses the words of `sumproof_wording`; every form of output uses this room.

pub(crate) mod judged;
pub(crate) mod set;
pub(crate) mod steps;
pub(crate) mod trend;
pub(crate) mod verdict;
