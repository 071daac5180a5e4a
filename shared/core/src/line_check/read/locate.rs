//! Findings the parts in a recording.

use crate::line_check::response::{Transforms, is_swept};
use crate::line_check::signal::plan::{Plan, Sound, Sweep, limit_hz};

/// Time resolution of the search, seconds.
const CELL_S: f64 = 0.001;
/// How far apart the same part may arrive on the two lines, seconds: lines, and clocks that differ by 200 ppm and some.
const SPREAD_S: f64 = 0.036;
/// A part counts as found when it stands out of the filter's ordinary output by this factor. Of a thousand stretches of
/// noise, the largest is about 4.
const FOUND: f64 = 7.0;
/// The band that a loudspeaker and a phone carry, Hz.
const SEARCH_HZ: (f64, f64) = (150.0, 8000.0);

/// Where the signal is.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Location {
    /// Recorder's time of the signal's beginning, seconds; to some hundredths.
    pub start_s: f64,
    /// Which of the plan's pieces stand out.
    pub found: Vec<bool>,
    /// By how much the clearest two do.
    pub clearness: f64,
}

/// The output of a matched filter: the largest magnitude in each millisecond, over the median of all.
fn matched(transforms: &mut Transforms, x: &[f64], rate_hz: f64, sweep: &Sweep) -> Vec<f64> {
    let taps = (sweep.seconds * rate_hz).ceil() as usize;
    let len = (3 * taps).next_power_of_two();
    let template = (0..len)
        .map(|n| sweep.value(n as f64 / rate_hz, limit_hz(rate_hz)))
        .collect();
    let mut filter = transforms.forward(template);
    let low = SEARCH_HZ.0.max(sweep.low_hz);
    let high = SEARCH_HZ.1.min(sweep.high_hz).min(limit_hz(rate_hz));
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
    let cell = (CELL_S * rate_hz) as usize;
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

/// The largest of each cell and the `width` behind it.
fn largest_ahead(cells: &[f64], width: usize) -> Vec<f64> {
    (0..cells.len())
        .map(|n| {
            cells[n..(n + width).min(cells.len())]
                .iter()
                .copied()
                .fold(0.0, f64::max)
        })
        .collect()
}

/// Looks for the signal in any of the channels; `None` when nothing like it is there.
pub(super) fn locate(
    transforms: &mut Transforms,
    channels: &[Vec<f64>],
    rate_hz: f64,
    plan: &Plan,
) -> Option<Location> {
    let cell_s = (CELL_S * rate_hz).floor() / rate_hz;
    let width = (SPREAD_S / cell_s) as usize;
    let mut of = |sweep: &Sweep| {
        let mut all: Vec<f64> = Vec::new();
        for x in channels {
            let cells = largest_ahead(&matched(transforms, x, rate_hz, sweep), width);
            if all.is_empty() {
                all = cells;
            } else {
                all.iter_mut()
                    .zip(cells)
                    .for_each(|(kept, new)| *kept = kept.max(new));
            }
        }
        all
    };
    let (markers, sweeps) = (of(&plan.marker), of(&plan.sweep));
    let pieces: Vec<_> = plan.pieces.iter().filter(|piece| is_swept(piece)).collect();
    let heights = |start: isize| {
        pieces
            .iter()
            .map(move |piece| (piece, start))
            .map(|(piece, start)| {
                let cells = if piece.sound == Sound::Marker {
                    &markers
                } else {
                    &sweeps
                };
                let at = start + (piece.start_s / cell_s) as isize;
                usize::try_from(at)
                    .ok()
                    .and_then(|at| cells.get(at))
                    .copied()
                    .unwrap_or(0.0)
            })
    };
    let score = |start: isize| {
        heights(start)
            .map(|height| (1.0 + (height / FOUND).powi(2)).ln())
            .sum::<f64>()
    };
    let signal = (plan.seconds() / cell_s) as isize;
    let scores: Vec<f64> = (-signal..sweeps.len() as isize).map(score).collect();
    let best = scores.iter().copied().fold(0.0, f64::max);
    // A plateau: its middle.
    let tops: Vec<usize> = (0..scores.len()).filter(|&n| scores[n] > best - 1e-9).collect();
    let first = *tops.first()?;
    let last = tops
        .iter()
        .copied()
        .take_while(|&n| n <= first + width)
        .last()
        .unwrap_or(first);
    let start = (first + last) as isize / 2 - signal;
    let mut found = Vec::new();
    let mut tall: Vec<f64> = heights(start).collect();
    let mut of_swept = tall.clone().into_iter();
    for piece in &plan.pieces {
        found.push(is_swept(piece) && of_swept.next().is_some_and(|height| height > FOUND));
    }
    tall.sort_by(|a, b| b.total_cmp(a));
    let clearness = tall.get(1).copied().unwrap_or(0.0) / FOUND;
    (clearness > 1.0).then_some(Location {
        start_s: start as f64 * cell_s,
        found,
        clearness,
    })
}
