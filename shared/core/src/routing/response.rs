//! A feed's effect on the power of every cell: the closed form, computed once per feed and applied to any spectrum.

use core::f64::consts::{PI, TAU};

use multiversion::multiversion;

use crate::Complex;
use crate::dsp::numbers::to_index;
use crate::routing::feed::{Ending, Feed};
use crate::routing::line::Line;
use crate::routing::weights::FeedWeights;
use crate::spectrum::cross_spectrum::{CrossSpectrum, mean_phasor};
use crate::spectrum::grid::Grid;

/// The response at `hz` of a first-order high-pass in its bilinear (pre-warped) digital form, the same as the
/// audition's filter; at the corners used here the analogue one differs by less than 0.001 dB.
#[must_use]
pub fn high_pass(hz: f64, corner_hz: f64, rate_hz: f64) -> Complex<f64> {
    if corner_hz <= 0.0 {
        return Complex::new(1.0, 0.0);
    }
    // H = jx/(1 + jx), written with 1/x: at half the rate x is infinite and 1/x is 0.
    let inverse = (PI * corner_hz / rate_hz).tan() / (PI * hz.min(rate_hz / 2.0) / rate_hz).tan();
    if inverse.is_finite() {
        Complex::new(1.0, 0.0) / Complex::new(1.0, -inverse)
    } else {
        Complex::new(0.0, 0.0)
    }
}

/// The power response of the low-pass before a subwoofer: two second-order Butterworth low-passes in series, `(1 / (1 +
/// x⁴))²`, bilinear like [`high_pass`].
#[must_use]
pub fn low_pass_power(hz: f64, corner_hz: f64, rate_hz: f64) -> f64 {
    let x = (PI * hz.min(rate_hz / 2.0) / rate_hz).tan() / (PI * corner_hz / rate_hz).tan();
    (1.0 / (1.0 + x.powi(4))).powi(2)
}

/// Inside a wide cell a comb is sampled in phase steps of at most this, radians...
const STEP_RAD: f64 = 0.4;
/// ...but at no more than this many places: over more than a whole turn they show the comb as well as more would.
const MOST_PLACES: f64 = 16.0;

/// The response of a line without its delay: `p·g·H(f)`.
fn undelayed(line: &Line, hz: f64, rate_hz: f64) -> Complex<f64> {
    line.high_pass_hz
        .iter()
        .fold(Complex::new(line.amplitude(), 0.0), |response, &corner| {
            response * high_pass(hz, corner, rate_hz)
        })
}

/// A feed's response: its power per cell is `ll·S_LL + rr·S_RR + Re(lr·S_LR)`.
#[derive(Clone, Debug)]
pub struct FeedResponse {
    ll: Vec<f64>,
    rr: Vec<f64>,
    lr: Vec<Complex<f64>>,
    /// For the part of a cross term that is kept apart from the delayed one; empty without a delay.
    near: Vec<Complex<f64>>,
    /// For a cross term before any delay.
    both: Vec<Complex<f64>>,
    /// The share of a cell's power that lies in the band this feed plays, 0 to 1.
    band: Vec<f64>,
    gain: f64,
    /// The delay that the spectra keep apart, seconds.
    delay_s: f64,
    /// How much later the right line is than the left one, seconds.
    lines_s: f64,
    low_end: bool,
}

impl FeedResponse {
    /// Computes a feed's response on a grid, for spectra that keep a delay of `delay_s` between the channels apart.
    #[must_use]
    pub fn new(feed: &Feed, grid: &Grid, delay_s: f64) -> Self {
        let cells = grid.len();
        let mut response = Self {
            ll: vec![0.0; cells],
            rr: vec![0.0; cells],
            lr: vec![Complex::new(0.0, 0.0); cells],
            near: vec![Complex::new(0.0, 0.0); if delay_s == 0.0 { 0 } else { cells }],
            both: vec![Complex::new(0.0, 0.0); cells],
            band: vec![0.0; cells],
            gain: 0.0,
            delay_s,
            lines_s: 0.0,
            low_end: false,
        };
        response.set(feed, grid, delay_s);
        response
    }

