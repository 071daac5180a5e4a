//! The two-pass split: dry and wet from two passes of the same part, effects off and then dry off.
//!
//! The passes' spectra are dry and wet themselves: nothing is estimated. Two things can still be wrong, and a third,
//! full pass shows both: bypassing a mix-type block changes the dry's level too, and the part may not have been
//! repeated identically. Powers of dry and wet don't add, waveforms do: `full = g_d·dry + g_w·wet` with both passes
//! lined up. So the two gains are fitted by least squares on the waveforms, and the residual, band by band, shows
//! whether the passes belong together.
//!
//! # Lining up
//! Each pass may begin up to [`LARGEST_OFFSET_S`] before or after the full one. Whole samples are found by the least
//! residual of several guesses (from sound decimated to a few kHz, then in the sound itself), never by the peak of a
//! cross-correlation alone: a loud echo in the full pass gives a higher peak than the wet itself. The fraction of a
//! sample is found by Gauss–Newton steps on the same residual.
//!
//! # Without a wet pass
//! A dry pass and a full one are enough where the effects only add to the dry: the full pass less the dry, lined up and
//! with its gain, is the wet. The only check then is that the dry stands clear in the full pass's response to it.

mod align;
mod coarse;
mod direct;
mod lags;
mod place;
mod sound;
mod terms;

use crate::dsp::numbers::to_index;
use crate::dsp::{db, samples};
use crate::spectrum::bands::{Band, BandMap};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::{Grid, block_len};
use crate::spectrum::pair_sums::PairSums;
use crate::split::pass::Pass;
use crate::split::{Method, Split};

use align::Alignment;
use direct::Direct;
use place::{InFull, Laid, Left, Placed};
use sound::{Recorded, Sound};

/// Largest offset between the passes, seconds.
pub const LARGEST_OFFSET_S: f64 = 5.0;

/// Longest pass that is recorded, seconds.
pub const LONGEST_S: f64 = 60.0;

/// A band fails when its residual is louder than this against the full pass, dB. Common practice, no source: playing a
/// part twice by hand misses a tenth of the amplitude by far, a loop meets it easily.
pub const RESIDUAL_LIMIT_DB: f64 = -20.0;

/// Bands this far below the loudest one of the full pass are not judged, dB.
const QUIET_DB: f64 = -40.0;

/// The sound of one pass, recorded in the plugin. Only [`Self::new`] allocates.
#[derive(Clone, Debug)]
pub struct PassRecorder {
    rate_hz: f64,
    left: Vec<f32>,
    right: Vec<f32>,
    capacity: usize,
    missed: u64,
    invalid_frames: u64,
}

impl PassRecorder {
    /// Allocates room for [`LONGEST_S`] at a sample rate, Hz, clamped to 1 kHz to 1 MHz: 23 MB at 48 kHz.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let rate_hz = if rate_hz.is_nan() {
            48_000.0
        } else {
            rate_hz.clamp(1000.0, 1_000_000.0)
        };
        let capacity = to_index(LONGEST_S * rate_hz);
        Self {
            rate_hz,
            left: Vec::with_capacity(capacity),
            right: Vec::with_capacity(capacity),
            capacity,
            missed: 0,
            invalid_frames: 0,
        }
    }

    /// Takes frames (as many as the shorter slice has) while there's room; invalid frames count as silence.
    pub fn push(&mut self, left: &[f32], right: &[f32]) {
        for (&l, &r) in left.iter().zip(right) {
            if self.left.len() == self.capacity {
                self.missed += 1;
                continue;
            }
            let sound = samples::is_valid(l, r);
            self.invalid_frames += u64::from(!sound);
            self.left.push(if sound { samples::measured(l) } else { 0.0 });
            self.right.push(if sound { samples::measured(r) } else { 0.0 });
        }
    }

    /// Clears the recording; keeps the memory.
    pub fn clear(&mut self) {
        self.left.clear();
        self.right.clear();
        self.missed = 0;
        self.invalid_frames = 0;
    }

    /// Frames for which there was no room.
    #[must_use]
    pub fn missed_frames(&self) -> u64 {
        self.missed
    }

    /// Frames that were invalid.
    #[must_use]
    pub fn invalid_frames(&self) -> u64 {
        self.invalid_frames
    }

    /// The recording.
    #[must_use]
    pub fn pass(&self) -> PassAudio<'_> {
        PassAudio {
            rate_hz: self.rate_hz,
            left: &self.left,
            right: &self.right,
        }
    }
}

