//! How far a sweep stands out of a recording, over time.

use crate::dsp::numbers::{to_index, to_lag};
use crate::line_check::response::Transforms;
use crate::line_check::signal::plan::{Sweep, limit_hz};

/// Time resolution of the search, seconds.
const CELL_S: f64 = 0.001;
/// How far apart the same part may arrive on the two lines, seconds: lines, and clocks that differ by 200 ppm and some.
const SPREAD_S: f64 = 0.036;
/// A part counts as found when it stands out of the filter's ordinary output by this factor. Of a thousand stretches of
/// noise, the largest is about 4.
const FOUND: f64 = 7.0;
/// It is a sweep of the length that is looked for when it outdoes what comes right before by this factor.
const SHARP: f64 = 4.0;

/// How far something stands out at each time.
#[derive(Clone, Debug)]
pub(super) struct Heights {
    /// Over the filter's ordinary output: the most within [`SPREAD_S`] from each cell on.
    values: std::rc::Rc<[f64]>,
    /// Length of a cell, seconds.
    pub cell_s: f64,
    /// Cells over which the most is taken.
    pub width: usize,
}

impl Heights {
    pub fn len(&self) -> usize {
        self.values.len()
    }

    fn at(&self, cell: isize) -> f64 {
        usize::try_from(cell)
            .ok()
            .and_then(|cell| self.values.get(cell))
            .copied()
            .unwrap_or(0.0)
    }

    pub fn stands_out(&self, cell: isize) -> bool {
        self.at(cell) > FOUND
    }

    /// Stands out of what is right before it, too: a sweep of another length smears.
    pub fn is_sharp(&self, cell: isize) -> bool {
        let cells = |seconds: f64| to_lag(seconds / self.cell_s);
        let mut before: Vec<f64> = (cell - cells(0.35)..cell - cells(0.05))
            .map(|n| self.at(n))
            .collect();
        before.sort_by(f64::total_cmp);
        self.at(cell) > SHARP * before.get(before.len() / 2).copied().unwrap_or(0.0)
    }

    /// On a scale on which one piece that stands far out doesn't outweigh several.
    pub fn standing_out(&self, cell: isize) -> f64 {
        (1.0 + (self.at(cell) / FOUND).powi(2)).ln()
    }
}

/// How far a sweep stands out in any of the channels, by what is in a band (Hz).
pub(super) fn heights_of(
    transforms: &mut Transforms,
    channels: &[Vec<f64>],
    rate_hz: f64,
    sweep: &Sweep,
    band_hz: (f64, f64),
) -> Heights {
    let cell_s = (CELL_S * rate_hz).floor().max(1.0) / rate_hz;
    let width = to_index(SPREAD_S / cell_s);
    let mut all: Vec<f64> = Vec::new();
    for x in channels {
        let cells = largest_ahead(&matched(transforms, x, rate_hz, sweep, band_hz), width);
        if all.is_empty() {
            all = cells;
        } else {
            all.iter_mut()
                .zip(cells)
                .for_each(|(kept, new)| *kept = kept.max(new));
        }
    }
    Heights {
        values: all.into(),
        cell_s,
        width,
    }
}

/// The output of a matched filter: the largest magnitude in each millisecond, over the median of all.
fn matched(
    transforms: &mut Transforms,
    x: &[f64],
    rate_hz: f64,
    sweep: &Sweep,
    band_hz: (f64, f64),
) -> Vec<f64> {
    let taps = to_index((sweep.seconds * rate_hz).ceil());
    let len = (3 * taps).next_power_of_two();
    let template = (0..len)
        .map(|n| sweep.value(n as f64 / rate_hz, limit_hz(rate_hz)))
        .collect();
    let mut filter = transforms.forward(template);
    let low = band_hz.0.max(sweep.low_hz);
    let high = band_hz.1.min(sweep.high_hz).min(limit_hz(rate_hz));
    for (k, bin) in filter.iter_mut().enumerate() {
        let hz = k as f64 * rate_hz / len as f64;
        let magnitude = bin.norm();
        *bin = if (low..high).contains(&hz) && magnitude > 0.0 {
            // All frequencies alike: a short pulse. Halfway to the deconvolution, which noise would spoil.
            bin.conj() / magnitude
        } else {
            crate::Complex::new(0.0, 0.0)
        };
    }
    let hop = len - taps;
    let cell = to_index(CELL_S * rate_hz).max(1);
    let mut cells = vec![0.0f64; x.len() / cell + 1];
    let mut at = 0;
    while at < x.len() {
        let mut block = x[at..(at + len).min(x.len())].to_vec();
        block.resize(len, 0.0);
        let mut bins = transforms.forward(block);
        for (bin, filter) in bins.iter_mut().zip(&filter) {
            *bin *= filter;
        }
        let out = transforms.inverse(bins, len);
        for (n, y) in out.iter().enumerate().take(hop.min(x.len() - at)) {
            let slot = &mut cells[(at + n) / cell];
            *slot = slot.max(y.abs());
        }
        at += hop;
    }
    let mut sorted = cells.clone();
    sorted.sort_by(f64::total_cmp);
    let loudest = sorted.last().copied().unwrap_or(0.0);
    let median = sorted[sorted.len() / 2].max(1e-5 * loudest);
    if median > 0.0 {
        cells.iter_mut().for_each(|cell| *cell /= median);
    }
    cells
}

/// The largest of each cell and the `width` behind it, with the candidates for it in a queue.
fn largest_ahead(cells: &[f64], width: usize) -> Vec<f64> {
    let mut out = vec![0.0; cells.len()];
    let mut candidates: std::collections::VecDeque<usize> = std::collections::VecDeque::new();
    for n in (0..cells.len()).rev() {
        while candidates.back().is_some_and(|&later| cells[later] <= cells[n]) {
            candidates.pop_back();
        }
        candidates.push_back(n);
        if candidates.front().is_some_and(|&first| first >= n + width.max(1)) {
            candidates.pop_front();
        }
        out[n] = candidates.front().map_or(0.0, |&first| cells[first]);
    }
    out
}
