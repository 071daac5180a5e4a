//! Covariances of a pair of channels, over the whole and in pieces.

use super::Memory;
use super::bands::{BANDS, GROUPS, group_of};
use crate::dsp::numbers::to_single;

/// Number of short frames in a [`Moments`].
pub(super) const PER_MOMENT: usize = 8;

/// Number of pieces of a long sound that count.
pub(super) const PIECES: usize = 3;

/// The covariance of the channels: powers, and the cross term `E[L·conj(R)]`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Covariance {
    /// Power of the left channel.
    pub ll: f64,
    /// Power of the right channel.
    pub rr: f64,
    /// Real part of the cross term.
    pub re: f64,
    /// Imaginary part.
    pub im: f64,
}

impl Covariance {
    /// Silence.
    pub const NONE: Self = Self {
        ll: 0.0,
        rr: 0.0,
        re: 0.0,
        im: 0.0,
    };

    /// Power of both channels.
    #[must_use]
    pub fn trace(&self) -> f64 {
        self.ll + self.rr
    }

    /// The power along the direction `(cos, sin)` of an angle, across it, and the cross term between the two (real and
    /// imaginary part).
    #[must_use]
    pub fn along(&self, angle_rad: f64) -> Along {
        let (sin, cos) = angle_rad.sin_cos();
        let mixed = 2.0 * sin * cos * self.re;
        Along {
            along: cos * cos * self.ll + sin * sin * self.rr + mixed,
            across: sin * sin * self.ll + cos * cos * self.rr - mixed,
            cross: [
                sin * cos * (self.rr - self.ll) + (cos * cos - sin * sin) * self.re,
                self.im,
            ],
        }
    }

    /// The sum of both.
    #[must_use]
    pub fn plus(&self, other: &Self) -> Self {
        Self {
            ll: self.ll + other.ll,
            rr: self.rr + other.rr,
            re: self.re + other.re,
            im: self.im + other.im,
        }
    }

    /// Scaled by a factor.
    #[must_use]
    pub fn times(&self, factor: f64) -> Self {
        Self {
            ll: self.ll * factor,
            rr: self.rr * factor,
            re: self.re * factor,
            im: self.im * factor,
        }
    }

    /// The difference of both.
    #[must_use]
    pub fn minus(&self, other: &Self) -> Self {
        self.plus(&other.times(-1.0))
    }

    /// The normalised Stokes parameters: level difference, in-phase and quadrature cross term, each over the trace.
    #[must_use]
    pub fn stokes(&self) -> [f64; 3] {
        let trace = self.trace();
        if trace > 0.0 {
            [
                (self.ll - self.rr) / trace,
                2.0 * self.re / trace,
                2.0 * self.im / trace,
            ]
        } else {
            [0.0; 3]
        }
    }
}

/// A covariance rotated into a direction's frame.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Along {
    /// Power along.
    pub along: f64,
    /// Power across.
    pub across: f64,
    /// Cross term between the two.
    pub cross: [f64; 2],
}

/// The covariances of the octaves over a piece of 43 ms.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moments {
    /// Per octave: left, right, real and imaginary part of the cross term.
    pub groups: [[f32; 4]; GROUPS],
}

impl Moments {
    /// The covariance of an octave.
    #[must_use]
    pub fn group(&self, group: usize) -> Covariance {
        let [ll, rr, re, im] = self.groups[group].map(f64::from);
        Covariance { ll, rr, re, im }
    }
}

/// Sums over the whole sound, and the last moments one by one.
#[derive(Debug)]
pub(super) struct LongTerm {
    pieces: [Piece; PIECES],
    piece: usize,
    keep: f64,
    now: [Covariance; GROUPS],
    in_moment: usize,
    ring: Vec<Moments>,
    /// Number of the ring's places in use.
    kept: usize,
    written: usize,
    moment_s: f64,
}

/// The sums of one piece, and the number of moments before it.
#[derive(Clone, Copy, Debug)]
struct Piece {
    bands: [Covariance; BANDS],
    weight: f64,
    from: usize,
}

impl Piece {
    const fn new(from: usize) -> Self {
        Self {
            bands: [Covariance::NONE; BANDS],
            weight: 0.0,
            from,
        }
    }
}