    /// Recomputes the response, without allocating.
    ///
    /// # Panics
    /// If the grid's number of cells differs from that of the grid it was made with.
    pub fn set(&mut self, feed: &Feed, grid: &Grid, delay_s: f64) {
        assert_eq!(grid.len(), self.ll.len(), "a response belongs to one grid");
        self.gain = feed.recoverable_gain();
        self.delay_s = delay_s;
        let rate_hz = grid.rate_hz();
        let (left_factor, right_factor, summed) = feed.ending.factors();
        let share = if feed.ending == Ending::Stereo { 0.5 } else { 1.0 };
        let lines_s = feed.right.delay_s - feed.left.delay_s;
        self.lines_s = lines_s;
        self.low_end = feed.low_pass_hz.is_some();
        for (cell, &hz) in grid.centres_hz().iter().enumerate() {
            let band = feed
                .low_pass_hz
                .map_or(1.0, |corner| low_pass_power(hz, corner, rate_hz));
            let left = undelayed(&feed.left, hz, rate_hz) * left_factor;
            let right = undelayed(&feed.right, hz, rate_hz) * right_factor;
            self.ll[cell] = left.norm_sqr() * share * band;
            self.rr[cell] = right.norm_sqr() * share * band;
            let both = if summed {
                left * right.conj() * (2.0 * band)
            } else {
                Complex::new(0.0, 0.0)
            };
            self.both[cell] = both;
            self.lr[cell] = both * mean_phasor(grid, cell, delay_s + lines_s);
            if let Some(near) = self.near.get_mut(cell) {
                *near = both * mean_phasor(grid, cell, lines_s);
            }
            self.band[cell] = band;
        }
    }

    /// The gain that a fader can make up for: [`Feed::recoverable_gain`].
    #[must_use]
    pub fn recoverable_gain(&self) -> f64 {
        self.gain
    }

    /// The feed's weights for a power spread over the cells as `dry` is, with any one direction in the pair, without
    /// the gain to make up. `delay_s` is the dry's delay between the channels. `None` where nothing arrives or there is
    /// no dry.
    ///
    /// # Panics
    /// If the lengths don't match.
    #[must_use]
    pub fn weights(
        &self,
        dry: &CrossSpectrum,
        delay_s: f64,
        grid: &Grid,
        cells: core::ops::Range<usize>,
    ) -> Option<FeedWeights> {
        let mut weights = FeedWeights::default();
        let mut reference = 0.0;
        // On FFT bins the delay is in the dry's cross term, not in this response.
        let turns = delay_s != 0.0 && dry.delay_s == 0.0;
        let first = cells.start;
        let of_dry = (&dry.ll[cells.clone()], &dry.rr[cells.clone()]);
        let (ll, rr, lr) = (
            &self.ll[cells.clone()],
            &self.rr[cells.clone()],
            &self.lr[cells.clone()],
        );
        let band = &self.band[cells.clone()];
        for n in 0..cells.len() {
            let power = of_dry.0[n] + of_dry.1[n];
            let cross = if turns {
                lr[n] * mean_phasor(grid, first + n, delay_s)
            } else {
                lr[n]
            };
            weights.left += power * ll[n];
            weights.right += power * rr[n];
            weights.re += power * cross.re;
            weights.im -= power * cross.im;
            reference += power * band[n];
        }
        let scale = 1.0 / (self.gain * self.gain * reference);
        (reference > 0.0 && self.gain > 0.0).then_some(FeedWeights {
            left: weights.left * scale,
            right: weights.right * scale,
            re: weights.re * scale,
            im: weights.im * scale,
        })
    }

    /// How much later the right line is than the left one, seconds.
    #[must_use]
    pub fn lines_s(&self) -> f64 {
        self.lines_s
    }

    /// Whether the feed plays the low end only.
    #[must_use]
    pub fn is_low_end(&self) -> bool {
        self.low_end
    }

    /// The feed's power in a cell as if the channels were unrelated.
    pub(crate) fn apart(&self, spectrum: &CrossSpectrum, cell: usize) -> f64 {
        self.ll[cell] * spectrum.ll[cell] + self.rr[cell] * spectrum.rr[cell]
    }