/// The sound of one pass.
#[derive(Clone, Copy, Debug)]
pub struct PassAudio<'a> {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Left channel.
    pub left: &'a [f32],
    /// Right channel, as long as the left.
    pub right: &'a [f32],
}

impl PassAudio<'_> {
    fn recorded(&self) -> Recorded<'_> {
        Recorded([self.left, self.right])
    }

    fn sums(&self) -> PairSums {
        let mut sums = PairSums::default();
        for (&l, &r) in self.left.iter().zip(self.right) {
            sums.add(f64::from(samples::measured(l)), f64::from(samples::measured(r)));
        }
        sums
    }
}

/// Why there's no two-pass split.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TwoPassError {
    /// The passes have different sample rates.
    Rates,
    /// This pass has no frames, or channels of different length.
    Empty(Pass),
    /// This pass is silent (below the reading floor).
    Silent(Pass),
    /// The dry pass can't be found in the full one: they aren't the same performance, or the effects process all of the
    /// dry.
    NotInFull,
}

/// The residual of the full pass in one band after dry and wet are subtracted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandResidual {
    /// The band.
    pub band: Band,
    /// Level of the residual against the full pass in this band, dB; −∞ for no residual.
    pub residual_db: f64,
    /// The residual is too high. Never true of a band with hardly any sound.
    pub fails: bool,
}

/// The check of two passes against a full one.
#[derive(Clone, Debug, PartialEq)]
pub struct PairCheck {
    /// Gain of the dry in the full pass against the dry pass, dB.
    pub dry_gain_db: f64,
    /// Gain of the wet in the full pass against the wet pass, dB.
    pub wet_gain_db: f64,
    /// The dry in the full pass is flipped against the dry pass.
    pub dry_flipped: bool,
    /// The wet in the full pass is flipped against the wet pass.
    pub wet_flipped: bool,
    /// How much later the dry is in the full pass than in the dry pass, counted from each one's start, seconds.
    pub dry_offset_s: f64,
    /// The same for the wet, seconds.
    pub wet_offset_s: f64,
    /// Level of the whole residual against the full pass, dB.
    pub residual_db: f64,
    /// Per 1/3 octave.
    pub bands: Vec<BandResidual>,
}

impl PairCheck {
    /// Whether the passes belong together: no band fails.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.residual_db <= RESIDUAL_LIMIT_DB && self.failing().next().is_none()
    }

    /// The bands that fail.
    pub fn failing(&self) -> impl Iterator<Item = &BandResidual> {
        self.bands.iter().filter(|band| band.fails)
    }
}

/// Gain and offset of a dry pass in a full one without a wet pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DryInFull {
    /// Gain of the dry in the full pass against the dry pass, dB.
    pub gain_db: f64,
    /// Uncertainty of that, dB: three standard deviations. A gain that agrees with 0 dB within it is given as 0 dB.
    pub gain_error_db: f64,
    /// The dry in the full pass is flipped against the dry pass.
    pub flipped: bool,
    /// How much later the dry is in the full pass than in the dry pass, counted from each one's start, seconds.
    pub offset_s: f64,
}

