//! A take: one stored analysis of one preset, with its name.
//!
//! It keeps dry and wet per 1/24 octave with the delay between the channels apart, which is enough to score any feed
//! again, combs included, and the exact broadband sums.

use crate::Complex;
use crate::alignment::delay::ChannelDelay;
use crate::explain::diagnosis::Diagnosis;
use crate::score::board::{Board, FEEDS, Row};
use crate::score::rig::Rig;
use crate::score::scorer::Scorer;
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::Grid;
use crate::spectrum::pair_sums::PairSums;
use crate::split::{Method, Split};

/// Which pass of a part a take is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Pass {
    /// The whole preset.
    #[default]
    Full,
    /// Effects off.
    Dry,
    /// Dry off.
    Wet,
}

impl Pass {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Full, Self::Dry, Self::Wet];

    /// The stable name in files.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::Full => "full",
            Self::Dry => "dry",
            Self::Wet => "wet",
        }
    }
}

/// One stored analysis.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    /// What the player calls it.
    pub name: String,
    /// Which pass it is.
    pub pass: Pass,
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Frames that were invalid and left out.
    pub invalid_frames: u64,
    /// Exact sums over all frames.
    pub sums: PairSums,
    /// The single delay between the channels, if there's one.
    pub delay: Option<ChannelDelay>,
    /// Dry and wet on [`Grid::twenty_fourth_octave`] cells.
    pub split: Split,
    /// Why it fares as it does; `None` for a take stored before there was a diagnosis.
    pub diagnosis: Option<Diagnosis>,
}

impl Take {
    /// Stores an analysis made on the FFT bins of `grid`.
    ///
    /// # Panics
    /// If the split isn't on that grid.
    #[must_use]
    pub fn new(
        name: String,
        pass: Pass,
        sums: PairSums,
        invalid_frames: u64,
        grid: &Grid,
        split: &Split,
        delay: Option<ChannelDelay>,
    ) -> Self {
        let cells = Grid::twenty_fourth_octave(grid.rate_hz());
        Self {
            name,
            pass,
            rate_hz: grid.rate_hz(),
            invalid_frames,
            sums,
            delay,
            diagnosis: None,
            split: gathered_split(split, grid, &cells, delay),
        }
    }

    /// The same take with its total from a finer spectrum of the same frames. The averages stay those of the coarser one:
    /// what a cell of the take gathers is as many bins the more as there are fewer blocks.
    ///
    /// # Panics
    /// If the spectrum isn't on that grid.
    #[must_use]
    pub fn with_total(mut self, grid: &Grid, total: &CrossSpectrum) -> Self {
        let (delay_s, averages) = (self.split.total.delay_s, self.split.total.averages);
        self.split.total = gathered(total, grid, &self.grid(), delay_s);
        self.split.total.averages = averages;
        self
    }

    /// The same take with the diagnosis made while it was heard: the attacks it needs aren't stored.
    #[must_use]
    pub fn with_diagnosis(mut self, diagnosis: Diagnosis) -> Self {
        self.diagnosis = Some(diagnosis);
        self
    }

    /// The cells the spectra are on.
    #[must_use]
    pub fn grid(&self) -> Grid {
        Grid::twenty_fourth_octave(self.rate_hz)
    }

    /// Length, seconds.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.sums.frames as f64 / self.rate_hz
    }

    /// How dry and wet were told apart.
    #[must_use]
    pub fn method(&self) -> Method {
        self.split.method
    }

    /// The board of this take for a rig; broadband figures leave out what lies below `lowest_hz`.
    #[must_use]
    pub fn board(&self, rig: &Rig, lowest_hz: f64) -> Board {
        Board::new(Scorer::new(self.grid(), lowest_hz), *rig, self.split.delays_s())
    }

    /// Every feed's figures for a rig.
    #[must_use]
    pub fn rows(&self, rig: &Rig, lowest_hz: f64) -> [Row; FEEDS] {
        let [rows] = self.rows_from(rig, [lowest_hz]);
        rows
    }

    /// The same from several frequencies on: most of the work is the responses, which they share.
    #[must_use]
    pub fn rows_from<const N: usize>(&self, rig: &Rig, lowest_hz: [f64; N]) -> [[Row; FEEDS]; N] {
        let mut board = self.board(rig, 0.0);
        lowest_hz.map(|lowest_hz| {
            board.set_lowest_hz(lowest_hz);
            let mut rows = Board::empty_rows();
            board.score(&self.split, &mut rows);
            rows
        })
    }
}