    /// The feed's power at places spread evenly over a cell, close enough to show a comb, each as if all of the cell's
    /// power were there. FFT bins are one place each. `blurred` is the factor that a window leaves of the delayed cross
    /// term; `limited` limits what the channels share to their powers.
    pub(crate) fn inside(
        &self,
        spectrum: &CrossSpectrum,
        grid: &Grid,
        cell: usize,
        blurred: f64,
        limited: bool,
        mut on_power: impl FnMut(f64),
    ) {
        let plain = self.apart(spectrum, cell);
        let late = self.both[cell] * spectrum.lr[cell] * blurred;
        let near = spectrum.near.get(cell).map(|near| self.both[cell] * near);
        // A long note's cross term, corrected for a window that it doesn't lose to, is above its powers.
        let most = if limited {
            self.both[cell].norm() * (spectrum.ll[cell] * spectrum.rr[cell]).sqrt()
        } else {
            f64::INFINITY
        };
        let late_s = spectrum.delay_s + self.lines_s;
        let width_hz = if grid.block_len().is_some() {
            0.0
        } else {
            grid.edges_hz()[cell + 1] - grid.edges_hz()[cell]
        };
        let turn_rad = TAU * width_hz * late_s.abs().max(self.lines_s.abs());
        let places = (turn_rad / STEP_RAD).ceil().clamp(1.0, MOST_PLACES);
        let from_hz = grid.centres_hz()[cell] - 0.5 * width_hz * (1.0 - 1.0 / places);
        let step_hz = width_hz / places;
        let phasor = |hz: f64, delay_s: f64| {
            if delay_s == 0.0 {
                Complex::new(1.0, 0.0)
            } else {
                Complex::from_polar(1.0, TAU * hz * delay_s)
            }
        };
        let mut late = late * phasor(from_hz, late_s);
        let mut near = near.map(|near| near * phasor(from_hz, self.lines_s));
        let (late_step, near_step) = (phasor(step_hz, late_s), phasor(step_hz, self.lines_s));
        for _ in 0..to_index(places) {
            let cross = near.map_or(late, |near| late + near);
            let shared = cross.norm();
            on_power(plain + cross.re * if shared > most { most / shared } else { 1.0 });
            late *= late_step;
            near = near.map(|near| near * near_step);
        }
    }

    /// The feed's powers for a spectrum, cell by cell. Allocates; [`Self::write`] doesn't.
    ///
    /// # Panics
    /// If the lengths don't match.
    #[must_use]
    pub fn of(&self, spectrum: &CrossSpectrum, grid: &Grid) -> CellPowers {
        let mut powers = CellPowers::silent(grid.len());
        self.write(spectrum, grid, &mut powers);
        powers
    }

    /// Writes the feed's powers for a spectrum to `out`, cell by cell. Does not allocate.
    ///
    /// # Panics
    /// If the lengths don't match.
    pub fn write(&self, spectrum: &CrossSpectrum, grid: &Grid, out: &mut CellPowers) {
        debug_assert!(
            spectrum.delay_s == self.delay_s,
            "made for spectra with another delay kept apart"
        );
        let CellPowers {
            feed,
            reference,
            mono,
        } = out;
        write_feed(feed, &self.ll, &self.rr, &self.lr, spectrum);
        for (feed, (near, of_near)) in feed.iter_mut().zip(self.near.iter().zip(&spectrum.near)) {
            *feed += near.re * of_near.re - near.im * of_near.im;
        }
        write_reference(reference, &self.band, spectrum);
        if spectrum.delay_s == 0.0 {
            write_mono(mono, reference, &self.band, spectrum);
        } else {
            for (cell, mono) in mono.iter_mut().enumerate() {
                let turned = spectrum.cross(grid, cell, 0.0);
                *mono = 0.5 * (reference[cell] + self.band[cell] * turned.re);
            }
        }
    }
}

/// A feed's powers for a spectrum, cell by cell ([`FeedResponse::write`]).
#[derive(Clone, Debug)]
pub struct CellPowers {
    /// The feed's power. A single cell of a *split* spectrum, or of delayed channels, may come out negative (only
    /// averages over many cells are known); sums are right.
    pub feed: Vec<f64>,
    /// The mean power of both channels, limited to the band the feed plays: the reference of a change.
    pub reference: Vec<f64>,
    /// The power of the un-faulted sum of straight lines, average law, limited to the same band.
    pub mono: Vec<f64>,
}

impl CellPowers {
    /// Zeros on `cells` cells.
    #[must_use]
    pub fn silent(cells: usize) -> Self {
        Self {
            feed: vec![0.0; cells],
            reference: vec![0.0; cells],
            mono: vec![0.0; cells],
        }
    }
}

// Separate functions with slices of one length: the compiler knows that they don't overlap, and vectorises.

