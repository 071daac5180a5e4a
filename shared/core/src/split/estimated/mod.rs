//! The estimated (blind) split: dry and wet from the pair alone.
//!
//! Where the beginnings of sounds show how the dry lies in the pair, `steered` does it: see there. Where they don't (nothing
//! begins, or each channel begins by itself), the direct-plus-diffuse model ([`crate::split::diffuse`]) per 1/3 octave has to find that
//! out too, after the delay between the channels has been taken out. Two things make it work on plucked strings, where the bare
//! model does not:
//!
//! * *Distant pairs.* A long reverb on sustained notes is as coherent in time as the dry is: every partial keeps its own
//!   phase between the channels, however long one listens. What tells them apart is that the wet's phases differ from
//!   partial to partial. So how much the channels share is taken from products of distant bins only (`Σ c_j·c_k*` over pairs
//!   that the window keeps apart, over the same of the powers): for unrelated phases that is zero on average, without the
//!   bias that few averages or few partials leave in a squared magnitude; for a shared sound it's one.
//! * *Borrowed strength.* Where dry and wet meet in a partial they help or hinder each other by chance, which makes a dry
//!   that is equal in both channels look uneven, a little differently in each band. How much so can be told from the wet and
//!   the number of partials; each band's level difference and phase is drawn towards what all bands say, as far as their
//!   differences are no more than that chance (the empirical Bayes estimate with DerSimonian & Laird's between-band
//!   variance; formula from memory). A real difference between bands, like two amplifiers, is left alone. Where phase and
//!   level are common to all bands, the direct sound is that part of a cross term which lies *in* the phase.

mod borrow;
mod steered;
mod stokes;

use crate::Complex;
use crate::alignment::delay::{ChannelDelay, DelayFinder};
use crate::alignment::onset::Beginnings;
use crate::spectrum::bands::{BandMap, MAX_THIRDS};
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::spectrum::grid::Grid;
use crate::spectrum::welch::window_autocorrelation;
use crate::split::diffuse::diffuse_per_channel;
use crate::split::{Method, Range, Split};
use borrow::{borrow, project, wrapped};

/// Bins closer together than this say the same thing: the Hann window's main lobe and a little more.
const NEAR_BINS: usize = 3;

/// How much a band leans on the bands beside it, for it seldom holds enough partials to speak for itself: the share of a band
/// `n` 1/3 octaves away.
const LEAN: [f64; 4] = [1.0, 0.7, 0.4, 0.2];

/// What one band says.
#[derive(Clone, Copy, Debug, Default)]
struct Look {
    /// Powers of the channels.
    left: f64,
    right: f64,
    /// Cross term, lined up by the delay, with what the window took off it given back.
    cross: Complex<f64>,
    /// Products of cross terms of distant bins, as a share of the product of the channels' powers.
    far_cross: f64,
    /// The same of the powers: 0 for a single partial, towards 1 for many.
    far: f64,
    /// Diffuse power in each channel.
    diffuse: f64,
    /// The dry's level difference, right over left, as half the logarithm of the power ratio; and its phase.
    ratio: f64,
    phase: f64,
    /// Variance of both by chance; `None` where they say nothing.
    variance: Option<f64>,
    /// How much the channels share of the band by distant pairs, as a coherence (not squared), 0 to 1.
    shared: f64,
    /// Where its power lies, natural logarithm of Hz.
    note: f64,
    /// How far this band follows all bands in level difference and in phase, 0 to 1.
    follow: [f64; 2],
}

impl Look {
    /// The dry's powers in left and right by the model alone.
    fn direct(&self) -> (f64, f64) {
        (
            (self.left - self.diffuse).max(0.0),
            (self.right - self.diffuse).max(0.0),
        )
    }
}

/// Splits FFT spectra; holds its tables and buffers.
#[derive(Debug)]
pub struct BlindSplitter {
    finder: DelayFinder,
    map: BandMap,
    /// Lined-up cross terms and the channels' powers of one band's cells.
    cells: Vec<(Complex<f64>, f64, f64)>,
    /// What each cell's cross term is turned by to line the channels up.
    align: Vec<Complex<f64>>,
    looks: [Look; MAX_THIRDS],
    /// Natural logarithm of each cell's frequency, Hz.
    notes: Vec<f64>,
    /// The dry's direction in each cell.
    directions: Vec<[f64; 3]>,
}

