//! Recent readings for the window: band correlations over the last 20 s and the lowest recent value.

use sumproof_core::session::reading::Reading;
use sumproof_core::spectrum::bands::MAX_THIRDS;

/// Number of columns of the ribbon.
pub const COLUMNS: usize = 200;
/// Time between two columns, s.
pub const COLUMN_S: f64 = 0.1;
/// How long the lowest value is held before a higher one may take its place, s.
pub const HOLD_S: f64 = 3.0;

/// A correlation in steps of 1/126, or `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Cell(Option<i8>);

impl Cell {
    #[allow(clippy::cast_possible_truncation, reason = "whole and limited to ±126")]
    fn new(correlation: Option<f32>) -> Self {
        Self(
            correlation
                .filter(|c| c.is_finite())
                .map(|c| (c.clamp(-1.0, 1.0) * 126.0).round() as i8),
        )
    }

    fn correlation(self) -> Option<f32> {
        self.0.map(|steps| f32::from(steps) / 126.0)
    }
}

/// Band correlations over the last 20 s, and the broadband value with its lowest recent one. Fixed size, no clock: the
/// caller counts the time.
#[derive(Clone, Debug)]
pub struct History {
    cells: [[Cell; MAX_THIRDS]; COLUMNS],
    /// Index of the next column.
    next: usize,
    filled: usize,
    due_s: f64,
    now: Option<f32>,
    lowest: Option<f32>,
    lowest_age_s: f64,
    heard: bool,
    pushes: u64,
}

impl Default for History {
    fn default() -> Self {
        Self {
            cells: [[Cell::default(); MAX_THIRDS]; COLUMNS],
            next: 0,
            filled: 0,
            due_s: 0.0,
            now: None,
            lowest: None,
            lowest_age_s: 0.0,
            heard: false,
            pushes: 0,
        }
    }
}

impl History {
    /// Adds a reading `elapsed_s` after the last one, s. `meter` is the broadband correlation to show: the audio
    /// thread's meter, or the reading's own.
    pub fn push(&mut self, elapsed_s: f64, reading: &Reading, meter: Option<f32>) {
        let elapsed_s = if elapsed_s.is_finite() {
            elapsed_s.max(0.0)
        } else {
            0.0
        };
        self.pushes = self.pushes.wrapping_add(1);
        self.now = meter.filter(|c| c.is_finite());
        self.heard |= self.now.is_some();
        self.lowest_age_s += elapsed_s;
        match (self.now, self.lowest) {
            (Some(now), Some(lowest)) if now > lowest && self.lowest_age_s < HOLD_S => {}
            (Some(now), _) => {
                self.lowest = Some(now);
                self.lowest_age_s = 0.0;
            }
            (None, Some(_)) if self.lowest_age_s >= HOLD_S => self.lowest = None,
            (None, _) => {}
        }
        self.due_s -= elapsed_s;
        if self.due_s > 0.0 {
            return;
        }
        // A pause of the caller leaves one column, not a burst of equal ones.
        self.due_s = if self.due_s < -COLUMN_S {
            COLUMN_S
        } else {
            self.due_s + COLUMN_S
        };
        let column = &mut self.cells[self.next];
        for (index, cell) in column.iter_mut().enumerate() {
            let band = reading.bands.get(index).filter(|_| index < reading.band_count);
            *cell = Cell::new(band.and_then(|band| band.correlation));
        }
        self.next = (self.next + 1) % COLUMNS;
        self.filled = (self.filled + 1).min(COLUMNS);
    }

    /// Clears everything except that there was sound once.
    pub fn reset(&mut self) {
        *self = Self {
            heard: self.heard,
            pushes: self.pushes.wrapping_add(1),
            ..Self::default()
        };
    }

    /// The broadband correlation now; `None` is 'no reading'.
    #[must_use]
    pub fn now(&self) -> Option<f32> {
        self.now
    }

    /// The lowest recent value.
    #[must_use]
    pub fn lowest(&self) -> Option<f32> {
        self.lowest
    }

    /// Whether there was ever a reading.
    #[must_use]
    pub fn ever_heard(&self) -> bool {
        self.heard
    }

    /// Number of columns filled.
    #[must_use]
    pub fn len(&self) -> usize {
        self.filled
    }

    /// Whether there is no column yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.filled == 0
    }

    /// Changes with every push: a key for pictures drawn from this.
    #[must_use]
    pub fn stamp(&self) -> u64 {
        self.pushes
    }

    /// Correlation of a band `age` columns ago (0 is the latest); `None` where there was no reading.
    #[must_use]
    pub fn band(&self, age: usize, band: usize) -> Option<f32> {
        if age >= self.filled || band >= MAX_THIRDS {
            return None;
        }
        self.cells[(self.next + COLUMNS - 1 - age) % COLUMNS][band].correlation()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(correlation: f32) -> Reading {
        let mut reading = Reading {
            band_count: 1,
            ..Reading::default()
        };
        reading.bands[0].correlation = Some(correlation);
        reading
    }

    #[test]
    fn columns_come_every_tenth_of_a_second_and_the_oldest_go() {
        let mut history = History::default();
        for step in 0..100 {
            history.push(0.05, &reading(step as f32 / 100.0), Some(0.0));
        }
        assert!((50..=51).contains(&history.len()));
        assert!((history.band(0, 0).unwrap() - 0.98).abs() < 0.02);
        for _ in 0..COLUMNS * 2 {
            history.push(0.1, &reading(-1.0), Some(0.0));
        }
        assert_eq!(history.len(), COLUMNS);
        assert_eq!(history.band(COLUMNS - 1, 0), Some(-1.0));
        assert_eq!(history.band(COLUMNS, 0), None);
        assert_eq!(history.band(0, 1), None);
    }

    #[test]
    fn the_lowest_value_is_held_and_let_go() {
        let mut history = History::default();
        history.push(0.1, &reading(0.0), Some(-0.5));
        history.push(0.1, &reading(0.0), Some(0.9));
        assert_eq!(history.lowest(), Some(-0.5));
        for _ in 0..40 {
            history.push(0.1, &reading(0.0), Some(0.9));
        }
        assert_eq!(history.lowest(), Some(0.9));
        for _ in 0..40 {
            history.push(0.1, &reading(0.0), None);
        }
        assert_eq!((history.now(), history.lowest()), (None, None));
        assert!(history.ever_heard());
    }

    #[test]
    fn a_long_pause_leaves_one_column_and_nonsense_none() {
        let mut history = History::default();
        history.push(3600.0, &reading(f32::NAN), Some(f32::NAN));
        assert_eq!(history.len(), 1);
        assert_eq!((history.band(0, 0), history.now()), (None, None));
        assert!(!history.ever_heard());
        history.push(f64::NAN, &reading(0.5), None);
        assert_eq!(history.len(), 1);
    }
}
