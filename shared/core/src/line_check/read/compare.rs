//! One line against the other.

use super::{AHEAD_S, REACH_S, Reader};
use crate::line_check::fit::fitted::{Fit, fit};
use crate::line_check::fit::point::Point;
use crate::line_check::fit::ratio::{Relation, points, relation};
use crate::line_check::response::Response;
use crate::line_check::response::bands::PartSpectrum;

/// How often bands are chosen anew by what was fitted.
const GUESSES: usize = 2;

/// What the comparison of two lines gives.
pub(super) struct Compared {
    pub relation: Relation,
    /// The ratio over frequency, and what was fitted to it.
    pub chosen: (Vec<Point>, Fit),
    /// What of it is shown.
    pub drawn: Vec<Point>,
    /// The same where both are clear, whatever is expected.
    pub plain: (Vec<Point>, Fit),
    /// Left and right with room for each other's delay.
    pub wide: [PartSpectrum; 2],
}

impl Reader {
    /// Delay, sign, and the ratio over frequency.
    pub(super) fn compare(&mut self, lines: &[Response; 2], length_s: f64) -> Option<Compared> {
        let cuts = [&lines[0], &lines[1]].map(|response| self.cut(response, -AHEAD_S, REACH_S + length_s));
        let (transforms, grid) = (&mut self.deconvolver.transforms, &self.grid);
        let coarse = relation(transforms, grid, &cuts[0], &cuts[1], REACH_S, f64::INFINITY)?;
        // Once more with both cut alike, as seen from their own arrivals.
        let (late_left, late_right) = ((-coarse.delay_s).max(0.0), coarse.delay_s.max(0.0));
        let left = self.cut(&lines[0], late_left - AHEAD_S, late_left + length_s);
        let right = self.cut(&lines[1], late_right - AHEAD_S, late_right + length_s);
        let (transforms, grid) = (&mut self.deconvolver.transforms, &self.grid);
        let mut relation = relation(transforms, grid, &left, &right, REACH_S, f64::INFINITY)?;
        // What was cut to whole samples apart is still known to fractions, since the cuts keep their places.
        if (relation.delay_s - coarse.delay_s).abs() > 0.001 {
            relation = coarse;
        }
        let plain = points(grid, &left, &right, &relation, None);
        let plain = fit(&plain).map(|fit| (plain, fit))?;
        let mut chosen = plain.clone();
        for _ in 0..GUESSES {
            let next = points(grid, &left, &right, &relation, Some(&chosen.1));
            let Some(fit) = fit(&next) else { break };
            chosen = (next, fit);
        }
        Some(Compared {
            relation,
            chosen,
            drawn: plain.0.clone(),
            plain,
            wide: cuts,
        })
    }
}
