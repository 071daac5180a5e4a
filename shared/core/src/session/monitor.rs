//! The analysis side: takes frames, keeps the live and the take average, gives readings and takes.

use crate::alignment::delay::{ChannelDelay, DelayFinder};
use crate::alignment::onset::OnsetEvidence;
use crate::dsp::db;
use crate::dsp::samples::{Cleaner, Run};
use crate::explain::diagnosis::{Clues, Diagnoser};
use crate::explain::direct::Direct;
use crate::explain::movement::Movement;
use crate::routing::feed::{FeedId, Side};
use crate::score::board::{Board, FEEDS, Row};
use crate::score::rig::Rig;
use crate::score::scorer::Scorer;
use crate::session::calm::{Calm, Since};
use crate::session::meter::LOWEST_HZ;
use crate::session::phrase::Heard;
use crate::session::reading::{AskFor, BandNow, Reading};
use crate::session::span::{Listening, Over, PhraseNow};
use crate::session::take::{Pass, Take};
use crate::spectrum::bands::BandMap;
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::{Grid, block_len};
use crate::spectrum::pair_sums::PairSums;
use crate::spectrum::welch::lags::Lags;
use crate::spectrum::welch::{Average, Blocks};
use crate::split::estimated::{Tracker, split_into};
use crate::split::kind::PresetKind;
use crate::split::ways::{Memory, Resolved};
use crate::split::{Method, Split};

/// How much longer the blocks are that a take's total is averaged over. Bins of 6 Hz let a string just below a band's edge
/// (the low E at 82 Hz, below the 100 Hz band) into the band: 0.4 dB of sum difference on a real guitar; a quarter of that
/// width, 0.05 dB. Dry and wet stay with the short blocks, of which there are enough to tell them apart.
pub const LONGER: usize = 4;

/// The bands' correlations are those of about the last so many seconds where a phrase is read, seconds.
const NOW_S: f64 = 1.0;

/// A take being recorded.
#[derive(Debug)]
struct Recording {
    average: Average,
    long_blocks: Blocks,
    long_average: Average,
    onsets: OnsetEvidence,
    tracker: Tracker,
    /// When the delay between the channels is looked for next, frames of the take.
    next_look: u64,
    sums: PairSums,
    invalid_frames: u64,
    active: bool,
}

impl Recording {
    /// Takes frames for everything but the average over the short blocks, which the monitor has for its own sake.
    fn push(&mut self, run: &Run<'_>) {
        if run.sound {
            self.sums.add_run(run.left, run.right);
        } else {
            self.invalid_frames += run.len() as u64;
        }
        self.onsets.push(run);
        self.tracker.push(run);
        self.long_blocks.push(run, |block| self.long_average.add(block));
    }
}

/// Hears a pair of channels and says what each feed gets of it: of the phrase that is played, and of the last one until there is
/// enough of the next.
///
/// Pushing and reading allocate nothing; making one, changing the rate (make a new one) and finishing a take do.
#[derive(Debug)]
pub struct Monitor {
    rate_hz: f64,
    cleaner: Cleaner,
    blocks: Blocks,
    /// Of the last second, quiet or not.
    now: Average,
    /// What a reading is of; `None` where only takes are wanted.
    listening: Option<Box<Listening>>,
    recording: Recording,
    frames: u64,
    invalid_frames: u64,
    spectrum: CrossSpectrum,
    split: Split,
    finder: DelayFinder,
    lags: Lags,
    kind: PresetKind,
    diagnoser: Diagnoser,
    board: Board,
    /// Rows with the words of the moment.
    rows: [Row; FEEDS],
    calm: Calm,
    /// Frames heard when it was last read.
    read_at: u64,
    /// The player changed something since, or stopped.
    set_anew: bool,
    stopped: bool,
    was_quiet: bool,
}

