//! The stretch a reading is averaged over: the phrase being played, or its last seconds.
//!
//! Two phrase averages alternate: the last phrase's reading stays until there is enough of the next one.

use crate::alignment::delay::DelayFinder;
use crate::alignment::onset::{Attacks, OnsetEvidence};
use crate::dsp::numbers::to_frames;
use crate::dsp::samples::Run;
use crate::session::phrase::{Heard, Phase, PhraseFinder};
use crate::session::phrase_sound::{PhraseSound, Place};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::welch::{Average, Block};
use crate::split::estimated::Tracker;
use crate::split::ways::{Evidence, Memory, Ways};

/// The stretch a reading is averaged over.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Over {
    /// Everything since the phrase began; of a long one the last 20 to 30 s.
    #[default]
    Phrase,
    /// An exponential average with this time constant, seconds.
    Seconds(f64),
}

/// How much of a phrase must be played before it replaces the one before, seconds.
pub const SHOWN_AFTER_S: f64 = 1.0;
/// A long phrase is averaged in pieces of this length, seconds, of which the last three count.
pub const PIECE_S: f64 = 10.0;
/// Number of pieces that count.
const PIECES: usize = 3;
/// How far back attacks count where a phrase isn't read as a whole, seconds.
const ATTACKS_S: f64 = 5.0;

/// The phrase that a reading describes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PhraseNow {
    /// It is being played; otherwise it is the last one.
    pub playing: bool,
    /// Length that counts, seconds; 0 when nothing was ever played.
    pub seconds: f64,
    /// The phrase was longer than that.
    pub is_cut: bool,
    /// Its number, counted from 1.
    pub number: u64,
}

/// The averages of one phrase.
#[derive(Debug)]
struct PhraseAverage {
    pieces: [Average; PIECES],
    piece: usize,
    /// Frames in the pieces.
    frames: [u64; PIECES],
    /// Where each piece begins in the kept sound.
    from: [Place; PIECES],
    /// Where the last piece ends in the kept sound.
    to: Place,
    is_cut: bool,
    number: u64,
    /// All its frames.
    all: u64,
    /// When the delay between the channels is searched for next, frames of the phrase.
    next_look: u64,
    tracker: Tracker,
    onsets: OnsetEvidence,
}

impl PhraseAverage {
    fn new(rate_hz: f64, block_len: usize) -> Self {
        Self {
            pieces: core::array::from_fn(|_| Average::take(block_len)),
            piece: 0,
            frames: [0; PIECES],
            from: [Place::default(); PIECES],
            to: Place::default(),
            is_cut: false,
            number: 0,
            all: 0,
            next_look: 0,
            tracker: Tracker::new(rate_hz, Memory::PHRASE),
            onsets: OnsetEvidence::new(rate_hz),
        }
    }

    fn begin(&mut self, number: u64, at: Place, first_look: u64) {
        self.pieces.iter_mut().for_each(Average::reset);
        self.piece = 0;
        self.frames = [0; PIECES];
        self.from = [at; PIECES];
        self.to = at;
        self.is_cut = false;
        self.number = number;
        self.all = 0;
        self.next_look = first_look;
        self.tracker.restart();
        self.onsets.reset();
    }

    /// Begins the next piece, which replaces the oldest.
    fn next_piece(&mut self) {
        self.piece = (self.piece + 1) % PIECES;
        self.is_cut |= self.frames[self.piece] > 0;
        self.pieces[self.piece].reset();
        self.frames[self.piece] = 0;
        self.from[self.piece] = self.to;
        self.tracker.next_piece();
    }

    fn heard(&self) -> u64 {
        self.frames.iter().sum()
    }

    /// Where the part that counts begins.
    fn begins_at(&self) -> Place {
        (1..=PIECES)
            .map(|after| (self.piece + after) % PIECES)
            .find(|&piece| self.frames[piece] > 0)
            .map_or(self.to, |piece| self.from[piece])
    }
}

/// The listening part: finds phrases, averages them and keeps their sound.
#[derive(Debug)]
pub struct Listening {
    rate_hz: f64,
    over: Over,
    finder: PhraseFinder,
    phrases: [PhraseAverage; 2],
    /// Index of the phrase being filled.
    filling: usize,
    /// Index of the phrase shown.
    shown: usize,
    begun: u64,
    ended: u64,
    takes_in: bool,
    /// It is quiet, perhaps for so short a time that the phrase goes on.
    quiet: bool,
    sound: PhraseSound,
}

impl Listening {
    /// Creates one for a sample rate, Hz, and a block length, frames.
    #[must_use]
    pub fn new(rate_hz: f64, block_len: usize) -> Self {
        Self {
            rate_hz,
            over: Over::Phrase,
            finder: PhraseFinder::new(rate_hz),
            phrases: core::array::from_fn(|_| PhraseAverage::new(rate_hz, block_len)),
            filling: 0,
            shown: 0,
            begun: 0,
            ended: 0,
            takes_in: false,
            quiet: true,
            sound: PhraseSound::new(rate_hz),
        }
    }

    /// Changes the stretch averaged over. The phrase being played counts from now on; a finished one keeps its reading.
    pub fn set_over(&mut self, over: Over) {
        if over == self.over {
            return;
        }
        self.over = over;
        let playing = self.finder.phase() == Phase::Playing;
        if !playing && self.filling == self.shown {
            self.filling = 1 - self.shown;
        }
        let number = self.phrases[self.filling].number;
        self.begin_filling(number);
    }