/// A split sound on FFT bins gathered into wider cells; each part keeps the delay apart only if its cross term has one to
/// keep. Allocates.
#[must_use]
pub fn gathered_split(split: &Split, from: &Grid, to: &Grid, delay: Option<ChannelDelay>) -> Split {
    let delay_s = delay.map_or(0.0, |delay| delay.delay_s);
    let gather = |spectrum: &CrossSpectrum| {
        let has_cross = spectrum.lr.iter().any(|c| c.norm_sqr() > 0.0);
        gathered(spectrum, from, to, if has_cross { delay_s } else { 0.0 })
    };
    Split {
        range: split.range,
        ..Split::new(
            gather(&split.dry),
            gather(&split.wet),
            gather(&split.total),
            split.method,
        )
    }
}

/// A spectrum of FFT bins gathered into wider cells, the cross term lined up by `delay_s` on the way. What a bin shares
/// with two cells is given out in proportion; sums stay exactly what they were.
#[must_use]
pub fn gathered(spectrum: &CrossSpectrum, from: &Grid, to: &Grid, delay_s: f64) -> CrossSpectrum {
    let mut out = CrossSpectrum::silent(to.len());
    out.delay_s = delay_s;
    out.averages = spectrum.averages;
    let mut cell = 0;
    for bin in 0..from.len() {
        let (lower, upper) = (from.edges_hz()[bin], from.edges_hz()[bin + 1]);
        let turned = spectrum.lr[bin]
            * Complex::from_polar(1.0, -core::f64::consts::TAU * from.centres_hz()[bin] * delay_s);
        let mut begin = lower;
        while begin < upper {
            while cell + 1 < to.len() && to.edges_hz()[cell + 1] <= begin {
                cell += 1;
            }
            let end = if cell + 1 < to.len() {
                to.edges_hz()[cell + 1].min(upper)
            } else {
                upper
            };
            let share = (end - begin) / (upper - lower);
            out.ll[cell] += share * spectrum.ll[bin];
            out.rr[cell] += share * spectrum.rr[bin];
            out.lr[cell] += turned * share;
            begin = end;
        }
    }
    out
}

#[cfg(feature = "serde")]
mod stored {
    //! The form a take is stored in: JSON with the cells as base64.

    use base64::Engine;
    use base64::engine::general_purpose::STANDARD;
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    use super::{ChannelDelay, Complex, CrossSpectrum, Diagnosis, Grid, Method, PairSums, Pass, Split, Take};
    use crate::split::Range;

    /// The version of the stored form.
    const VERSION: u32 = 1;

    #[derive(Serialize, Deserialize)]
    struct Part {
        delay_s: f64,
        averages: f64,
        /// Cell by cell, base64; see [`CELL_BYTES`].
        cells: String,
    }

    #[derive(Serialize, Deserialize)]
    struct StoredTake {
        version: u32,
        name: String,
        #[serde(default)]
        pass: Pass,
        rate_hz: f64,
        #[serde(default)]
        invalid_frames: u64,
        sums: PairSums,
        #[serde(default)]
        delay: Option<ChannelDelay>,
        #[serde(default)]
        diagnosis: Option<Diagnosis>,
        method: Method,
        #[serde(default)]
        range: Option<Range>,
        dry: Part,
        wet: Part,
        total: Part,
    }

    /// Bytes per cell: two powers as `f32`, the cross term over the root of their product as two 24-bit integers. Fine
    /// enough for a null of 70 dB, small enough for 128 takes in 2 MB.
    const CELL_BYTES: usize = 14;
    /// A cross term may be up to twice what the powers allow (a split knows averages only).
    const CROSS_SCALE: f64 = 4_194_304.0;
    /// So far is written, and what is read is held there, so that a take is the same after every storing.
    const LARGEST_SHARE: f64 = 1.99;
    /// The largest power of a cell, the same way.
    const LARGEST_POWER: f64 = 1e11;

    fn part(spectrum: &CrossSpectrum) -> Part {
        let mut bytes = Vec::with_capacity(spectrum.len() * CELL_BYTES);
        for cell in 0..spectrum.len() {
            // Powers as they will be read back, so that equal channels stay exactly equal.
            let stored = |power: f64| {
                if power.is_finite() {
                    power.clamp(0.0, LARGEST_POWER) as f32
                } else {
                    0.0
                }
            };
            let (ll, rr) = (stored(spectrum.ll[cell]), stored(spectrum.rr[cell]));
            let root = (f64::from(ll) * f64::from(rr)).sqrt();
            bytes.extend(ll.to_le_bytes());
            bytes.extend(rr.to_le_bytes());
            for value in [spectrum.lr[cell].re, spectrum.lr[cell].im] {
                let share = if root > 0.0 {
                    (value / root).clamp(-LARGEST_SHARE, LARGEST_SHARE)
                } else {
                    0.0
                };
                let bits = (share * CROSS_SCALE).round() as i32;
                bytes.extend(&bits.to_le_bytes()[..3]);
            }
        }
        Part {
            delay_s: spectrum.delay_s,
            averages: spectrum.averages,
            cells: STANDARD.encode(bytes),
        }
    }