impl BlindSplitter {
    /// For spectra on an FFT grid.
    ///
    /// # Panics
    /// If the grid isn't one of FFT bins.
    #[must_use]
    pub fn new(grid: &Grid) -> Self {
        let block_len = grid.block_len().expect("the blind split works on FFT bins");
        Self {
            finder: DelayFinder::new(grid.rate_hz(), block_len),
            map: BandMap::thirds(grid),
            cells: Vec::with_capacity(grid.len()),
            align: vec![Complex::new(1.0, 0.0); grid.len()],
            looks: [Look::default(); MAX_THIRDS],
            notes: grid.centres_hz().iter().map(|hz| hz.max(1.0).ln()).collect(),
            directions: vec![[0.0, 1.0, 0.0]; grid.len()],
        }
    }

    /// The single delay between the channels, if there is one: what [`Self::split`] gives too. Does not allocate.
    ///
    /// # Panics
    /// If the length doesn't belong to the grid.
    pub fn delay(&mut self, spectrum: &CrossSpectrum) -> Option<ChannelDelay> {
        self.finder.find(spectrum)
    }

    /// Splits `spectrum` into `out`, without allocating, and says what single delay lies between the channels, if any.
    /// `beginnings` is what was heard where sounds began, in the same sound.
    ///
    /// # Panics
    /// If the lengths don't belong together.
    pub fn split(
        &mut self,
        spectrum: &CrossSpectrum,
        grid: &Grid,
        beginnings: Option<&Beginnings<'_>>,
        out: &mut Split,
    ) -> Option<ChannelDelay> {
        out.method = Method::Estimated;
        out.range = Some(Range::UNKNOWN);
        out.total.copy_from(spectrum);
        out.wet.silence();
        out.wet.averages = spectrum.averages;
        let found = self.delay(spectrum);
        if let Some(beginnings) = beginnings
            && beginnings.attacks.is_one_sound()
        {
            self.steered(spectrum, grid, found, beginnings, out);
            return found;
        }
        out.dry.copy_from(spectrum);
        // The delay is only believed if lining the channels up by it makes them share more.
        let alike = |delay_s| {
            (0..self.map.len())
                .map(|band| self.lined_up(spectrum, grid, delay_s, band).norm())
                .sum::<f64>()
        };
        let delay_s = found
            .map(|delay| delay.delay_s)
            .filter(|&delay_s| alike(delay_s) > alike(0.0))
            .unwrap_or(0.0);
        // A delay inside the window shrinks the cross term; that part was never wet.
        let overlap = overlap_of(delay_s, grid);
        for cell in &mut out.dry.lr {
            *cell /= overlap;
        }
        if delay_s == 0.0 {
            self.align.fill(Complex::new(1.0, 0.0));
        } else {
            for (turn, &hz) in self.align.iter_mut().zip(grid.centres_hz()) {
                *turn = Complex::from_polar(1.0, -core::f64::consts::TAU * hz * delay_s);
            }
        }
        self.measure(spectrum, overlap);
        if borrow(&mut self.looks[..self.map.len()]) {
            self.follow_the_phase();
            let first = self.looks;
            self.measure(spectrum, overlap);
            for (look, first) in self.looks.iter_mut().zip(&first) {
                // What is left of the phase is in the alignment now.
                (look.ratio, look.phase, look.follow) = (first.ratio, 0.0, first.follow);
            }
            project(&mut self.looks[..self.map.len()]);
        }
        for band in 0..self.map.len() {
            self.give(band, overlap, out);
        }
        found
    }

    fn lined_up(&self, spectrum: &CrossSpectrum, grid: &Grid, delay_s: f64, band: usize) -> Complex<f64> {
        self.map
            .cells(band)
            .map(|(cell, share)| turned(spectrum, grid, delay_s, cell) * share)
            .sum()
    }

    /// Measures and models all bands, lined up as they are.
    fn measure(&mut self, spectrum: &CrossSpectrum, overlap: f64) {
        for band in 0..self.map.len() {
            self.looks[band] = self.look(spectrum, overlap, band);
        }
        for band in 0..self.map.len() {
            self.model(band, overlap);
        }
    }

