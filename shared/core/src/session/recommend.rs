//! What to do with the sound as it was last read, and how much it can take.

use crate::explain::advice::{Advice, Situation, Wishes, advise};
use crate::explain::margin::Margin;
use crate::session::monitor::Monitor;
use crate::session::reading::Reading;

/// Advice and margin of a reading, for the monitor's rig: on 1/24-octave cells, a sixteenth of the work that the FFT bins would be.
/// Allocates.
#[must_use]
pub fn recommend(monitor: &Monitor, reading: &Reading) -> (Vec<Advice>, Margin) {
    let (grid, split) = monitor.cells(reading.delay);
    let wishes = Wishes::default();
    let advice = advise(&Situation {
        split: &split,
        grid: &grid,
        rows: &reading.rows,
        rig: monitor.rig(),
        diagnosis: Some(&reading.diagnosis),
    });
    let margin = Margin::of(&split, &grid, wishes.late_loss_db, wishes.flipped_db);
    (advice, margin)
}
