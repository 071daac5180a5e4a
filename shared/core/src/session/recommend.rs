//! Advice and margin for the last reading.

use crate::explain::advice::{Advice, Situation, Wishes, advise};
use crate::explain::margin::{PartMargin, part_margin};
use crate::session::monitor::Monitor;
use crate::session::reading::Reading;

/// Advice, and the margin of the dry (of the total where no dry was found), for the monitor's rig. Computed on
/// 1/24-octave cells, at a sixteenth of the cost of the FFT bins. Allocates.
#[must_use]
pub fn recommend(monitor: &Monitor, reading: &Reading) -> (Vec<Advice>, Option<PartMargin>) {
    let (grid, split) = monitor.cells(reading.delay);
    let wishes = Wishes::default();
    let advice = advise(&Situation {
        split: &split,
        grid: &grid,
        rows: &reading.rows,
        rig: monitor.rig(),
        diagnosis: Some(&reading.diagnosis),
    });
    let margin = [&split.dry, &split.total]
        .into_iter()
        .find_map(|part| part_margin(part, &grid, wishes.late_loss_db, wishes.flipped_db));
    (advice, margin)
}