    /// Lines the cells up by the bands' phases too, straight from middle to middle on the scale of notes: two amplifiers turn
    /// the phase inside a band as well, and what turns is not wet.
    fn follow_the_phase(&mut self) {
        let middle = |band: usize| self.map.bands()[band].centre_hz().ln();
        let speaks = |band: &usize| self.looks[*band].variance.is_some();
        let mut bands = (0..self.map.len()).filter(speaks);
        let Some(mut low) = bands.next() else { return };
        let mut high = bands.next().unwrap_or(low);
        let mut phase = self.looks[low].phase;
        let step = |from: usize, to: usize| wrapped(self.looks[to].phase - self.looks[from].phase);
        for (turn, &place) in self.align.iter_mut().zip(&self.notes).skip(1) {
            while place > middle(high) && high != low {
                phase += step(low, high);
                low = high;
                high = bands.next().unwrap_or(low);
            }
            let part = if high == low {
                0.0
            } else {
                ((place - middle(low)) / (middle(high) - middle(low))).max(0.0)
            };
            *turn *= Complex::from_polar(1.0, -(phase + part * step(low, high)));
        }
    }

    /// Measures one band.
    fn look(&mut self, spectrum: &CrossSpectrum, overlap: f64, band: usize) -> Look {
        self.cells.clear();
        for (cell, share) in self.map.cells(band) {
            let cross = spectrum.lr[cell] * self.align[cell] * share;
            self.cells
                .push((cross, share * spectrum.ll[cell], share * spectrum.rr[cell]));
        }
        let cross: Complex<f64> = self.cells.iter().map(|&(cross, ..)| cross).sum();
        let left: f64 = self.cells.iter().map(|&(_, left, _)| left).sum();
        let right: f64 = self.cells.iter().map(|&(.., right)| right).sum();
        let mut look = Look {
            left,
            right,
            ..Look::default()
        };
        if left <= 0.0 || right <= 0.0 {
            return look;
        }
        let (mut near_cross, mut near_left, mut near_right) = (0.0, 0.0, 0.0);
        for (k, &(c, l, r)) in self.cells.iter().enumerate() {
            near_cross += c.norm_sqr();
            near_left += l * l;
            near_right += r * r;
            for &(other_c, other_l, other_r) in self.cells.iter().skip(k + 1).take(NEAR_BINS) {
                near_cross += 2.0 * (c * other_c.conj()).re;
                near_left += 2.0 * l * other_l;
                near_right += 2.0 * r * other_r;
            }
        }
        let weighted: f64 = self
            .map
            .cells(band)
            .zip(&self.cells)
            .map(|((cell, _), &(_, l, r))| (l + r) * self.notes[cell])
            .sum();
        look.note = weighted / (left + right);
        look.cross = cross / overlap;
        look.far_cross = (cross.norm_sqr() - near_cross) / (left * right);
        // Powers as products of distant bins too: the root of a single bin's two powers would already hold the chance by
        // which dry and wet meet in it.
        let (far_left, far_right) = (
            1.0 - near_left / (left * left),
            1.0 - near_right / (right * right),
        );
        look.far = (far_left.max(0.0) * far_right.max(0.0)).sqrt();
        look
    }

    /// Squared coherence of the direct sound in a band, 0 to 1, leaning on its neighbours where it has few partials.
    fn coherence(&self, band: usize, overlap: f64) -> f64 {
        let reach = LEAN.len() - 1;
        let (mut cross, mut power) = (0.0, 0.0);
        for other in band.saturating_sub(reach)..(band + reach + 1).min(self.map.len()) {
            let lean = LEAN[other.abs_diff(band)];
            cross += lean * self.looks[other].far_cross;
            power += lean * self.looks[other].far;
        }
        if power > 1e-6 {
            (cross / (power * overlap * overlap)).clamp(0.0, 1.0)
        } else {
            1.0
        }
    }

    /// Direct and diffuse power of one band.
    fn model(&mut self, band: usize, overlap: f64) {
        let coherence = self.coherence(band, overlap);
        let look = &mut self.looks[band];
        if look.left <= 0.0 || look.right <= 0.0 {
            return;
        }
        look.shared = coherence.sqrt();
        look.diffuse = diffuse_per_channel(look.left, look.right, coherence * look.left * look.right);
        let (left, right) = look.direct();
        if left > 1e-6 * right && right > 1e-6 * left {
            look.ratio = 0.5 * (right / left).ln();
            look.phase = look.cross.arg();
            // Of x = s + n the amplitude and the phase each stray by N/(2S) per independent partial; two channels, twice.
            let partials = 1.0 / (1.0 - look.far).max(1e-3);
            look.variance = Some(2.0 * look.diffuse / (left + right) / partials);
        }
    }

