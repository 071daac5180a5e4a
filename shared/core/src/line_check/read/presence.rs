//! Whether the softer line is there at all: the louder one says what to look for.

use super::{AHEAD_S, REACH_S, Reader, STANDS_OUT};
use crate::Complex;
use crate::dsp::db;
use crate::dsp::numbers::{circular_place, to_lag};
use crate::line_check::fit::ratio::MOST_CLEAR;
use crate::line_check::response::Response;
use crate::line_check::result::Arrival;

/// A line this far below the other one is leakage, dB.
const LEAKAGE_DB: f64 = 30.0;
/// Unless a line would have been seen this far below the other one, its absence isn't believed, dB: a pad takes off as much.
const BELIEVED_DB: f64 = 20.0;
/// How much finer than the samples is looked.
const FINER: usize = 2;
/// The highest corner a line is thought to have, Hz: a softer line may be as thin as that, and has less in the lows to be seen by.
const THINNEST_HZ: f64 = 200.0;
/// Deviations that are added to what is needed to be seen, so that a line of that level is missed once in forty times.
const BY_CHANCE: f64 = 2.0;

/// What the louder line's response, looked for in the softer one's (a matched filter: all of the room counts, not only its first
/// peak), gives.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Presence {
    /// The most it comes to within the reach of a line, in deviations of the noise.
    deviations: f64,
    /// What a line as loud as the louder one, and as thin as a line gets, would come to.
    as_loud: f64,
    /// What it comes to as a level against the louder line, dB.
    level_db: f64,
}

impl Presence {
    /// How far below the louder line one could be without being seen, dB, where `needed` deviations are asked for.
    fn bound_db(&self, needed: f64) -> f64 {
        db::from_amplitude(self.as_loud / (needed + BY_CHANCE))
    }
}

impl Reader {
    /// Whether the softer of two lines (louder first) arrives; `clear` is how far its own peak stands out of its noise.
    pub(super) fn softer_arrival(
        &mut self,
        lines: [&Response; 2],
        clear: f64,
        length_s: f64,
        apart: bool,
    ) -> Arrival {
        let presence = self.presence(lines[0], lines[1], length_s);
        // A line that sounds quite unlike the other one has only its own peak to be seen by.
        if clear >= STANDS_OUT || presence.deviations >= STANDS_OUT {
            // In noise only the second of these means anything, and of an unlike line only the first.
            let level_db = self.rough_level_db(lines).max(presence.level_db);
            return if level_db < -LEAKAGE_DB && !apart {
                Arrival::No { below_db: -level_db }
            } else {
                Arrival::Yes
            };
        }
        let below_db = presence.bound_db(STANDS_OUT);
        if below_db >= BELIEVED_DB {
            Arrival::No { below_db }
        } else {
            Arrival::Unknown { below_db }
        }
    }

    /// Looks for `loud` in `soft`.
    fn presence(&mut self, loud: &Response, soft: &Response, length_s: f64) -> Presence {
        let template = self.cut(loud, -AHEAD_S, REACH_S + length_s);
        // Earlier or later than the louder one by all a line's delay.
        let (from_s, to_s) = (-AHEAD_S - REACH_S, 2.0 * REACH_S + length_s);
        let searched = self.cut(soft, from_s, to_s);
        let len = self.grid.len;
        let mut bins = vec![Complex::new(0.0, 0.0); len / 2 + 1];
        let (mut straight, mut thin) = (0.0, 0.0);
        let faint = 1e-9 * template.loudest(&self.grid);
        for &(from, to) in &self.grid.bands {
            if self.grid.hz(from) < template.band_hz.0.max(searched.band_hz.0)
                || self.grid.hz(to) > template.band_hz.1.min(searched.band_hz.1)
            {
                continue;
            }
            let clearness = template.clearness((from, to));
            // What of the template is the line and not its own noise (Wiener).
            let own = clearness / (1.0 + clearness);
            let floor = template.power((from, to)) / ((to - from) as f64 * MOST_CLEAR);
            for (k, bin) in bins.iter_mut().enumerate().take(to).skip(from) {
                let noise = searched.noise[k] / searched.energy * len as f64 + floor + faint;
                if noise <= 0.0 {
                    continue;
                }
                let x = template.bins[k];
                *bin = own * x.conj() * searched.bins[k] / noise;
                // Both the variance of the result and what an equal line gives.
                let line = own * own * x.norm_sqr() / noise;
                straight += line;
                let octaves = self.grid.hz(k) / THINNEST_HZ;
                thin += line * octaves * octaves / (1.0 + octaves * octaves);
            }
        }
        // Both halves of the spectrum.
        let deviation = (2.0 * straight).sqrt().max(1e-300);
        let fine = FINER * len;
        let found = self.deconvolver.transforms.inverse(bins, fine);
        let reach = to_lag(REACH_S * self.rate_hz * FINER as f64);
        let most = (-reach..=reach)
            .map(|lag| found[circular_place(lag, fine)].abs())
            .fold(0.0, f64::max)
            * fine as f64;
        Presence {
            deviations: most / deviation,
            as_loud: 2.0 * thin / deviation,
            level_db: db::from_amplitude(most / (2.0 * straight).max(1e-300)),
        }
    }
}