    fn spectrum(part: &Part, grid: &Grid) -> Result<CrossSpectrum, String> {
        let bytes = STANDARD
            .decode(&part.cells)
            .map_err(|error| format!("the cells of a take are damaged: {error}"))?;
        if bytes.len() != grid.len() * CELL_BYTES {
            return Err(format!(
                "a take should have {} cells, this one has {}",
                grid.len(),
                bytes.len() / CELL_BYTES
            ));
        }
        if !(part.delay_s.abs() <= 1.0 && part.averages >= 0.0 && part.averages.is_finite()) {
            return Err("the delay or the averages of a take are out of range".into());
        }
        let mut spectrum = CrossSpectrum::silent(grid.len());
        spectrum.delay_s = part.delay_s;
        spectrum.averages = part.averages;
        for (cell, bytes) in bytes.chunks_exact(CELL_BYTES).enumerate() {
            let power = |i: usize| {
                f64::from(f32::from_le_bytes([
                    bytes[i],
                    bytes[i + 1],
                    bytes[i + 2],
                    bytes[i + 3],
                ]))
            };
            let (ll, rr) = (power(0), power(4));
            if !((0.0..=LARGEST_POWER).contains(&ll) && (0.0..=LARGEST_POWER).contains(&rr)) {
                return Err(format!("cell {cell} of a take holds no possible power"));
            }
            // The top byte goes where the sign is, and is shifted back down with it.
            let share = |i: usize| {
                let bits = i32::from_le_bytes([0, bytes[i], bytes[i + 1], bytes[i + 2]]) >> 8;
                (f64::from(bits) / CROSS_SCALE).clamp(-LARGEST_SHARE, LARGEST_SHARE)
            };
            (spectrum.ll[cell], spectrum.rr[cell]) = (ll, rr);
            spectrum.lr[cell] = Complex::new(share(8), share(11)) * (ll * rr).sqrt();
        }
        Ok(spectrum)
    }

    impl Serialize for Take {
        fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
            StoredTake {
                version: VERSION,
                name: self.name.clone(),
                pass: self.pass,
                rate_hz: self.rate_hz,
                invalid_frames: self.invalid_frames,
                sums: self.sums,
                delay: self.delay,
                diagnosis: self.diagnosis,
                method: self.split.method,
                range: self.split.range,
                dry: part(&self.split.dry),
                wet: part(&self.split.wet),
                total: part(&self.split.total),
            }
            .serialize(serializer)
        }
    }

    impl<'de> Deserialize<'de> for Take {
        fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
            let stored = StoredTake::deserialize(deserializer)?;
            if stored.version > VERSION {
                return Err(D::Error::custom(format!(
                    "the take '{}' was stored by a newer version (form {}, this one knows {VERSION})",
                    stored.name, stored.version
                )));
            }
            if !(1000.0..=1_000_000.0).contains(&stored.rate_hz) {
                return Err(D::Error::custom(format!(
                    "a sample rate of {} Hz is out of range",
                    stored.rate_hz
                )));
            }
            let sums = stored.sums;
            if ![sums.left, sums.right]
                .iter()
                .all(|sum| (0.0..1e24).contains(sum))
                || !sums.cross.is_finite()
            {
                return Err(D::Error::custom("the sums of a take are out of range"));
            }
            if stored
                .delay
                .is_some_and(|d| !(d.delay_s.abs() <= 1.0 && d.confidence.is_finite()))
            {
                return Err(D::Error::custom("the delay of a take is out of range"));
            }
            let grid = Grid::twenty_fourth_octave(stored.rate_hz);
            Ok(Self {
                name: stored.name,
                pass: stored.pass,
                rate_hz: stored.rate_hz,
                invalid_frames: stored.invalid_frames,
                sums,
                delay: stored.delay,
                diagnosis: stored.diagnosis,
                split: Split {
                    range: stored.range,
                    ..Split::new(
                        spectrum(&stored.dry, &grid).map_err(D::Error::custom)?,
                        spectrum(&stored.wet, &grid).map_err(D::Error::custom)?,
                        spectrum(&stored.total, &grid).map_err(D::Error::custom)?,
                        stored.method,
                    )
                },
            })
        }
    }
}
