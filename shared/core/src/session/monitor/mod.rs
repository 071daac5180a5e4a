//! The analysis side: takes frames, keeps the live and the take average, returns readings and takes.
//!
//! In: frames. Out: readings ([`reading`]) of the phrase that is played, takes ([`recording`]) of the recording or of
//! the last phrase. The plugin has one monitor per instance, the command one per file.

mod reading;
mod recording;

use crate::alignment::delay::DelayFinder;
use crate::dsp::samples::Cleaner;
use crate::explain::diagnosis::{Clues, Diagnoser};
use crate::score::board::{Board, FEEDS, Row};
use crate::score::rig::Rig;
use crate::score::scorer::Scorer;
use crate::session::calm::Calm;
use crate::session::meter::LOWEST_HZ;
use crate::session::phrase::Heard;
use crate::session::span::{Listening, Over, PhraseNow};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::{Grid, block_len};
use crate::spectrum::welch::lags::Lags;
use crate::spectrum::welch::{Average, Blocks};
use crate::split::kind::PresetKind;
use crate::split::{Method, Split};

use reading::HeardAt;
pub use recording::LONGER;
use recording::Recording;

/// Integration time of the bands' correlations where a phrase is read, seconds.
const NOW_S: f64 = 1.0;

/// Analyses a pair of channels for every feed: the phrase being played, or the last one until there is enough of the
/// next.
///
/// Pushing and reading don't allocate; construction and finishing a take do. For another rate make a new one.
#[derive(Debug)]
pub struct Monitor {
    rate_hz: f64,
    cleaner: Cleaner,
    blocks: Blocks,
    /// Average of the last second, quiet or not.
    now: Average,
    /// Whether the window is open: fast figures are averaged.
    watched: bool,
    /// The phrases that are read; `None` where only takes are wanted.
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
    /// The last clues of the whole phrase, and when they were found.
    clues: Option<(HeardAt, Clues)>,
    board: Board,
    /// Rows with words that are not debounced.
    rows: [Row; FEEDS],
    calm: Calm,
    /// Frames taken when it was last read.
    read_at: u64,
    /// The player changed a setting since.
    set_anew: bool,
    /// The player has stopped since.
    stopped: bool,
    was_quiet: bool,
}

impl Monitor {
    /// Creates a monitor for a sample rate, Hz, clamped to 1 kHz to 1 MHz.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        Self::made(rate_hz, |rate_hz, len| {
            let listening = Some(Box::new(Listening::new(rate_hz, len)));
            (listening, Recording::new(rate_hz, len))
        })
    }

    /// Creates one for takes only (files): live readings stay silent, which saves a third of the work.
    #[must_use]
    pub fn for_takes(rate_hz: f64) -> Self {
        Self::made(rate_hz, |rate_hz, len| (None, Recording::of_file(rate_hz, len)))
    }

    /// Creates one with the listening and recording parts made by `parts` from the rate (Hz) and the block length.
    fn made(rate_hz: f64, parts: impl FnOnce(f64, usize) -> (Option<Box<Listening>>, Recording)) -> Self {
        let rate_hz = if rate_hz.is_nan() {
            48_000.0
        } else {
            rate_hz.clamp(1000.0, 1_000_000.0)
        };
        let len = block_len(rate_hz);
        let grid = Grid::fft(rate_hz, len);
        let cells = grid.len();
        let (listening, recording) = parts(rate_hz, len);
        Self {
            rate_hz,
            cleaner: Cleaner::default(),
            blocks: Blocks::new(len),
            now: Average::live(rate_hz, len, NOW_S),
            watched: true,
            listening,
            recording,
            frames: 0,
            invalid_frames: 0,
            spectrum: CrossSpectrum::silent(cells),
            split: Split::silent(cells, Method::Estimated),
            finder: DelayFinder::new(rate_hz, len),
            lags: Lags::new(rate_hz, len),
            kind: PresetKind::NotSaid,
            diagnoser: Diagnoser::new(grid.clone()),
            clues: None,
            board: Board::new(Scorer::new(grid, LOWEST_HZ), Rig::default(), [0.0; 3]),
            rows: Board::empty_rows(),
            calm: Calm::default(),
            read_at: 0,
            set_anew: false,
            stopped: false,
            was_quiet: true,
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

    /// Sets the kind of preset as the player states it, for readings from now on and for takes.
    pub fn set_kind(&mut self, kind: PresetKind) {
        self.set_anew |= kind != self.kind;
        self.kind = kind;
    }

    /// The kind of preset as the player stated it.
    #[must_use]
    pub fn kind(&self) -> PresetKind {
        self.kind
    }

    /// Changes the stretch that a reading is averaged over.
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

    /// Sets whether the fast figures ([`Self::read_now`]) are read. While they aren't, they are not averaged; their
    /// average restarts when they are read again.
    pub fn set_watched(&mut self, watched: bool) {
        if watched && !self.watched {
            self.now.reset();
        }
        self.watched = watched;
    }

    /// The sound of the last phrase, or of the one being played once there is a second of it: the part that counts in a
    /// reading, at most the last half minute. `None` if nothing was played. Allocates.
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

    /// The number of finished phrases, and the length of the last one that counts, seconds.
    #[must_use]
    pub fn phrases_over(&self) -> (u64, f64) {
        self.listening.as_ref().map_or((0, 0.0), |listening| {
            (listening.ended(), listening.phrase().seconds)
        })
    }

    /// Clears the phrases and the counts. A take being recorded goes on.
    pub fn reset(&mut self) {
        self.now.reset();
        if let Some(listening) = &mut self.listening {
            listening.reset();
        }
        self.set_anew = true;
        self.clues = None;
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
                // The phrase begins after quiet; nothing before it counts.
                self.blocks.restart();
            }
            self.blocks.push(run, |block| {
                if let Some(listening) = &mut self.listening {
                    let now = self.watched.then_some(&mut self.now);
                    listening.add_beside(now, block);
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
}
