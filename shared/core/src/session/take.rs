//! A take: one stored analysis of one preset, with its name.
//!
//! It keeps the exact broadband sums, and dry and wet per 1/24 octave with the delay between the channels apart: enough
//! for scoring any feed again, combs included.

use crate::Complex;
use crate::alignment::delay::ChannelDelay;
use crate::explain::diagnosis::{Diagnoser, Diagnosis};
use crate::score::board::{Board, FEEDS, Row};
use crate::score::rig::Rig;
use crate::score::scorer::Scorer;
use crate::spectrum::cross_spectrum::{CrossSpectrum, mean_phasor};
use crate::spectrum::grid::Grid;
use crate::spectrum::pair_sums::PairSums;
use crate::spectrum::welch::lags::Lags;
use crate::split::estimated::split_into;
use crate::split::kind::PresetKind;
pub use crate::split::pass::Pass;
use crate::split::ways::Evidence;
use crate::split::{Method, Split};

/// One stored analysis.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    /// The player's name for it.
    pub name: String,
    /// Its pass.
    pub pass: Pass,
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Frames that were invalid and left out.
    pub invalid_frames: u64,
    /// Number of gaps: places where frames are missing.
    pub gaps: u64,
    /// Exact sums over all frames.
    pub sums: PairSums,
    /// The single delay between the channels, if there's one.
    pub delay: Option<ChannelDelay>,
    /// Dry and wet on [`Grid::twenty_fourth_octave`] cells.
    pub split: Split,
    /// The diagnosis; `None` for a take stored before there was one.
    pub diagnosis: Option<Diagnosis>,
    /// The kind of preset as the player stated it.
    pub kind: PresetKind,
    /// The evidence behind an estimated dry and wet; `None` where they are known separately.
    pub evidence: Option<Evidence>,
}

impl Take {
    /// Stores an analysis of the FFT bins of `grid`, whose dry and wet are known separately: averages as read, not yet
    /// corrected for the window.
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
        let mut take = Self {
            name,
            pass,
            rate_hz: grid.rate_hz(),
            invalid_frames,
            gaps: 0,
            sums,
            delay,
            diagnosis: None,
            split: gathered_split(split, grid, &Grid::twenty_fourth_octave(grid.rate_hz()), delay),
            kind: PresetKind::NotSaid,
            evidence: None,
        };
        take.explain_parts(None);
        take
    }

    /// Renews the diagnosis from separately known dry and wet. Causes found `before` (in the full pass) that the parts
    /// don't show stay.
    pub fn explain_parts(&mut self, before: Option<&Diagnosis>) {
        let delay_s = self.delay.map_or(0.0, |delay| delay.delay_s);
        let diagnosis = Diagnoser::new(self.grid()).examine_parts(&self.split, delay_s, before);
        self.diagnosis = Some(diagnosis);
    }

    /// Stores an analysis of the FFT bins of `grid` whose dry and wet are estimated: the average as read, and the
    /// sound's evidence of them.
    ///
    /// # Panics
    /// If the total isn't on that grid.
    #[must_use]
    pub fn estimated(
        name: String,
        pass: Pass,
        sums: PairSums,
        grid: &Grid,
        mut total: CrossSpectrum,
        evidence: Evidence,
        kind: PresetKind,
    ) -> Self {
        let cells = Grid::twenty_fourth_octave(grid.rate_hz());
        let mut lags = Lags::new(grid.rate_hz(), 2 * (grid.len() - 1));
        lags.correct(&mut total, evidence.delay_s);
        let total = gathered(&total, grid, &cells, evidence.delay_s);
        let take = Self {
            name,
            pass,
            rate_hz: grid.rate_hz(),
            invalid_frames: 0,
            gaps: 0,
            sums,
            delay: evidence.delay(),
            diagnosis: None,
            split: Split {
                total,
                ..Split::silent(cells.len(), Method::Estimated)
            },
            kind,
            evidence: Some(evidence),
        };
        take.with_kind(kind)
    }

    /// The same take with the kind of preset stated by the player. If dry and wet are known separately, nothing else
    /// changes.
    #[must_use]
    pub fn with_kind(mut self, kind: PresetKind) -> Self {
        self.kind = kind;
        if let Some(evidence) = &self.evidence {
            let grid = Grid::twenty_fourth_octave(self.rate_hz);
            let total = self.split.total.clone();
            let resolved = evidence.resolve(kind);
            split_into(&total, &grid, &resolved, evidence.delay_s, &mut self.split);
        }
        self
    }

    /// The same take with this number of invalid frames.
    #[must_use]
    pub fn with_invalid_frames(mut self, invalid_frames: u64) -> Self {
        self.invalid_frames = invalid_frames;
        self
    }

    /// The same take with the diagnosis made while it was recorded: the attacks it needs aren't stored.
    #[must_use]
    pub fn with_diagnosis(mut self, diagnosis: Diagnosis) -> Self {
        self.diagnosis = Some(diagnosis);
        self
    }

    /// Replaces an estimate by a dry and wet from another source, on this take's cells. The total from the longer
    /// blocks stays; without a `delay` the one found stays too. The evidence is removed, because on loading it would
    /// bring the estimate back.
    pub fn tell_apart(&mut self, told: Split, delay: Option<ChannelDelay>) {
        let estimated = core::mem::replace(&mut self.split, told);
        self.split.total = estimated.total;
        self.evidence = None;
        self.delay = delay.or(self.delay);
        let before = self.diagnosis;
        self.explain_parts(before.as_ref());
    }

    /// The grid of the spectra.
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

    /// The board of this take for a rig; broadband figures leave out frequencies below `lowest_hz`.
    #[must_use]
    pub fn board(&self, rig: &Rig, lowest_hz: f64) -> Board {
        Board::new(Scorer::new(self.grid(), lowest_hz), *rig, self.split.delays_s())
    }

    /// Every feed's figures for a rig; `lowest_hz` as in [`Self::board`].
    #[must_use]
    pub fn rows(&self, rig: &Rig, lowest_hz: f64) -> [Row; FEEDS] {
        let [rows] = self.rows_from(rig, [lowest_hz]);
        rows
    }

    /// The same for several `lowest_hz`, which share the responses, the larger part of the work.
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

