//! A take judged through a view (feeds, lines, limits): the common basis of all forms of output, computed once.
//!
//! In: the core's takes. Out: [`judged::Judged`]. Uses `sumproof_wording` and `names`; used by every form of output.

pub(crate) mod judged;
pub(crate) mod set;
pub(crate) mod steps;
pub(crate) mod trend;
pub(crate) mod verdict;
