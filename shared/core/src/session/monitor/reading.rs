//! Readings of the phrase that is shown.

use crate::alignment::delay::ChannelDelay;
use crate::dsp::db;
use crate::dsp::numbers::to_single;
use crate::explain::diagnosis::Clues;
use crate::routing::feed::{FeedId, Side};
use crate::session::calm::Since;
use crate::session::monitor::Monitor;
use crate::session::reading::{AskFor, BandNow, Reading};
use crate::session::span::Over;
use crate::spectrum::bands::BandMap;
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::Grid;
use crate::split::Split;
use crate::split::estimated::split_into;
use crate::split::ways::Resolved;

/// Clues (turning, movement) are renewed after this much more of the phrase, seconds; sentences don't change more often
/// ([`crate::session::calm`]).
const CLUES_S: f64 = 1.0;

/// The state in which clues were found.
#[derive(Clone, Copy, Debug)]
pub(super) struct HeardAt {
    /// Frames taken by then.
    frames: u64,
    /// Number of the phrase.
    phrase: u64,
    /// The delay taken out, seconds.
    delay_s: f64,
}

impl Monitor {
    /// Writes only the fast figures to `out`: the bands' correlations of the last second, the counts, the state of
    /// playing and recording. A small part of the cost of [`Self::read`]. Does not allocate.
    pub fn read_now(&mut self, out: &mut Reading) {
        self.now.read(&mut self.spectrum);
        if let Some(delay) = out.delay {
            self.lags.correct(&mut self.spectrum, delay.delay_s);
        }
        let scorer = self.board.scorer();
        out.rate_hz = self.rate_hz;
        out.frames = self.frames;
        out.invalid_frames = self.invalid_frames;
        out.recording = self.recording.active;
        out.take_s = self.recording.sums.frames as f64 / self.rate_hz;
        if let Some(listening) = &self.listening {
            out.phrase.playing = listening.phrase().playing;
        }
        Self::read_bands(scorer.thirds(), scorer.grid(), &self.spectrum, out);
    }

    /// Writes a full reading to `out`; `selected` is the feed whose curves are wanted. Words change only after they
    /// have stood ([`crate::session::calm`]). Does not allocate. A few milliseconds.
    pub fn read(&mut self, selected: FeedId, out: &mut Reading) {
        self.read_told(selected, None, out);
    }

    /// The same with dry and wet from another source: a split on the monitor's FFT bins
    /// ([`crate::split::side_chain::SideChain::grid`] is the same grid). `None` estimates them from the pair alone.
    ///
    /// # Panics
    /// If the split's number of cells is not the monitor's.
    pub fn read_told(&mut self, selected: FeedId, told: Option<&Split>, out: &mut Reading) {
        self.read_now(out);
        if let Some((delay_s, resolved)) = self.read_phrase(out) {
            self.tell_apart(delay_s, &resolved, told, out);
            self.read_rows(out);
            if let Some(told) = told {
                let delay_s = self.finder.find(&told.dry).map_or(0.0, |delay| delay.delay_s);
                out.diagnosis = self.diagnoser.examine_parts(told, delay_s, Some(&out.diagnosis));
            }
            out.diagnosis = out.diagnosis.settled(&out.rows);
            self.read_curves(selected, out);
        }
    }

    /// Reads the phrase's average and the figures of the whole sound: levels, correlation, delay, diagnosis. `None`
    /// where only takes are wanted.
    fn read_phrase(&mut self, out: &mut Reading) -> Option<(f64, Resolved)> {
        let listening = self.listening.as_mut()?;
        out.phrase = listening.phrase();
        listening.read(&mut self.spectrum);
        out.averages = self.spectrum.averages;
        let (mut left, mut right, mut cross) = (0.0, 0.0, 0.0);
        for cell in self.board.scorer().cells() {
            left += self.spectrum.ll[cell];
            right += self.spectrum.rr[cell];
            cross += self.spectrum.lr[cell].re;
        }
        out.left_db = db::from_power(left);
        out.right_db = db::from_power(right);
        let floor = db::to_power(db::NO_READING_DBFS);
        out.correlation =
            (left > floor && right > floor).then(|| (cross / (left * right).sqrt()).clamp(-1.0, 1.0));
        if listening.over() != Over::Phrase {
            let candidate = self.finder.candidate(&self.spectrum);
            listening.tracker().try_delay(candidate);
        }
        // When playing stops the words become final.
        self.stopped |= listening.is_quiet() && !self.was_quiet;
        self.was_quiet = listening.is_quiet();
        let attacks = listening.attacks();
        let (evidence, ways) = listening.evidence();
        out.delay = evidence.delay();
        let resolved = evidence.resolve(self.kind);
        let now = HeardAt {
            frames: self.frames,
            phrase: out.phrase.number,
            delay_s: evidence.delay_s,
        };
        let stands = |at: &HeardAt| {
            let lately = (now.frames.abs_diff(at.frames) as f64) < CLUES_S * self.rate_hz;
            lately && (at.phrase, at.delay_s) == (now.phrase, now.delay_s)
        };
        let clues = match self.clues {
            Some((at, kept)) if stands(&at) && !self.stopped && !self.set_anew => Clues {
                attacks,
                no_dry: resolved.bounds.no_separate_dry,
                ..kept
            },
            _ => {
                let heard = Clues::heard(&evidence, &resolved.bounds, ways, attacks);
                self.clues = Some((now, heard));
                heard
            }
        };
        out.diagnosis = self.diagnoser.examine(&self.spectrum, &clues);
        Some((evidence.delay_s, resolved))
    }

