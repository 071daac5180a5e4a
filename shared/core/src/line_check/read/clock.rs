//! The recorder's clock against the player's, and the time of the first arrival.

use super::{AHEAD_S, ReadFailure, Reader};
use crate::dsp::numbers::{circular_place, to_index, to_lag};
use crate::line_check::fit::ratio::{REACH_S, relation};
use crate::line_check::response::{Clock, is_swept};
use crate::line_check::result::Notice;
use crate::line_check::signal::plan::{Piece, Sound};

/// How far apart the same line may be found at the two ends of a signal of half a minute with clocks 250 ppm apart, seconds.
const SLIP_S: f64 = 0.009;
const ROUNDS: usize = 6;
/// Below this, a band's own ringing is longer than what is looked for, Hz.
const ONSET_HZ: f64 = 200.0;
/// Power is looked at in cells of this length, seconds.
const CELL_S: f64 = 0.003;
/// A response has begun when its power is this share of the most it comes to.
const BEGINS: f64 = 0.004;
/// Of the height of two equal responses: less is no match.
const MATCH: f64 = 0.2;
/// No clock of a phone or player is further off.
const MOST_DRIFT: f64 = 400e-6;

impl Reader {
    /// Sets the clock so that the first arrival is at lag 0 and the same line arrives at the same lag all along.
    pub(super) fn set_clock(&mut self, found: &[bool]) -> Result<(), ReadFailure> {
        self.move_to_first_arrival(found)?;
        let mut known = false;
        for round in 0..ROUNDS {
            // A wrong clock smears the responses, the highs most, and a short sweep's unlike a long one's.
            let (slip_s, highest_hz) = match round {
                0 => (SLIP_S, 1500.0),
                1 => (0.3 * SLIP_S, 5000.0),
                _ => (0.3 * SLIP_S, f64::INFINITY),
            };
            let Some(correction) = self.drift_left(slip_s, highest_hz) else {
                break;
            };
            known = true;
            let drift = self.clock.drift + correction;
            if drift.abs() > MOST_DRIFT {
                known = false;
                self.clock.drift = 0.0;
                break;
            }
            self.clock.drift = drift;
            // Two hundredths of a ppm are half a microsecond in half a minute.
            if round > 1 && correction.abs() < 2e-8 {
                break;
            }
        }
        if !known {
            self.notices.push(Notice::ClockUnknown);
        }
        self.move_to_first_arrival(found)
    }

    fn move_to_first_arrival(&mut self, found: &[bool]) -> Result<(), ReadFailure> {
        let mut onsets = self.onsets(found, ONSET_HZ, CELL_S);
        if onsets.is_empty() {
            // A subwoofer.
            onsets = self.onsets(found, 0.0, 3.0 * CELL_S);
        }
        onsets.sort_by(f64::total_cmp);
        let middle = *onsets.get(onsets.len() / 2).ok_or(ReadFailure::Faint)?;
        // The other line isn't further away than this; what seems to be is chance.
        let first = onsets
            .into_iter()
            .find(|onset| *onset >= middle - REACH_S - 0.004)
            .unwrap_or(middle);
        self.clock = Clock {
            start_s: self.clock.start_s + first,
            ..self.clock
        };
        Ok(())
    }

    /// When each main part begins, by what is above a frequency, in cells of so long.
    fn onsets(&mut self, found: &[bool], low_hz: f64, cell_s: f64) -> Vec<f64> {
        let mut onsets: Vec<f64> = Vec::new();
        for channel in 0..self.channels.len() {
            for (piece, &is_found) in found.iter().enumerate() {
                // What comes before a marker's second sweep is its first.
                if !(is_found && self.inside[piece] && self.plan.pieces[piece].sound == Sound::Sweep) {
                    continue;
                }
                let response = self.response(channel, piece);
                let weighted = self.by_noise(&response, -0.14, 0.12, low_hz);
                onsets.extend(onset(&weighted, self.rate_hz, cell_s));
            }
        }
        onsets
    }

    /// How much the clock still drifts, from pairs of pieces on the same line; `None` where there are none.
    fn drift_left(&mut self, slip_s: f64, highest_hz: f64) -> Option<f64> {
        let indices: Vec<usize> = (0..self.plan.pieces.len())
            .filter(|&n| self.inside[n] && is_swept(&self.plan.pieces[n]))
            .collect();
        let (mut weights, mut sum) = (0.0, 0.0);
        let mut guesses: Vec<(f64, f64)> = Vec::new();
        // With each line on a channel of its own, the other one has nothing to say of it.
        for channel in 0..self.channels.len() {
            let cuts: Vec<_> = indices
                .iter()
                .map(|&piece| {
                    let response = self.response(channel, piece);
                    self.cut(&response, -AHEAD_S - slip_s, 0.1)
                })
                .collect();
            for (i, &first) in indices.iter().enumerate() {
                for (j, &second) in indices.iter().enumerate().skip(i + 1) {
                    let (a, b) = (&self.plan.pieces[first], &self.plan.pieces[second]);
                    let apart_s = b.start_s - a.start_s;
                    if direction(a) != direction(b) || apart_s < 1.0 {
                        continue;
                    }
                    let (transforms, grid) = (&mut self.deconvolver.transforms, &self.grid);
                    let Some(found) = relation(transforms, grid, &cuts[i], &cuts[j], slip_s, highest_hz)
                    else {
                        continue;
                    };
                    if found.sign > 0.0 && found.height > MATCH {
                        let weight = (found.height * found.height * apart_s).powi(2);
                        guesses.push((found.delay_s / apart_s, weight));
                    }
                }
            }
        }
        // Those that agree with the weightiest.
        let &(best, _) = guesses.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
        for (guess, weight) in guesses {
            if (guess - best).abs() < 30e-6 {
                weights += weight;
                sum += weight * guess;
            }
        }
        (weights > 0.0).then(|| sum / weights)
    }
}

/// Which lines a piece is on, with its gain taken out.
fn direction(piece: &Piece) -> [f64; 2] {
    let gain = piece.lines[0].abs().max(piece.lines[1].abs());
    piece.lines.map(|line| line / gain)
}

/// When a response begins, seconds, from what [`Reader::by_noise`] makes of it: where it stands out of what is before, and
/// reaches a share of what it comes to. A large room builds up slowly, so its peak is no beginning.
fn onset(weighted: &[f64], rate_hz: f64, cell_s: f64) -> Option<f64> {
    let power = |from_s: f64, to_s: f64| {
        let (from, to) = (to_lag(from_s * rate_hz), to_lag(to_s * rate_hz));
        let sum: f64 = (from..to)
            .map(|lag| weighted[circular_place(lag, weighted.len())].powi(2))
            .sum();
        sum / (to - from).max(1) as f64
    };
    let noise = power(-0.13, -0.08);
    let cells: Vec<f64> = (0..to_index(0.15 / cell_s))
        .map(|n| {
            let at_s = -0.07 + cell_s * n as f64;
            power(at_s, at_s + cell_s)
        })
        .collect();
    let loudest = cells.iter().copied().fold(0.0, f64::max);
    if loudest < 8.0 * noise {
        return None;
    }
    let threshold = (5.0 * noise).max(BEGINS * loudest);
    let first = cells.iter().position(|&power| power >= threshold)?;
    Some(-0.07 + cell_s * first as f64)
}
