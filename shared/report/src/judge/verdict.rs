//! The verdict on a take of the core, without a file.

use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Take;

use crate::judge::judged::Judged;
use crate::judge::set::View;

/// One line: what the mono wedge does, which feeds drop out, which thin, each with the figure that decided.
#[must_use]
pub fn verdict(take: &Take, rig: &Rig) -> String {
    Judged::of_take(take, &View::from(rig)).verdict
}