    /// The cells a band speaks for, each with its share: its own, and beyond the first and the last band all that is left of
    /// the spectrum, or what lies there (half of it, at 96 kHz) would count as dry.
    fn reach(&self, band: usize, cells: usize) -> impl Iterator<Item = (usize, f64)> + '_ {
        let (is_first, is_last) = (band == 0, band + 1 == self.map.len());
        let own = || self.map.cells(band);
        let first = own().map(|(cell, _)| cell).next().unwrap_or(0);
        let last = own().map(|(cell, _)| cell).last().unwrap_or(0);
        let below = if is_first { 0..first } else { 0..0 };
        let above = if is_last { last + 1..cells } else { 0..0 };
        let own = own().map(move |(cell, share)| {
            let outermost = (is_first && cell == first) || (is_last && cell == last);
            (cell, if outermost { 1.0 } else { share })
        });
        own.chain(below.chain(above).map(|cell| (cell, 1.0)))
    }

    /// Shares one band's cells out between dry and wet.
    fn give(&self, band: usize, overlap: f64, out: &mut Split) {
        let look = &self.looks[band];
        let both = look.left + look.right;
        if look.left <= 0.0 || look.right <= 0.0 {
            return;
        }
        let (direct_left, direct_right) = look.direct();
        let root = (direct_left * direct_right).sqrt();
        let measured = look.cross.norm();
        let keep = if measured > 0.0 {
            (root / measured).min(1.0)
        } else {
            1.0
        };
        // Near in the details where the band stands for itself, smooth where it follows the others.
        let detail = (1.0 - look.follow[0].min(look.follow[1])).powi(2);
        let right_share = 1.0 / (1.0 + (-2.0 * look.ratio).exp());
        let (smooth_left, smooth_right) = (
            (direct_left + direct_right) * (1.0 - right_share),
            (direct_left + direct_right) * right_share,
        );
        let smooth_cross = Complex::from_polar((smooth_left * smooth_right).sqrt(), look.phase);
        for (cell, share) in self.reach(band, out.total.len()) {
            let (ll, rr) = (out.total.ll[cell], out.total.rr[cell]);
            let lr = out.total.lr[cell] / overlap;
            let shape = (ll + rr) / both;
            let back = self.align[cell].conj();
            let blend = |near: f64, smooth: f64| near * detail + smooth * (1.0 - detail);
            let dry_left = blend(ll * direct_left / look.left, smooth_left * shape);
            let dry_right = blend(rr * direct_right / look.right, smooth_right * shape);
            let dry_cross = lr * (keep * detail) + smooth_cross * back * (shape * (1.0 - detail));
            // By chance a bin's cross term is more than its share of the dry could have.
            let most = (dry_left * dry_right).sqrt();
            let dry_cross = dry_cross * (most / dry_cross.norm().max(f64::MIN_POSITIVE)).min(1.0);
            // A cell on an edge belongs to two bands; each replaces its share of what the cell holds.
            // Rounding must not leave a power below nothing.
            out.dry.ll[cell] = (out.dry.ll[cell] + share * (dry_left - ll)).max(0.0);
            out.dry.rr[cell] = (out.dry.rr[cell] + share * (dry_right - rr)).max(0.0);
            out.wet.ll[cell] += share * shape * look.diffuse;
            out.wet.rr[cell] += share * shape * look.diffuse;
            out.dry.lr[cell] += (dry_cross - lr) * share;
        }
    }
}

/// What the window leaves of the cross term of channels that are so far apart.
fn overlap_of(delay_s: f64, grid: &Grid) -> f64 {
    let block_s = (2 * (grid.len() - 1)) as f64 / grid.rate_hz();
    window_autocorrelation(delay_s / block_s).max(0.1)
}

/// The cross term of a cell, lined up by a delay.
fn turned(spectrum: &CrossSpectrum, grid: &Grid, delay_s: f64, cell: usize) -> Complex<f64> {
    if delay_s == 0.0 {
        return spectrum.lr[cell];
    }
    spectrum.lr[cell] * Complex::from_polar(1.0, -core::f64::consts::TAU * grid.centres_hz()[cell] * delay_s)
}