impl Monitor {
    /// For a sample rate, 1 kHz to 1 MHz (others are moved there).
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let rate_hz = if rate_hz.is_nan() {
            48_000.0
        } else {
            rate_hz.clamp(1000.0, 1_000_000.0)
        };
        let len = block_len(rate_hz);
        let grid = Grid::fft(rate_hz, len);
        let cells = grid.len();
        Self {
            rate_hz,
            cleaner: Cleaner::default(),
            blocks: Blocks::new(len),
            now: Average::live(rate_hz, len, NOW_S),
            listening: Some(Box::new(Listening::new(rate_hz, len))),
            recording: Recording {
                average: Average::take(len),
                long_blocks: Blocks::new(LONGER * len),
                long_average: Average::take(LONGER * len),
                onsets: OnsetEvidence::new(rate_hz),
                tracker: Tracker::new(rate_hz, Memory::TAKE),
                next_look: 0,
                sums: PairSums::default(),
                invalid_frames: 0,
                active: false,
            },
            frames: 0,
            invalid_frames: 0,
            spectrum: CrossSpectrum::silent(cells),
            split: Split::silent(cells, Method::Estimated),
            finder: DelayFinder::new(rate_hz, len),
            lags: Lags::new(rate_hz, len),
            kind: PresetKind::NotSaid,
            diagnoser: Diagnoser::new(grid.clone()),
            board: Board::new(Scorer::new(grid, LOWEST_HZ), Rig::default(), [0.0; 3]),
            rows: Board::empty_rows(),
            calm: Calm::default(),
            read_at: 0,
            set_anew: false,
            stopped: false,
            was_quiet: true,
        }
    }

    /// The same for takes only, as files are: a live reading stays silent, which saves a third of the work.
    #[must_use]
    pub fn for_takes(rate_hz: f64) -> Self {
        Self {
            listening: None,
            ..Self::new(rate_hz)
        }
    }

    /// The sample rate, Hz.
    #[must_use]
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Changes lines, sum law, limits or the user's own feed. Does not allocate.
    pub fn set_rig(&mut self, rig: &Rig) {
        self.set_anew |= rig != self.board.rig();
        self.board.set_rig(rig);
    }

    /// The rig in use.
    #[must_use]
    pub fn rig(&self) -> &Rig {
        self.board.rig()
    }

    /// What the player says the preset is: for readings from now on and for takes.
    pub fn set_kind(&mut self, kind: PresetKind) {
        self.set_anew |= kind != self.kind;
        self.kind = kind;
    }

    /// What the player said the preset is.
    #[must_use]
    pub fn kind(&self) -> PresetKind {
        self.kind
    }

    /// Changes what a reading is averaged over.
    pub fn set_over(&mut self, over: Over) {
        let now_s = match over {
            Over::Phrase => NOW_S,
            Over::Seconds(seconds) => seconds,
        };
        self.now.set_integration(self.rate_hz, now_s);
        if let Some(listening) = &mut self.listening {
            listening.set_over(over);
        }
    }

    /// The sound of the phrase that was played last, or of the one being played where there is a second of it: what counts in a
    /// reading of it, the last half minute of a long one. `None` where nothing was played. Allocates.
    #[must_use]
    pub fn last_phrase(&self) -> Option<[Vec<f32>; 2]> {
        self.listening.as_ref()?.last_sound()
    }

    /// The phrase that is read.
    #[must_use]
    pub fn phrase(&self) -> PhraseNow {
        self.listening
            .as_ref()
            .map_or_else(PhraseNow::default, |listening| listening.phrase())
    }

    /// How many phrases are over, and how long the last one is, seconds (as much of it as counts).
    #[must_use]
    pub fn phrases_over(&self) -> (u64, f64) {
        self.listening.as_ref().map_or((0, 0.0), |listening| {
            (listening.ended(), listening.phrase().seconds)
        })
    }

    /// Forgets the phrases and the counts. A take being recorded goes on.
    pub fn reset(&mut self) {
        self.now.reset();
        if let Some(listening) = &mut self.listening {
            listening.reset();
        }
        self.set_anew = true;
        self.read_at = 0;
        self.frames = 0;
        self.invalid_frames = 0;
        if !self.recording.active {
            self.blocks.restart();
        }
    }

    /// Takes frames (as many as the shorter slice has). Invalid frames are counted and left out of every average.
    pub fn push(&mut self, left: &[f32], right: &[f32]) {
        let recording = &mut self.recording;
        self.cleaner.runs(left, right, |run| {
            let frames = run.len() as u64;
            self.frames += frames;
            if !run.sound {
                self.invalid_frames += frames;
            }
            if let Some(listening) = &mut self.listening
                && listening.push(run) == Heard::Begins
                && !recording.active
            {
                // It begins after quiet; nothing before it counts.
                self.blocks.restart();
            }
            self.blocks.push(run, |block| {
                if let Some(listening) = &mut self.listening {
                    self.now.add(block);
                    listening.add(block);
                }
                if recording.active {
                    recording.average.add(block);
                }
            });
            if recording.active {
                recording.push(run);
            }
        });
        if let Some(listening) = &mut self.listening {
            listening.look_for_delay(&mut self.finder, &mut self.spectrum);
        }
        if self.recording.active && self.recording.sums.frames >= self.recording.next_look {
            self.recording.next_look *= 2;
            self.look_for_delay();
        }
    }

    /// Tries the delay that seems to lie between the channels of the take.
    fn look_for_delay(&mut self) {
        self.recording.average.read(&mut self.spectrum);
        let candidate = self.finder.candidate(&self.spectrum);
        self.recording.tracker.try_delay(candidate);
    }

    /// Begins a take with the next frame; one that was being recorded is dropped.
    pub fn start_take(&mut self) {
        self.blocks.restart();
        self.recording.average.reset();
        self.recording.long_blocks.restart();
        self.recording.long_average.reset();
        self.recording.onsets.reset();
        self.recording.tracker.restart();
        self.recording.next_look = self.rate_hz as u64;
        self.recording.sums = PairSums::default();
        self.recording.invalid_frames = 0;
        self.recording.active = true;
    }

    /// Whether a take is being recorded.
    #[must_use]
    pub fn is_recording(&self) -> bool {
        self.recording.active
    }

    /// Drops the take being recorded.
    pub fn drop_take(&mut self) {
        self.recording.active = false;
    }

    /// Ends the take. `None` when none was being recorded or it has no frames. Allocates.
    pub fn finish_take(&mut self, name: String, pass: Pass) -> Option<Take> {
        if !self.recording.active {
            return None;
        }
        self.recording.active = false;
        let average = &mut self.recording.average;
        self.blocks.flush(|block| average.add(block));
        let long = &mut self.recording.long_average;
        self.recording.long_blocks.flush(|block| long.add(block));
        if self.recording.sums.frames == 0 {
            return None;
        }
        if !self.recording.tracker.tries_delay() {
            self.look_for_delay();
        }
        self.recording.average.read(&mut self.spectrum);
        let (evidence, ways) = self.recording.tracker.evidence();
        let bounds = evidence.resolve(self.kind).bounds;
        let clues = Clues {
            direct: Direct::heard(&evidence, &bounds),
            no_dry: bounds.no_separate_dry,
            attacks: self.recording.onsets.read(f64::INFINITY),
            movement: Movement::of(ways),
            wet: None,
        };
        let diagnosis = self.diagnoser.examine(&self.spectrum, &clues);
        let long_len = self.recording.long_blocks.block_len();
        let mut total = CrossSpectrum::silent(long_len / 2 + 1);
        self.recording.long_average.read(&mut total);
        // What a cell of the take gathers is as many bins the more as there are fewer long blocks.
        total.averages = self.spectrum.averages;
        let grid = Grid::fft(self.rate_hz, long_len);
        let take = Take::estimated(name, pass, self.recording.sums, &grid, total, evidence, self.kind);
        Some(
            take.with_invalid_frames(self.recording.invalid_frames)
                .with_diagnosis(diagnosis),
        )
    }

    /// Writes what moves fast into `out`, and nothing else: the bands' correlations of the last second, the counts, what is being
    /// played or recorded. A small part of what [`Self::read`] takes. Does not allocate.
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

    /// Writes everything there is to know now into `out`; `selected` is the feed whose curves are wanted. Words change only when
    /// they have stood ([`crate::session::calm`]). Does not allocate. A few milliseconds.
    pub fn read(&mut self, selected: FeedId, out: &mut Reading) {
        self.read_told(selected, None, out);
    }

    /// The same with dry and wet as somebody else told them apart: a split on the monitor's FFT bins
    /// ([`crate::split::side_chain::SideChain::grid`] is the same grid). `None` estimates them from the pair alone.
    ///
    /// # Panics
    /// If the split has another number of cells than the monitor.
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

    /// The average of the phrase with what belongs to the sound as a whole: levels, correlation, delay, diagnosis. `None` where
    /// only takes are wanted.
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
        // What a player reads when he stops is final.
        self.stopped |= listening.is_quiet() && !self.was_quiet;
        self.was_quiet = listening.is_quiet();
        let attacks = listening.attacks();
        let (evidence, ways) = listening.evidence();
        out.delay = evidence.delay();
        let resolved = evidence.resolve(self.kind);
        let clues = Clues {
            direct: Direct::heard(&evidence, &resolved.bounds),
            no_dry: resolved.bounds.no_separate_dry,
            attacks,
            movement: Movement::of(ways),
            wet: None,
        };
        out.diagnosis = self.diagnoser.examine(&self.spectrum, &clues);
        Some((evidence.delay_s, resolved))
    }

    /// Dry and wet of the average.
    fn tell_apart(&mut self, delay_s: f64, resolved: &Resolved, told: Option<&Split>, out: &mut Reading) {
        // The window took something off the cross term of channels that are apart.
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

    /// Every feed's figures, and the words that have stood.
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
            *hz = band.centre_hz() as f32;
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

    /// Dry, wet and total as they were last read, gathered into 1/24-octave cells (the grid is given with them), a delay
    /// between the channels kept apart. Allocates.
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
                lower_hz: band.lower_hz as f32,
                upper_hz: band.upper_hz as f32,
                nominal_hz: band.nominal_hz as f32,
                nominal_last_hz: band.nominal_last_hz as f32,
                partial: band.partial,
                correlation: reading.correlation.filter(|_| audible).map(|c| c as f32),
                coherence: reading.coherence.filter(|_| audible).map(|c| c as f32),
                spread: if seconds > 0.0 {
                    (1.0 / (2.0 * band.width_hz() * seconds).sqrt()) as f32
                } else {
                    f32::INFINITY
                },
                level_db: db::from_power((reading.left + reading.right) / 2.0) as f32,
            };
        }
    }
}
