//! The gains of two passes in a full one by least squares, and the offsets with the least residual.

/// The correlations that determine the residual of `full = g_d·dry + g_w·wet`, for one pair of whole offsets.
#[derive(Clone, Copy)]
pub(super) struct Terms {
    pub full_dry: f64,
    pub full_wet: f64,
    pub dry_wet: f64,
    pub dry: f64,
    pub wet: f64,
}

impl Terms {
    /// The two gains, and the energy they explain.
    pub fn fit(&self) -> ([f64; 2], f64) {
        let determinant = self.dry * self.wet - self.dry_wet * self.dry_wet;
        // Passes that are nearly the same sound can't be separated; then both share one gain.
        if determinant <= 1e-9 * self.dry * self.wet {
            let both = self.dry + self.wet + 2.0 * self.dry_wet;
            let gain = if both > 0.0 {
                (self.full_dry + self.full_wet) / both
            } else {
                0.0
            };
            return ([gain; 2], gain * (self.full_dry + self.full_wet));
        }
        let gains = [
            (self.full_dry * self.wet - self.full_wet * self.dry_wet) / determinant,
            (self.full_wet * self.dry - self.full_dry * self.dry_wet) / determinant,
        ];
        (gains, gains[0] * self.full_dry + gains[1] * self.full_wet)
    }
}

/// Tries every pair of offsets of dry and wet, given the correlations by lag. Returns the best pair and the energy it
/// explains.
pub(super) fn least_residual(
    candidates: [&[isize]; 2],
    [dry, wet]: [f64; 2],
    full_dry: impl Fn(isize) -> f64,
    full_wet: impl Fn(isize) -> f64,
    dry_wet: impl Fn(isize) -> f64,
) -> ([isize; 2], f64) {
    let mut best = ([0, 0], f64::NEG_INFINITY);
    for &d in candidates[0] {
        for &w in candidates[1] {
            let terms = Terms {
                full_dry: full_dry(d),
                full_wet: full_wet(w),
                // Σ dry[n−d]·wet[n−w].
                dry_wet: dry_wet(w - d),
                dry,
                wet,
            };
            let (_, explained) = terms.fit();
            if explained > best.1 {
                best = ([d, w], explained);
            }
        }
    }
    best
}