impl LongTerm {
    pub fn new(memory: &Memory, hop_s: f64) -> Self {
        Self {
            pieces: [Piece::new(0); PIECES],
            piece: 0,
            keep: keep(memory, hop_s),
            now: [Covariance::default(); GROUPS],
            in_moment: 0,
            ring: vec![Moments::default(); memory.moments.max(1)],
            kept: memory.moments.max(1),
            written: 0,
            moment_s: PER_MOMENT as f64 * hop_s,
        }
    }

    pub fn set_memory(&mut self, memory: &Memory, hop_s: f64) {
        self.keep = keep(memory, hop_s);
        self.kept = memory.moments.clamp(1, self.ring.len());
        self.reset();
    }

    pub fn next_piece(&mut self) {
        self.piece = (self.piece + 1) % PIECES;
        self.pieces[self.piece] = Piece::new(self.written);
    }

    /// The oldest piece that counts.
    fn oldest(&self) -> &Piece {
        let next = &self.pieces[(self.piece + 1) % PIECES];
        let before = &self.pieces[(self.piece + 2) % PIECES];
        [next, before, &self.pieces[self.piece]]
            .into_iter()
            .find(|piece| piece.weight > 0.0)
            .unwrap_or(&self.pieces[self.piece])
    }

    pub fn reset(&mut self) {
        self.pieces = [Piece::new(0); PIECES];
        self.piece = 0;
        self.now = [Covariance::default(); GROUPS];
        self.in_moment = 0;
        self.written = 0;
    }

    pub fn moment_s(&self) -> f64 {
        self.moment_s
    }

    pub fn add(&mut self, frame: &[Covariance; BANDS]) {
        let piece = &mut self.pieces[self.piece];
        piece.weight = piece.weight * self.keep + 1.0;
        for (band, (sum, new)) in piece.bands.iter_mut().zip(frame).enumerate() {
            *sum = sum.times(self.keep).plus(new);
            let group = &mut self.now[group_of(band)];
            *group = group.plus(new);
        }
        self.in_moment += 1;
        if self.in_moment == PER_MOMENT {
            self.in_moment = 0;
            let slot = self.written % self.kept;
            self.ring[slot] = Moments {
                groups: self.now.map(|sum| {
                    [sum.ll, sum.rr, sum.re, sum.im].map(|value| to_single(value / PER_MOMENT as f64))
                }),
            };
            self.written += 1;
            self.now = [Covariance::default(); GROUPS];
        }
    }

    pub fn means(&self) -> [Covariance; BANDS] {
        let weight: f64 = self.pieces.iter().map(|piece| piece.weight).sum();
        let share = if weight > 0.0 { 1.0 / weight } else { 0.0 };
        core::array::from_fn(|band| {
            let sum = self
                .pieces
                .iter()
                .fold(Covariance::NONE, |sum, piece| sum.plus(&piece.bands[band]));
            sum.times(share)
        })
    }

    pub fn moment_count(&self) -> usize {
        (self.written - self.oldest().from).min(self.kept)
    }

    /// Moment number `n`, the oldest being 0.
    pub fn moment(&self, n: usize) -> &Moments {
        let oldest = self.written - self.moment_count();
        &self.ring[(oldest + n) % self.kept]
    }
}

/// The decay factor of a sum per hop.
fn keep(memory: &Memory, hop_s: f64) -> f64 {
    memory.forget_s.map_or(1.0, |seconds| (-hop_s / seconds).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sound_in_one_direction_has_nothing_across() {
        for degrees in [-80.0f64, -45.0, 0.0, 30.0, 45.0, 90.0] {
            let angle = degrees.to_radians();
            let (sin, cos) = angle.sin_cos();
            let pair = Covariance {
                ll: cos * cos,
                rr: sin * sin,
                re: sin * cos,
                im: 0.0,
            };
            let seen = pair.along(angle);
            assert!((seen.along - 1.0).abs() < 1e-12 && seen.across.abs() < 1e-12);
            assert!(seen.cross.iter().all(|x| x.abs() < 1e-12));
        }
    }
}