/// A two-pass split.
///
/// ```
/// use sumproof_core::split::two_pass::{PassAudio, TwoPass};
///
/// let noise = |seed: u32| -> Vec<f32> {
///     let mut state = seed;
///     let mut next = || {
///         state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
///         (state >> 8) as f32 / 16_777_216.0 - 0.5
///     };
///     (0..24_000).map(|_| next()).collect()
/// };
/// let (dry, wet) = (noise(1), noise(2));
/// let full: Vec<f32> = dry.iter().zip(&wet).map(|(dry, wet)| dry + 0.5 * wet).collect();
/// let pass = |sound| PassAudio { rate_hz: 48_000.0, left: sound, right: sound };
/// let found = TwoPass::of_audio(&pass(&dry), &pass(&wet), Some(&pass(&full))).expect("three passes of one part");
/// // The wet comes out half as loud as it was recorded.
/// let check = found.check.as_ref().expect("there is a full pass");
/// assert!(check.holds() && (check.wet_gain_db + 6.02).abs() < 0.01);
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct TwoPass {
    /// Dry and wet with their gains, on the FFT bins of `grid`.
    pub split: Split,
    /// The bins: [`block_len`] of the sample rate.
    pub grid: Grid,
    /// The check against the full pass, if there are three passes.
    pub check: Option<PairCheck>,
    /// Gain and offset of the dry pass in the full one, if there was no wet pass.
    pub dry_in_full: Option<DryInFull>,
    /// Sums of the full pass; without one, those of both passes added as if dry and wet were unrelated.
    pub sums: PairSums,
}

impl TwoPass {
    /// Splits the sound of the passes. Without a full pass both gains are 1 and nothing is checked. Allocates; with a
    /// full pass it costs about three times the spectra of one pass, and makes no copy of the sound.
    ///
    /// # Errors
    /// When a pass is empty or silent, or the rates differ.
    pub fn of_audio(
        dry: &PassAudio<'_>,
        wet: &PassAudio<'_>,
        full: Option<&PassAudio<'_>>,
    ) -> Result<Self, TwoPassError> {
        let named = [(Pass::Dry, Some(dry)), (Pass::Wet, Some(wet)), (Pass::Full, full)];
        let sums = checked(named)?;
        let (rate_hz, len) = (dry.rate_hz, block_len(dry.rate_hz));
        let grid = Grid::fft(rate_hz, len);
        let mut dry_spectrum = dry.recorded().spectrum(len);
        let mut wet_spectrum = wet.recorded().spectrum(len);
        let Some(full) = full else {
            return Ok(Self {
                split: Split::of_parts(dry_spectrum, wet_spectrum, &grid, Method::TwoPass),
                grid,
                check: None,
                dry_in_full: None,
                sums: unrelated(sums[0], sums[1]),
            });
        };
        let [full_sound, dry_sound, wet_sound] = [full, dry, wet].map(PassAudio::recorded);
        let found = Alignment::find(full_sound, dry_sound, wet_sound, rate_hz);
        let full_spectrum = full_sound.spectrum(len);
        let laid = [0, 1].map(|i| Laid {
            placed: Placed::new([dry_sound, wet_sound][i], found.whole[i], found.part[i]),
            gain: found.gains[i],
        });
        let residual = Left::new(full_sound, &laid).spectrum(len);
        // Powers are means over each pass's own length; compared with the full pass the energies count.
        let share = |pass: &PassAudio<'_>| pass.left.len() as f64 / full.left.len() as f64;
        scale(&mut dry_spectrum, found.gains[0].powi(2) * share(dry));
        scale(&mut wet_spectrum, found.gains[1].powi(2) * share(wet));
        let check = PairCheck {
            dry_gain_db: db::from_amplitude(found.gains[0]),
            wet_gain_db: db::from_amplitude(found.gains[1]),
            dry_flipped: found.gains[0] < 0.0,
            wet_flipped: found.gains[1] < 0.0,
            dry_offset_s: found.offset(0) / rate_hz,
            wet_offset_s: found.offset(1) / rate_hz,
            residual_db: db::from_power(residual.mean_power() / full_spectrum.mean_power()),
            bands: judged(&grid, &full_spectrum, &residual),
        };
        Ok(Self {
            split: Split::new(dry_spectrum, wet_spectrum, full_spectrum, Method::TwoPass),
            grid,
            check: Some(check),
            dry_in_full: None,
            sums: sums[2],
        })
    }