    fn begin_filling(&mut self, number: u64) {
        let (place, first_look) = (self.sound.place(), to_frames(self.rate_hz));
        let phrase = &mut self.phrases[self.filling];
        match self.over {
            Over::Phrase => {
                phrase.tracker.set_memory(&Memory::PHRASE);
                phrase.pieces[0].set_decay(1.0);
            }
            Over::Seconds(seconds) => {
                phrase.tracker.set_memory(&Memory::LIVE);
                phrase.pieces[0].set_integration(self.rate_hz, seconds);
            }
        }
        phrase.begin(number, place, first_look);
    }

    /// The stretch averaged over.
    #[must_use]
    pub fn over(&self) -> Over {
        self.over
    }

    /// Clears everything.
    pub fn reset(&mut self) {
        self.finder.reset();
        for phrase in &mut self.phrases {
            phrase.begin(0, self.sound.place(), to_frames(self.rate_hz));
        }
        (self.filling, self.shown) = (0, 0);
        self.takes_in = false;
    }

    /// Takes frames and returns their classification: whether the blocks they complete belong to the phrase, and
    /// whether it begins here.
    pub fn push(&mut self, run: &Run<'_>) -> Heard {
        let heard = self.finder.push(run);
        if heard == Heard::Begins {
            self.begin();
        }
        self.takes_in = matches!(heard, Heard::Begins | Heard::Within);
        self.quiet = !self.takes_in;
        if self.finder.phase() == Phase::Playing {
            self.sound.push(run);
        }
        if heard == Heard::Ended {
            self.ended += 1;
        }
        if self.takes_in {
            self.take_in(run);
        }
        heard
    }

    fn begin(&mut self) {
        self.begun += 1;
        // A sound too short to be shown is dropped; the phrase before it stays.
        if self.phrases[self.shown].heard() > 0 {
            self.filling = 1 - self.shown;
        }
        self.begin_filling(self.begun);
    }

    fn take_in(&mut self, run: &Run<'_>) {
        let piece_len = to_frames(PIECE_S * self.rate_hz);
        let phrase = &mut self.phrases[self.filling];
        phrase.tracker.push(run);
        phrase.onsets.push(run);
        phrase.frames[phrase.piece] += run.len() as u64;
        phrase.all += run.len() as u64;
        phrase.to = self.sound.place();
        if self.over == Over::Phrase && phrase.frames[phrase.piece] >= piece_len {
            phrase.next_piece();
        }
        if phrase.heard() as f64 >= SHOWN_AFTER_S * self.rate_hz {
            self.shown = self.filling;
        }
    }

    /// Adds a block to the phrase if it belongs there, and to another average if there is one.
    ///
    /// # Panics
    /// If the other average has another block length.
    pub fn add_beside(&mut self, other: Option<&mut Average>, block: &Block<'_>) {
        let phrase = &mut self.phrases[self.filling];
        let of_phrase = self.takes_in.then(|| &mut phrase.pieces[phrase.piece]);
        match (of_phrase, other) {
            (Some(one), Some(other)) => other.add_to_both(one, block),
            (Some(one), None) | (None, Some(one)) => one.add(block),
            (None, None) => {}
        }
    }

    /// Searches for a delay between the channels of the phrase being played when it is due, at the same times as in a
    /// take. `spectrum` is overwritten.
    pub fn look_for_delay(&mut self, finder: &mut DelayFinder, spectrum: &mut CrossSpectrum) {
        let phrase = &mut self.phrases[self.filling];
        if phrase.next_look > 0 && phrase.all >= phrase.next_look {
            phrase.next_look *= 2;
            Average::read_together(&phrase.pieces, spectrum);
            phrase.tracker.try_delay(finder.candidate(spectrum));
        }
    }

    /// Writes the average of the phrase that is shown.
    pub fn read(&self, out: &mut CrossSpectrum) {
        Average::read_together(&self.phrases[self.shown].pieces, out);
    }

    /// The tracker of the shown phrase's delay.
    pub fn tracker(&mut self) -> &mut Tracker {
        &mut self.phrases[self.shown].tracker
    }

    /// Its evidence of dry and wet, and the ways it was read from. A muted ending counts only once it is quiet: before
    /// that it may be a rest.
    #[must_use]
    pub fn evidence(&self) -> (Evidence, &Ways) {
        let (mut evidence, ways) = self.phrases[self.shown].tracker.evidence();
        if !self.quiet && self.shown == self.filling {
            evidence.tail = None;
        }
        (evidence, ways)
    }

    /// Whether it is quiet: the phrase's reading is final, unless the phrase goes on.
    #[must_use]
    pub fn is_quiet(&self) -> bool {
        self.quiet
    }

    /// The attacks in it.
    pub fn attacks(&mut self) -> Option<Attacks> {
        let phrase = &mut self.phrases[self.shown];
        let within_s = match self.over {
            Over::Phrase => phrase.heard() as f64 / self.rate_hz,
            Over::Seconds(_) => ATTACKS_S,
        };
        phrase.onsets.read(within_s)
    }

    /// The phrase that is shown.
    #[must_use]
    pub fn phrase(&self) -> PhraseNow {
        let phrase = &self.phrases[self.shown];
        PhraseNow {
            playing: self.finder.phase() == Phase::Playing && self.shown == self.filling,
            seconds: phrase.heard() as f64 / self.rate_hz,
            is_cut: phrase.is_cut,
            number: phrase.number,
        }
    }

    /// Number of finished phrases.
    #[must_use]
    pub fn ended(&self) -> u64 {
        self.ended
    }

    /// The sound of the last phrase, or of the one being played if it is long enough to be shown. `None` if nothing was
    /// played. Allocates.
    #[must_use]
    pub fn last_sound(&self) -> Option<[Vec<f32>; 2]> {
        let phrase = &self.phrases[self.shown];
        if phrase.heard() == 0 {
            return None;
        }
        self.sound.between(phrase.begins_at(), phrase.to)
    }
}