/// A split sound on FFT bins gathered into wider cells: the cross terms are corrected for the window, and the delayed
/// part is kept apart from the part without delay. Allocates.
#[must_use]
pub fn gathered_split(split: &Split, from: &Grid, to: &Grid, delay: Option<ChannelDelay>) -> Split {
    let delay_s = delay.map_or(0.0, |delay| delay.delay_s);
    // Without a delay nothing has to be corrected, and no transform planned.
    let mut lags = (delay_s != 0.0).then(|| Lags::new(from.rate_hz(), 2 * (from.len() - 1)));
    let mut gather = |spectrum: &CrossSpectrum| match &mut lags {
        Some(lags) => {
            let mut corrected = spectrum.clone();
            lags.correct(&mut corrected, delay_s);
            gathered(&corrected, from, to, delay_s)
        }
        None => gathered(spectrum, from, to, 0.0),
    };
    Split {
        bounds: split.bounds,
        ..Split::new(
            gather(&split.dry),
            gather(&split.wet),
            gather(&split.total),
            split.method,
        )
    }
}

/// If a cell's width leaves less than this of a delayed cross term (squared), it is kept in two parts that are exact
/// together.
const WIDE: f64 = 0.9;

/// A corrected spectrum of FFT bins gathered into wider cells. A bin that overlaps two cells is divided in proportion;
/// sums are exactly preserved. With a delay the cross term of a wide cell is kept in two parts, one lined up by it and
/// one as it is: partials lie anywhere in a cell, and with two parts both the plain sum and the lined-up sum are exact.
#[must_use]
pub fn gathered(spectrum: &CrossSpectrum, from: &Grid, to: &Grid, delay_s: f64) -> CrossSpectrum {
    let mut out = CrossSpectrum::silent(to.len());
    out.delay_s = delay_s;
    out.averages = spectrum.averages;
    if delay_s != 0.0 {
        out.near = vec![Complex::new(0.0, 0.0); to.len()];
    }
    let mut cell = 0;
    for bin in 0..from.len() {
        let (lower, upper) = (from.edges_hz()[bin], from.edges_hz()[bin + 1]);
        let turned = if delay_s == 0.0 {
            spectrum.lr[bin]
        } else {
            let angle = -core::f64::consts::TAU * from.centres_hz()[bin] * delay_s;
            spectrum.lr[bin] * Complex::from_polar(1.0, angle)
        };
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
            if let Some(near) = out.near.get_mut(cell) {
                *near += spectrum.lr[bin] * share;
            }
            begin = end;
        }
    }
    for (cell, (near, late)) in out.near.iter_mut().zip(&mut out.lr).enumerate() {
        let left = mean_phasor(to, cell, delay_s);
        let (as_it_is, lined_up) = (*near, *late);
        let squared = left.norm_sqr();
        if squared < WIDE {
            *late = (lined_up - left.conj() * as_it_is) / (1.0 - squared);
        }
        *near = as_it_is - left * *late;
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
    use crate::dsp::numbers::{to_integer, to_single};
    use crate::split::kind::PresetKind;
    use crate::split::ways::{Bounds, Evidence};

    /// The version of the stored form.
    const VERSION: u32 = 2;

    #[derive(Serialize, Deserialize)]
    struct Part {
        delay_s: f64,
        averages: f64,
        /// Cell by cell, base64; see [`CELL_BYTES`].
        cells: String,
        /// With a delay: the part of the cross term kept apart from the delayed one, six bytes a cell.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        near: String,
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
        #[serde(default, skip_serializing_if = "is_none")]
        gaps: u64,
        sums: PairSums,
        #[serde(default)]
        delay: Option<ChannelDelay>,
        #[serde(default)]
        diagnosis: Option<Diagnosis>,
        method: Method,
        #[serde(default)]
        kind: PresetKind,
        /// The evidence of an estimate: 32-bit floats, base64. Dry and wet follow from it and the total, and aren't
        /// stored.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        evidence: String,
        #[serde(default)]
        dry: Option<Part>,
        #[serde(default)]
        wet: Option<Part>,
        total: Part,
    }

    fn is_none(count: &u64) -> bool {
        *count == 0
    }

    /// Bytes per cell: two powers as `f32`, the cross term over the root of their product as two 24-bit integers. Fine
    /// enough for a null of 70 dB, small enough for 128 takes in 2 MB.
    const CELL_BYTES: usize = 14;
    /// A cross term may be up to twice what the powers allow (a split knows averages only).
    const CROSS_SCALE: f64 = 4_194_304.0;
    /// Shares are limited to this when written and when read, so a take is the same after every storing.
    const LARGEST_SHARE: f64 = 1.99;
    /// The largest power of a cell, limited in the same way.
    const LARGEST_POWER: f64 = 1e11;

    fn part(spectrum: &CrossSpectrum) -> Part {
        let mut bytes = Vec::with_capacity(spectrum.len() * CELL_BYTES);
        let mut near = Vec::with_capacity(6 * spectrum.near.len());
        for cell in 0..spectrum.len() {
            // Powers as they will be read back, so that equal channels stay exactly equal.
            let stored = |power: f64| {
                if power.is_finite() {
                    to_single(power.clamp(0.0, LARGEST_POWER))
                } else {
                    0.0
                }
            };
            let (ll, rr) = (stored(spectrum.ll[cell]), stored(spectrum.rr[cell]));
            let root = (f64::from(ll) * f64::from(rr)).sqrt();
            bytes.extend(ll.to_le_bytes());
            bytes.extend(rr.to_le_bytes());
            put(&mut bytes, spectrum.lr[cell], root);
            if let Some(cross) = spectrum.near.get(cell) {
                put(&mut near, *cross, root);
            }
        }
        Part {
            delay_s: spectrum.delay_s,
            averages: spectrum.averages,
            cells: STANDARD.encode(bytes),
            near: STANDARD.encode(near),
        }
    }

    /// A cross term over the root of the powers' product.
    fn put(bytes: &mut Vec<u8>, cross: Complex<f64>, root: f64) {
        for value in [cross.re, cross.im] {
            let share = if root > 0.0 {
                (value / root).clamp(-LARGEST_SHARE, LARGEST_SHARE)
            } else {
                0.0
            };
            let bits = to_integer((share * CROSS_SCALE).round());
            bytes.extend(&bits.to_le_bytes()[..3]);
        }
    }

    /// Reads what [`put`] wrote, from the first six bytes.
    fn taken(bytes: &[u8]) -> Complex<f64> {
        // The three bytes go to the top of an `i32`; shifting back down extends the sign.
        let share = |i: usize| {
            let bits = i32::from_le_bytes([0, bytes[i], bytes[i + 1], bytes[i + 2]]) >> 8;
            (f64::from(bits) / CROSS_SCALE).clamp(-LARGEST_SHARE, LARGEST_SHARE)
        };
        Complex::new(share(0), share(3))
    }

    /// The evidence of an estimate; `None` in a take of an older version, or of separately known dry and wet.
    fn evidence(text: &str) -> Result<Option<Evidence>, String> {
        if text.is_empty() {
            return Ok(None);
        }
        let bytes = STANDARD
            .decode(text)
            .map_err(|error| format!("the evidence of a take is damaged: {error}"))?;
        let (words, rest) = bytes.as_chunks::<4>();
        let numbers: Vec<f32> = words.iter().map(|word| f32::from_le_bytes(*word)).collect();
        match Evidence::from_numbers(&numbers) {
            Some(evidence) if rest.is_empty() => Ok(Some(evidence)),
            _ => Err("the evidence of a take is damaged".into()),
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
            (spectrum.ll[cell], spectrum.rr[cell]) = (ll, rr);
            spectrum.lr[cell] = taken(&bytes[8..]) * (ll * rr).sqrt();
        }
        if part.delay_s != 0.0 {
            spectrum.near = vec![Complex::new(0.0, 0.0); grid.len()];
        }
        if !part.near.is_empty() && part.delay_s != 0.0 {
            let bytes = STANDARD
                .decode(&part.near)
                .map_err(|error| format!("the cells of a take are damaged: {error}"))?;
            if bytes.len() != 6 * grid.len() {
                return Err(format!(
                    "a take should have {} cells beside its delay",
                    grid.len()
                ));
            }
            for (cell, bytes) in bytes.chunks_exact(6).enumerate() {
                spectrum.near[cell] = taken(bytes) * (spectrum.ll[cell] * spectrum.rr[cell]).sqrt();
            }
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
                gaps: self.gaps,
                sums: self.sums,
                delay: self.delay,
                diagnosis: self.diagnosis,
                method: self.split.method,
                kind: self.kind,
                evidence: self.evidence.as_ref().map_or(String::new(), |evidence| {
                    let numbers = evidence.numbers();
                    STANDARD.encode(numbers.iter().flat_map(|n| n.to_le_bytes()).collect::<Vec<u8>>())
                }),
                dry: self.evidence.is_none().then(|| part(&self.split.dry)),
                wet: self.evidence.is_none().then(|| part(&self.split.wet)),
                total: part(&self.split.total),
            }
            .serialize(serializer)
        }
    }

    /// Refuses values that a damaged or newer file may hold and this version can't read.
    fn in_range(stored: &StoredTake) -> Result<(), String> {
        if stored.version > VERSION {
            return Err(format!(
                "the take '{}' was stored by a newer version (form {}, this one knows {VERSION})",
                stored.name, stored.version
            ));
        }
        if !(1000.0..=1_000_000.0).contains(&stored.rate_hz) {
            return Err(format!("a sample rate of {} Hz is out of range", stored.rate_hz));
        }
        let sums = stored.sums;
        let powers = [sums.left, sums.right];
        if !powers.iter().all(|sum| (0.0..1e24).contains(sum)) || !sums.cross.is_finite() {
            return Err("the sums of a take are out of range".into());
        }
        if stored
            .delay
            .is_some_and(|d| !(d.delay_s.abs() <= 1.0 && d.confidence.is_finite()))
        {
            return Err("the delay of a take is out of range".into());
        }
        Ok(())
    }

    impl<'de> Deserialize<'de> for Take {
        fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
            let stored = StoredTake::deserialize(deserializer)?;
            in_range(&stored).map_err(D::Error::custom)?;
            let grid = Grid::twenty_fourth_octave(stored.rate_hz);
            let evidence = evidence(&stored.evidence).map_err(D::Error::custom)?;
            if evidence.is_none() && (stored.dry.is_none() || stored.wet.is_none()) {
                return Err(D::Error::custom(
                    "a take holds neither dry and wet nor what they follow from",
                ));
            }
            let one = |part: &Option<Part>| match part {
                Some(part) => spectrum(part, &grid),
                None => Ok(CrossSpectrum::silent(grid.len())),
            };
            let take = Self {
                name: stored.name,
                pass: stored.pass,
                rate_hz: stored.rate_hz,
                invalid_frames: stored.invalid_frames,
                gaps: stored.gaps,
                sums: stored.sums,
                delay: stored.delay,
                diagnosis: stored.diagnosis,
                kind: stored.kind,
                evidence,
                split: Split {
                    // An older version's estimates have no bounds.
                    bounds: (stored.method == Method::Estimated).then_some(Bounds::UNKNOWN),
                    ..Split::new(
                        one(&stored.dry).map_err(D::Error::custom)?,
                        one(&stored.wet).map_err(D::Error::custom)?,
                        spectrum(&stored.total, &grid).map_err(D::Error::custom)?,
                        stored.method,
                    )
                },
            };
            let kind = take.kind;
            Ok(take.with_kind(kind))
        }
    }
}
