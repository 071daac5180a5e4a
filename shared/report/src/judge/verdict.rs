//! The verdict on a take that comes from nowhere but the core.

use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Take;

use crate::judge::judged::Judged;
use crate::judge::set::View;

/// One line: what the mono wedge does, what drops out, what thins, each with the figure that decided.
#[must_use]
pub fn verdict(take: &Take, rig: &Rig) -> String {
    Judged::of_take(take, &View::from(rig)).verdict
}