    /// Splits the average into dry and wet.
    fn tell_apart(&mut self, delay_s: f64, resolved: &Resolved, told: Option<&Split>, out: &mut Reading) {
        // The window reduced the cross term of delayed channels.
        self.lags.correct(&mut self.spectrum, delay_s);
        out.kind = self.kind;
        let grid = self.board.scorer().grid();
        match told {
            Some(told) => self.split.copy_from(told),
            None => split_into(&self.spectrum, grid, resolved, delay_s, &mut self.split),
        }
        out.bounds = self.split.bounds;
        out.method = self.split.method;
        out.wet_over_dry_range_db = self.split.wet_over_dry_range_db();
        let level = (db::to_power(out.left_db) + db::to_power(out.right_db)) / 2.0;
        out.wet_over_dry_db = self
            .split
            .wet_over_dry_db()
            .filter(|_| db::from_power(level) > db::NO_READING_DBFS);
    }

    /// Every feed's figures, and the debounced words.
    fn read_rows(&mut self, out: &mut Reading) {
        self.board.score(&self.split, &mut self.rows);
        out.rows = self.rows;
        let since = Since {
            elapsed_s: self.frames.saturating_sub(self.read_at) as f64 / self.rate_hz,
            set_anew: core::mem::take(&mut self.set_anew),
            stopped: core::mem::take(&mut self.stopped),
            phrase: (out.phrase.number, out.phrase.seconds),
        };
        self.read_at = self.frames;
        out.worst = self.calm.settle(&mut out.rows, &since);
        out.asks_for = out.bounds.and_then(|bounds| AskFor::of(&out.rows, &bounds));
    }

    /// The curves of the selected feed and of the mono wedge.
    fn read_curves(&mut self, selected: FeedId, out: &mut Reading) {
        let fines = self.board.scorer().twenty_fourths();
        out.curve_points = fines.len();
        for (hz, band) in out.curve_hz.iter_mut().zip(fines.bands()) {
            *hz = to_single(band.centre_hz());
        }
        out.selected = selected;
        for (id, curves) in [
            (selected, &mut out.selected_curves),
            (FeedId::MonoWedge, &mut out.wedge_curves),
        ] {
            let worse = out.rows.iter().find(|row| row.id == id).and_then(|row| row.worse);
            let out = [
                &mut curves.dry_db[..],
                &mut curves.wet_db[..],
                &mut curves.total_db[..],
            ];
            self.board
                .curves(id, worse.unwrap_or(Side::Right), &self.split, out);
        }
    }

    /// Dry, wet and total as they were last read, gathered into 1/24-octave cells (the grid is given with them), with a
    /// delay between the channels kept apart. Allocates.
    #[must_use]
    pub fn cells(&self, delay: Option<ChannelDelay>) -> (Grid, Split) {
        let cells = Grid::twenty_fourth_octave(self.rate_hz);
        let split =
            crate::session::take::gathered_split(&self.split, self.board.scorer().grid(), &cells, delay);
        (cells, split)
    }

    fn read_bands(map: &BandMap, grid: &Grid, spectrum: &CrossSpectrum, out: &mut Reading) {
        out.band_count = map.len();
        // Blocks that overlap by three quarters amount to one average per half block.
        let seconds = spectrum.averages * (2 * (grid.len() - 1)) as f64 / (2.0 * grid.rate_hz());
        let floor = db::to_power(db::NO_READING_DBFS);
        for (index, (now, band)) in out.bands.iter_mut().zip(map.bands()).enumerate() {
            let reading = spectrum.band(grid, map, index);
            let audible = reading.left > floor / 100.0 && reading.right > floor / 100.0;
            *now = BandNow {
                lower_hz: to_single(band.lower_hz),
                upper_hz: to_single(band.upper_hz),
                nominal_hz: to_single(band.nominal_hz),
                nominal_last_hz: to_single(band.nominal_last_hz),
                partial: band.partial,
                correlation: reading.correlation.filter(|_| audible).map(to_single),
                coherence: reading.coherence.filter(|_| audible).map(to_single),
                spread: if seconds > 0.0 {
                    to_single(1.0 / (2.0 * band.width_hz() * seconds).sqrt())
                } else {
                    f32::INFINITY
                },
                level_db: to_single(db::from_power((reading.left + reading.right) / 2.0)),
            };
        }
    }
}
