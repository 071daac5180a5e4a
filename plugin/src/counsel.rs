//! Advice and margin for the sound as it was last read, ready for the window.

use sumproof_core::advice::{Wishes, advise};
use sumproof_core::margin::{self, DelayMargin, Map};
use sumproof_core::monitor::Monitor;
use sumproof_core::reading::Reading;

/// What to do, and how much the sound can take.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Counsel {
    /// Advice, a sentence each.
    pub what_now: Vec<String>,
    /// The margin of the dry, or of everything where no dry was found.
    pub margin: Option<sumproof_views::Margin>,
}

impl Counsel {
    /// Works it out on 1/24-octave cells, a sixteenth of the work that the FFT bins would be. Allocates.
    pub fn on(monitor: &Monitor, reading: &Reading) -> Self {
        let (grid, split) = monitor.cells(reading.delay);
        let wishes = Wishes::default();
        let advice = advise(&split, &grid, reading.delay, Some(&reading.diagnosis), &wishes);
        let all = margin::Margin::of(&split, &grid, wishes.late_loss_db, wishes.flipped_db);
        Self {
            what_now: advice
                .iter()
                .map(sumproof_core::advice::Advice::sentence)
                .collect(),
            margin: all.dry.or(all.total).map(|part| shown(&part)),
        }
    }
}

fn shown(part: &margin::PartMargin) -> sumproof_views::Margin {
    let Map {
        straight_db,
        flipped_db,
    } = &part.map;
    sumproof_views::Margin {
        delay_ms: (0..straight_db.len())
            .map(|point| (1e3 * Map::delay_s(point)) as f32)
            .collect(),
        straight_db: straight_db.to_vec(),
        flipped_db: flipped_db.to_vec(),
        reach_ms: match part.delay {
            DelayMargin::Reached { delay_s, .. } => Some((1e3 * delay_s) as f32),
            DelayMargin::NotReached { .. } => None,
        },
    }
}