    /// Splits the sound of a full pass by a dry one: the wet is the full pass less the dry. Valid where the effects add
    /// to the dry, not where they change it (a tremolo, a phaser). Allocates; copies sound only for finding the dry in
    /// it.
    ///
    /// # Errors
    /// When a pass is empty or silent, the rates differ, or the dry pass can't be found in the full one.
    pub fn of_dry_and_full(dry: &PassAudio<'_>, full: &PassAudio<'_>) -> Result<Self, TwoPassError> {
        let sums = checked([
            (Pass::Dry, Some(dry)),
            (Pass::Wet, None),
            (Pass::Full, Some(full)),
        ])?;
        let (rate_hz, len) = (dry.rate_hz, block_len(dry.rate_hz));
        let [full_sound, dry_sound] = [full, dry].map(PassAudio::recorded);
        let found = Direct::find(full_sound, dry_sound, rate_hz).ok_or(TwoPassError::NotInFull)?;
        let laid = [Laid {
            placed: Placed::new(dry_sound, found.whole, found.part),
            gain: found.gain,
        }];
        let wet = Left::new(full_sound, &laid).spectrum(len);
        // The dry over the full pass's whole length.
        let dry = InFull {
            laid: &laid[0],
            len: full_sound.len(),
        }
        .spectrum(len);
        let gain = found.gain.abs();
        Ok(Self {
            split: Split::new(dry, wet, full_sound.spectrum(len), Method::TwoPass),
            grid: Grid::fft(rate_hz, len),
            check: None,
            dry_in_full: Some(DryInFull {
                gain_db: db::from_amplitude(gain),
                gain_error_db: db::from_amplitude(1.0 + 3.0 * found.gain_error / gain),
                flipped: found.gain < 0.0,
                offset_s: (found.whole as f64 + found.part) / rate_hz,
            }),
            sums: sums[2],
        })
    }
}

/// The passes' sums, after checking that the passes fit together; zero for an absent pass.
fn checked(passes: [(Pass, Option<&PassAudio<'_>>); 3]) -> Result<[PairSums; 3], TwoPassError> {
    let mut all = [PairSums::default(); 3];
    let mut rate_hz = None;
    for ((pass, audio), sums) in passes.into_iter().zip(&mut all) {
        let Some(audio) = audio else { continue };
        if *rate_hz.get_or_insert(audio.rate_hz) != audio.rate_hz {
            return Err(TwoPassError::Rates);
        }
        if audio.left.is_empty() || audio.left.len() != audio.right.len() {
            return Err(TwoPassError::Empty(pass));
        }
        *sums = audio.sums();
        if db::from_power(sums.mean_power()) <= db::NO_READING_DBFS {
            return Err(TwoPassError::Silent(pass));
        }
    }
    Ok(all)
}

/// The sums of two passes added as if they were unrelated.
pub(crate) fn unrelated(dry: PairSums, wet: PairSums) -> PairSums {
    PairSums {
        frames: dry.frames.max(wet.frames),
        left: dry.left + wet.left,
        right: dry.right + wet.right,
        cross: dry.cross + wet.cross,
    }
}

fn scale(spectrum: &mut CrossSpectrum, factor: f64) {
    for power in spectrum.ll.iter_mut().chain(&mut spectrum.rr) {
        *power *= factor;
    }
    spectrum.lr.iter_mut().for_each(|cross| *cross *= factor);
}

fn judged(grid: &Grid, full: &CrossSpectrum, residual: &CrossSpectrum) -> Vec<BandResidual> {
    let map = BandMap::thirds(grid);
    let power = |spectrum: &CrossSpectrum, band| map.sum(band, |k| spectrum.ll[k] + spectrum.rr[k]);
    let loudest = (0..map.len()).map(|band| power(full, band)).fold(0.0, f64::max);
    map.bands()
        .iter()
        .enumerate()
        .map(|(index, &band)| {
            let (left_over, whole) = (power(residual, index), power(full, index));
            let residual_db = if whole > 0.0 {
                db::from_power(left_over / whole)
            } else {
                f64::NEG_INFINITY
            };
            BandResidual {
                band,
                residual_db,
                fails: residual_db > RESIDUAL_LIMIT_DB && whole > loudest * db::to_power(QUIET_DB),
            }
        })
        .collect()
}