#[multiversion(targets("x86_64+avx"))]
fn write_feed(feed: &mut [f64], ll: &[f64], rr: &[f64], lr: &[Complex<f64>], spectrum: &CrossSpectrum) {
    let cells = feed.len();
    let (ll, rr, lr) = (&ll[..cells], &rr[..cells], &lr[..cells]);
    let (of_ll, of_rr, of_lr) = (
        &spectrum.ll[..cells],
        &spectrum.rr[..cells],
        &spectrum.lr[..cells],
    );
    for cell in 0..cells {
        let cross = lr[cell].re * of_lr[cell].re - lr[cell].im * of_lr[cell].im;
        feed[cell] = ll[cell] * of_ll[cell] + rr[cell] * of_rr[cell] + cross;
    }
}

#[multiversion(targets("x86_64+avx"))]
fn write_reference(reference: &mut [f64], band: &[f64], spectrum: &CrossSpectrum) {
    let cells = reference.len();
    let (band, ll, rr) = (&band[..cells], &spectrum.ll[..cells], &spectrum.rr[..cells]);
    for cell in 0..cells {
        reference[cell] = band[cell] * 0.5 * (ll[cell] + rr[cell]);
    }
}

#[multiversion(targets("x86_64+avx"))]
fn write_mono(mono: &mut [f64], reference: &[f64], band: &[f64], spectrum: &CrossSpectrum) {
    let cells = mono.len();
    let (reference, band, lr) = (&reference[..cells], &band[..cells], &spectrum.lr[..cells]);
    for cell in 0..cells {
        mono[cell] = 0.5 * (reference[cell] + band[cell] * lr[cell].re);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::db;
    use crate::routing::line::Polarity;

    /// CHECKS SUM-6: one line through a first-order high-pass, the other flat, at f/fc; algebra of |(1 ± H)/2|.
    #[test]
    fn one_line_through_a_transformer() {
        let rows = [
            (0.1, -5.89),
            (0.25, -5.31),
            (0.5, -3.98),
            (1.0, -2.04),
            (2.0, -0.71),
            (4.0, -0.20),
            (10.0, -0.03),
        ];
        let flipped = [(0.1, -6.06), (1.0, -9.03), (2.0, -13.01), (10.0, -26.06)];
        let level = |ratio: f64, sign: f64| {
            let h = high_pass(30.0 * ratio, 30.0, 48_000.0);
            db::from_power(((Complex::new(1.0, 0.0) + h * sign) / 2.0).norm_sqr())
        };
        for (ratio, expected) in rows {
            assert!(
                (level(ratio, 1.0) - expected).abs() < 0.01,
                "{ratio}: {}",
                level(ratio, 1.0)
            );
        }
        for (ratio, expected) in flipped {
            assert!(
                (level(ratio, -1.0) - expected).abs() < 0.01,
                "{ratio}: {}",
                level(ratio, -1.0)
            );
        }
    }

    #[test]
    fn the_closed_form_is_the_sum_of_two_phasors() {
        let grid = Grid::fft(48_000.0, 8192);
        let mut spectrum = CrossSpectrum::silent(grid.len());
        let (x, y) = (Complex::new(0.3, 0.4), Complex::new(-0.7, 0.1));
        spectrum.ll.fill(x.norm_sqr());
        spectrum.rr.fill(y.norm_sqr());
        spectrum.lr.fill(x * y.conj());
        let feed = Feed {
            left: Line {
                delay_s: 0.0002,
                gain_db: -3.0,
                ..Line::STRAIGHT
            },
            right: Line {
                polarity: Polarity::Flipped,
                high_pass_hz: [80.0, 0.0],
                ..Line::STRAIGHT
            },
            ..Feed::straight(Ending::Sum(crate::routing::feed::SumLaw::Minus3Db))
        };
        let response = FeedResponse::new(&feed, &grid, 0.0);
        let powers = response.of(&spectrum, &grid);
        for cell in [20, 200, 1500, 4000] {
            let hz = grid.centres_hz()[cell];
            let late = Complex::from_polar(1.0, -TAU * hz * 0.0002);
            let left = x * late * db::to_amplitude(-3.0);
            let right = -y * high_pass(hz, 80.0, 48_000.0);
            let expected = (left + right).norm_sqr() / 2.0;
            // At this delay the cell's width takes 1e-6 off the cross term.
            assert!((powers.feed[cell] / expected - 1.0).abs() < 1e-4);
        }
    }
}
