//! The four sums of a pair, in which a dry sound is a direction.
//!
//! `P = S_LL + S_RR`, `Q = S_LL − S_RR`, `U = 2·Re S_LR`, `V = 2·Im S_LR` (Stokes' parameters, with the channels in the place
//! of the two components of a wave; Born & Wolf, Principles of Optics, 10.9, from memory). A dry of power `D` that lies in
//! the pair in one way is `D·(1, q, u, v)` with `q² + u² + v² = 1`; a wet of power `W`, equally loud in both channels and
//! correlated by `κ`, is `W·(1, 0, κ, 0)`.

use crate::Complex;

/// The four sums.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Stokes {
    /// Power of both channels.
    pub p: f64,
    /// Left less right.
    pub q: f64,
    /// What is in phase.
    pub u: f64,
    /// What is a quarter turn off.
    pub v: f64,
}

impl Stokes {
    pub(super) fn of(left: f64, right: f64, cross: Complex<f64>) -> Self {
        Self {
            p: left + right,
            q: left - right,
            u: 2.0 * cross.re,
            v: 2.0 * cross.im,
        }
    }

    pub(super) fn add(&mut self, other: Self, share: f64) {
        self.p += share * other.p;
        self.q += share * other.q;
        self.u += share * other.u;
        self.v += share * other.v;
    }

    /// The power of what lies in the pair in one way.
    pub(super) fn directed(&self) -> f64 {
        (self.q * self.q + self.u * self.u + self.v * self.v).sqrt()
    }

    /// The power of a dry that lies in `direction`, by least squares from `(Q, U − κP, V) = D·(q, u − κ, v)`, and what is left
    /// across it.
    pub(super) fn project(&self, [q, u, v]: [f64; 3], kappa: f64) -> (f64, [f64; 3]) {
        let (a, b, c) = (q, u - kappa, v);
        // A wet that lies where the dry does can't be told from it.
        let length = (a * a + b * b + c * c).max(1e-4);
        let (x, y, z) = (self.q, self.u - kappa * self.p, self.v);
        let dry = (a * x + b * y + c * z) / length;
        (dry, [x - a * dry, y - b * dry, z - c * dry])
    }
}

/// The direction of a dry whose right channel is louder than the left by `2·ratio` (natural logarithm of the power
/// ratio), its cross term turned by `phase`.
pub(super) fn direction(ratio: f64, phase: f64) -> [f64; 3] {
    let across = 1.0 / ratio.cosh();
    [-ratio.tanh(), across * phase.cos(), across * phase.sin()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dry_and_a_wet_are_told_apart_by_direction() {
        for (ratio, phase, kappa) in [
            (0.0, 0.0, 0.0),
            (0.5, 1.0, -0.7),
            (-0.7, -2.0, 0.3),
            (0.0, 3.1, 0.5),
        ] {
            let [q, u, v] = direction(ratio, phase);
            assert!((q * q + u * u + v * v - 1.0).abs() < 1e-12);
            let (dry, wet) = (2.0, 3.0);
            let both = Stokes {
                p: dry + wet,
                q: dry * q,
                u: dry * u + wet * kappa,
                v: dry * v,
            };
            let (found, across) = both.project([q, u, v], kappa);
            assert!((found - dry).abs() < 1e-12, "{ratio} {phase} {kappa}: {found}");
            assert!(across.iter().all(|x| x.abs() < 1e-12), "{across:?}");
        }
    }

    #[test]
    fn a_direction_is_what_the_powers_say() {
        let (ratio, phase) = (0.4, 0.7);
        let (left, right) = (1.0, (2.0f64 * ratio).exp());
        let cross = Complex::from_polar(f64::sqrt(left * right), phase);
        let stokes = Stokes::of(left, right, cross);
        let [q, u, v] = direction(ratio, phase);
        assert!((stokes.q / stokes.p - q).abs() < 1e-12);
        assert!((stokes.u / stokes.p - u).abs() < 1e-12);
        assert!((stokes.v / stokes.p - v).abs() < 1e-12);
        assert!((stokes.directed() - stokes.p).abs() < 1e-12);
    }
}
