//! What the parts in which both lines sound say of the lines, each for itself: what is read from one line's part after the other must agree with it.

use super::correlogram::Correlogram;
use super::{AHEAD_S, REACH_S, Reader};
use crate::Complex;
use crate::line_check::fit::ratio::{relation, weighted};
use crate::line_check::response::bands::{BinGrid, PartSpectrum};
use crate::line_check::signal::plan::{Mode, Piece, Sound};

/// How far a part may be from where the clock puts it and still be looked for, seconds.
const SLIP_S: f64 = 0.024;
/// A vote that is this close to what it's held against is for the same delay, seconds.
const SAME_S: f64 = 0.000_05;
/// Signal to noise (power) from which on a band says whether two things are alike.
const CLEAR: f64 = 2.5;
/// What a band's coherence is never better known than (variance).
const LEAST_VARIANCE: f64 = 1e-3;
/// So many bands make a statement.
const ENOUGH_BANDS: usize = 6;
/// Lines this far apart are told apart where both sound at once, seconds.
const APART_S: f64 = 0.000_5;
/// Where a correlation holds nothing but chance: behind all delays, seconds.
const CHANCE_S: (f64, f64) = (0.03, 0.08);
/// A marker is where its correlation's peak is from this height on; or from a lower one that is so many times what chance gives.
const PLACED: f64 = 0.2;
const PLACED_LEAST: f64 = 0.15;
const PLACED_CHANCE: f64 = 12.5;
/// The late sound: what comes so long behind a line's arrival, seconds.
const TAIL_S: (f64, f64) = (0.05, 0.45);
/// A band of the late sound counts from this signal to noise (power) on, and so many bands make a statement.
const LATE_CLEAR: f64 = 2.0;
const ENOUGH_LATE_BANDS: usize = 16;
/// What is less than this of a band's sound (power) is the end of a filter or of a coder's block and not of a room or a reverb.
const LATE_LEAST: f64 = 1e-3;

/// What one part says of the softer line against the louder one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Vote {
    /// How much later the right line is, seconds; where only its magnitude can be known, that of what it's held against has its sign.
    pub delay_s: f64,
    /// Height of the correlation there, with the polarity's sign.
    pub value: f64,
    /// The same at the delay it is held against.
    pub at_expected: f64,
    /// What chance gives, rms.
    pub chance: f64,
}

/// What is expected of the parts: from one line's part after the other.
#[derive(Clone, Copy, Debug)]
pub(super) struct Expected {
    /// How much later the right line is, seconds.
    pub delay_s: f64,
    /// The right line is the softer one.
    pub right_is_soft: bool,
}

/// A part in which both lines sound, held against what is expected.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Together {
    /// How much later it came than the clock and the other parts say, seconds; `None` where it can't be seen.
    pub late_s: Option<f64>,
    /// Height of the correlation that this is from, 0 to 1.
    pub height: f64,
    /// How much of it both lines' own parts explain, 0 to 1; `None` where too little of it stands out of the noise.
    pub explained: Option<Coherence>,
    pub vote: Option<Vote>,
}

/// All of it.
#[derive(Clone, Debug, Default)]
pub(super) struct Evidence {
    /// How alike right and left are over frequency, 0 to 1, lows apart and all together.
    pub alike: Alike,
    /// Markers at the start and at the end (stereo).
    pub markers: Vec<Together>,
    /// Both equal and both opposite, or (from one mono source) both.
    pub sums: Vec<Together>,
    /// What the powers of both equal and both opposite say: whatever moved in between, these don't move with it.
    pub powers: Option<Vote>,
    /// How alike both equal and both opposite are: where one line alone is heard, these are the same.
    pub each_other: Option<Coherence>,
    pub late: Late,
}

/// The late sound by itself, in which a room weighs nothing against an effect's tail; signed coherences, the noise taken out. The
/// direct sound doesn't weigh in it, so little of another way is seen.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Late {
    /// How well the right line's follows from the left one's as all of its sound does: −1 to 1.
    pub line: Option<Coherence>,
    /// How well both equal or both opposite, whichever does better, follow from both lines' own parts.
    pub sum: Option<Coherence>,
}

/// Coherence, with the noise taken out; `None` where too few bands stand out of it.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Alike {
    pub lows: Option<Coherence>,
    pub all: Option<Coherence>,
}

/// A coherence, and its standard deviation by noise.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Coherence {
    pub value: f64,
    pub sigma: f64,
}

impl Coherence {
    /// The most and the least it may be.
    pub fn most(&self) -> f64 {
        self.value + 2.0 * self.sigma
    }

    pub fn least(&self) -> f64 {
        self.value - 2.0 * self.sigma
    }
}

impl Reader {
    /// `wide` are left and right with room for each other's delay.
    pub(super) fn evidence(
        &mut self,
        channel: usize,
        wide: &[PartSpectrum; 2],
        expected: Expected,
    ) -> Evidence {
        let mut evidence = Evidence {
            alike: alike(&self.grid, &wide[0], &wide[1], expected.delay_s),
            ..Evidence::default()
        };
        let span_s = wide[0].seconds - AHEAD_S;
        for sign in [1.0, -1.0] {
            if let Some(piece) = self.sweep_on([1.0, sign]) {
                let response = self.response(channel, piece);
                let part = self.cut(&response, -AHEAD_S, span_s);
                let mut together = self.sum_part(wide, &part, sign);
                let apart = expected.delay_s.abs() > APART_S;
                if apart && matches!(self.plan.settings().mode, Mode::Mono { .. }) {
                    together.vote = Some(self.vote(part, wide, expected, [0.0; 2], 0.0));
                }
                evidence.sums.push(together);
            }
        }
        let equal = self.sweep_on([1.0, 1.0]);
        let opposite = self.sweep_on([1.0, -1.0]);
        if let (Some(equal), Some(opposite)) = (equal, opposite) {
            let parts = [equal, opposite].map(|piece| {
                let response = self.response(channel, piece);
                self.cut(&response, -AHEAD_S, span_s)
            });
            evidence.each_other = alike(&self.grid, &parts[0], &parts[1], 0.0).all;
            evidence.powers = self.powers(&parts, expected);
        }
        evidence.late = self.late(channel, wide, expected);
        for (first, second) in self.marker_pairs() {
            evidence
                .markers
                .push(self.marker(channel, [first, second], wide, expected));
        }
        evidence
    }

    /// The late sound of the lines against each other, and of both equal and both opposite against the lines.
    fn late(&mut self, channel: usize, wide: &[PartSpectrum; 2], expected: Expected) -> Late {
        let (Some(left), Some(right)) = (self.sweep_on([1.0, 0.0]), self.sweep_on([0.0, 1.0])) else {
            return Late::default();
        };
        let lines = [left, right].map(|piece| self.response(channel, piece));
        let behind_s = [(-expected.delay_s).max(0.0), expected.delay_s.max(0.0)];
        let own = [0, 1].map(|n| self.cut(&lines[n], behind_s[n] + TAIL_S.0, behind_s[n] + TAIL_S.1));
        let line = follows(
            &self.grid,
            [&own[0], &own[1]],
            expected.delay_s,
            Some([&wide[0], &wide[1]]),
        );
        let later_s = behind_s[0].max(behind_s[1]);
        let same = [0, 1].map(|n| self.cut(&lines[n], later_s + TAIL_S.0, later_s + TAIL_S.1));
        let mut sum: Option<Coherence> = None;
        for sign in [1.0, -1.0] {
            let Some(piece) = self.sweep_on([1.0, sign]) else {
                continue;
            };
            let response = self.response(channel, piece);
            let part = self.cut(&response, later_s + TAIL_S.0, later_s + TAIL_S.1);
            let found = follows(&self.grid, [&added(&same, sign), &part], 0.0, None);
            sum = sum
                .into_iter()
                .chain(found)
                .max_by(|a, b| a.value.total_cmp(&b.value));
        }
        Late { line, sum }
    }

    /// Markers of which both sweeps are whole and in the recording.
    fn marker_pairs(&self) -> Vec<(usize, usize)> {
        let is_one = |n: &usize| self.plan.pieces[*n].sound == Sound::Marker;
        let markers: Vec<usize> = (0..self.plan.pieces.len()).filter(is_one).collect();
        let on_one = |piece: &Piece| piece.lines.contains(&0.0);
        markers
            .chunks_exact(2)
            .map(|pair| (pair[0], pair[1]))
            .filter(|&(a, b)| {
                let pieces = &self.plan.pieces;
                self.inside[a]
                    && self.inside[b]
                    && on_one(&pieces[a])
                    && pieces[b].start_s - pieces[a].start_s < 1.0
            })
            .collect()
    }

    /// Both equal, or both opposite, against the sum or difference of both alone.
    fn sum_part(&mut self, wide: &[PartSpectrum; 2], part: &PartSpectrum, sign: f64) -> Together {
        let sum = added(wide, sign);
        let (transforms, grid) = (&mut self.deconvolver.transforms, &self.grid);
        let found = relation(transforms, grid, &sum, part, SLIP_S, f64::INFINITY);
        let explained = alike(grid, &sum, part, 0.0).all;
        // Where the lines cancel there's nothing to be late.
        let late_s = found
            .filter(|found| found.sign > 0.0 && found.height > 0.5 && explained.is_some())
            .map(|found| found.delay_s);
        Together {
            late_s,
            height: found.map_or(0.0, |found| found.height),
            explained,
            vote: None,
        }
    }

    /// `(|E|² − |O|²)/(|E|² + |O|²)` is `2g·cos(ωτ)/(1 + g²)` with the polarity's sign, whatever the room and wherever the phone.
    fn powers(&mut self, [equal, opposite]: &[PartSpectrum; 2], expected: Expected) -> Option<Vote> {
        let mut cross = vec![Complex::new(0.0, 0.0); self.grid.len / 2 + 1];
        let mut total = 0.0;
        for &(from, to) in &self.grid.bands {
            let bins = (to - from) as f64;
            let noise = (equal.noise_power((from, to)) + opposite.noise_power((from, to))) / bins;
            let power = (equal.power((from, to)) + opposite.power((from, to))) / bins;
            if self.grid.hz(from) < equal.band_hz.0
                || self.grid.hz(to) > equal.band_hz.1
                || power < 2.0 * noise
            {
                continue;
            }
            for (k, bin) in cross.iter_mut().enumerate().take(to).skip(from) {
                let (x, y) = (equal.bins[k].norm_sqr(), opposite.bins[k].norm_sqr());
                *bin = Complex::new((x - y) / (x + y + noise), 0.0);
                total += 1.0;
            }
        }
        if total < 100.0 {
            return None;
        }
        let found = Correlogram::new(&mut self.deconvolver.transforms, &self.grid, cross, total);
        let (delay_s, value) = found.best(0.0, REACH_S);
        let expected_s = expected.delay_s.abs();
        Some(Vote {
            delay_s: delay_s.copysign(expected.delay_s),
            value,
            at_expected: found.best(expected_s - SAME_S, expected_s + SAME_S).1,
            chance: found.rms(CHANCE_S.0, 0.2),
        })
    }

    /// A marker: the louder line is where it's expected; without it, the softer one shows where it is.
    fn marker(
        &mut self,
        channel: usize,
        pair: [usize; 2],
        wide: &[PartSpectrum; 2],
        expected: Expected,
    ) -> Together {
        let pieces = &self.plan.pieces;
        let pitch_s = (pieces[pair[1]].start_s - pieces[pair[0]].start_s) * (1.0 + self.clock.drift);
        let left_first = pieces[pair[0]].lines[0] != 0.0;
        let loud_is_left = expected.right_is_soft;
        let (loud_at_s, soft_at_s) = if left_first == loud_is_left {
            (0.0, pitch_s)
        } else {
            (pitch_s, 0.0)
        };
        let response = self.response(channel, pair[0]);
        let heard = self.cut(&response, -AHEAD_S, pitch_s + wide[0].seconds - AHEAD_S);
        let mut placed = wide[usize::from(!loud_is_left)].clone();
        for (k, bin) in placed.bins.iter_mut().enumerate() {
            *bin *= turned(&self.grid, k, loud_at_s);
        }
        let (transforms, grid) = (&mut self.deconvolver.transforms, &self.grid);
        let Some(found) = relation(transforms, grid, &placed, &heard, SLIP_S, f64::INFINITY) else {
            return Together::default();
        };
        let vote = self.vote(heard, wide, expected, [loud_at_s, soft_at_s], found.delay_s);
        let least = PLACED.min(PLACED_LEAST.max(PLACED_CHANCE * vote.chance));
        Together {
            late_s: (found.sign > 0.0 && found.height > least).then_some(found.delay_s),
            height: found.height,
            explained: None,
            vote: Some(vote),
        }
    }

    /// Where the softer line is in a part without the louder one, which came late by so much.
    fn vote(
        &mut self,
        mut heard: PartSpectrum,
        wide: &[PartSpectrum; 2],
        expected: Expected,
        [loud_at_s, soft_at_s]: [f64; 2],
        late_s: f64,
    ) -> Vote {
        let loud = &wide[usize::from(!expected.right_is_soft)];
        let grid = &self.grid;
        take_out(grid, &mut heard, loud, loud_at_s + late_s);
        let cross = weighted(loud, &heard, grid, f64::INFINITY);
        let total = cross.iter().map(|bin| bin.norm()).sum();
        let softer = Correlogram::new(&mut self.deconvolver.transforms, grid, cross, total);
        let side = if expected.right_is_soft { 1.0 } else { -1.0 };
        let (lag_s, value) = softer.best(soft_at_s - REACH_S, soft_at_s + REACH_S);
        let expected_s = soft_at_s + side * expected.delay_s;
        Vote {
            delay_s: side * (lag_s - soft_at_s),
            value,
            at_expected: softer.best(expected_s - SAME_S, expected_s + SAME_S).1,
            chance: softer.rms(soft_at_s + CHANCE_S.0, soft_at_s + CHANCE_S.1),
        }
    }
}

fn turned(grid: &BinGrid, bin: usize, late_s: f64) -> Complex<f64> {
    Complex::from_polar(1.0, -core::f64::consts::TAU * grid.hz(bin) * late_s)
}

/// Both lines' own parts, the right one with this sign.
fn added(lines: &[PartSpectrum; 2], sign: f64) -> PartSpectrum {
    let mut sum = lines[0].clone();
    for (bin, other) in sum.bins.iter_mut().zip(&lines[1].bins) {
        *bin += sign * other;
    }
    for (noise, other) in sum.noise.iter_mut().zip(&lines[1].noise) {
        *noise += other;
    }
    sum
}

/// How well the second follows from the first, the second late by so much: the part of their coherence that is in phase, or in the phase
/// in which `reference` has the second against the first. What is unlike comes out as 0 in the mean, however few its values are.
fn follows(
    grid: &BinGrid,
    of: [&PartSpectrum; 2],
    late_s: f64,
    reference: Option<[&PartSpectrum; 2]>,
) -> Option<Coherence> {
    let mut found: Vec<f64> = Vec::new();
    for &band in &grid.bands {
        let hz = grid.middle_hz(band);
        let is_swept = |x: &&PartSpectrum| (x.band_hz.0..=x.band_hz.1).contains(&hz);
        if !of.iter().all(is_swept) || of.iter().any(|x| x.clearness(band) < LATE_CLEAR) {
            continue;
        }
        let cross = |[a, b]: [&PartSpectrum; 2]| -> Complex<f64> {
            (band.0..band.1)
                .map(|k| a.bins[k].conj() * b.bins[k] * turned(grid, k, late_s).conj())
                .sum()
        };
        let phase = reference.map_or(Complex::new(1.0, 0.0), |reference| {
            let cross = cross(reference);
            cross / cross.norm().max(1e-300)
        });
        let clean = of.map(|x| x.power(band) - x.noise_power(band));
        let whole = reference.map(|whole| whole.map(|x| x.power(band)));
        if whole.is_some_and(|whole| (0..2).any(|n| clean[n] < LATE_LEAST * whole[n])) {
            continue;
        }
        let in_phase = (cross(of) * phase.conj()).re;
        found.push((in_phase / (clean[0] * clean[1]).sqrt()).clamp(-1.2, 1.2));
    }
    let count = found.len() as f64;
    let value = found.iter().sum::<f64>() / count;
    let spread = found.iter().map(|x| (x - value).powi(2)).sum::<f64>() / count;
    (found.len() >= ENOUGH_LATE_BANDS).then(|| Coherence {
        value,
        sigma: (spread / count).sqrt(),
    })
}

/// Takes what follows from `placed`, late by so much, out of what is heard, band by band.
fn take_out(grid: &BinGrid, heard: &mut PartSpectrum, placed: &PartSpectrum, late_s: f64) {
    for &(from, to) in &grid.bands {
        let (mut power, mut cross) = (0.0, Complex::new(0.0, 0.0));
        for k in from..to {
            let x = placed.bins[k] * turned(grid, k, late_s);
            power += x.norm_sqr();
            cross += x.conj() * heard.bins[k];
        }
        if power > 0.0 {
            for k in from..to {
                let x = placed.bins[k] * turned(grid, k, late_s);
                heard.bins[k] -= cross / power * x;
            }
        }
    }
}

/// Coherence of two, the second late by so much.
fn alike(grid: &BinGrid, a: &PartSpectrum, b: &PartSpectrum, late_s: f64) -> Alike {
    let mut found: Vec<(f64, f64, f64)> = Vec::new();
    for &(from, to) in &grid.bands {
        let hz = grid.middle_hz((from, to));
        if hz < a.band_hz.0.max(b.band_hz.0) || hz > a.band_hz.1.min(b.band_hz.1) {
            continue;
        }
        let noise = [a, b].map(|x| x.noise_power((from, to)));
        let power = [a, b].map(|x| x.power((from, to)));
        if (0..2).any(|n| power[n] < (1.0 + CLEAR) * noise[n]) {
            continue;
        }
        let cross: Complex<f64> = (from..to)
            .map(|k| a.bins[k].conj() * b.bins[k] * turned(grid, k, late_s).conj())
            .sum();
        // What noise adds to the cross spectrum's power, over so many bins.
        let by_noise = (noise[0] * power[1] + noise[1] * power[0]) / (to - from) as f64;
        let clean = (power[0] - noise[0]) * (power[1] - noise[1]);
        let coherence = ((cross.norm_sqr() - by_noise) / clean).clamp(0.0, 1.2);
        let width_s = (grid.hz(to) - grid.hz(from)) * a.seconds.min(b.seconds);
        let by_clearness = noise[0] / (power[0] - noise[0]) + noise[1] / (power[1] - noise[1]);
        found.push((
            hz,
            coherence,
            2.0 * by_clearness / width_s.max(1.0) + LEAST_VARIANCE,
        ));
    }
    let mean = |low_hz: f64, high_hz: f64| {
        let (mut weights, mut sum, mut spread, mut count) = (0.0, 0.0, 0.0, 0);
        for &(_, coherence, variance) in found.iter().filter(|(hz, ..)| (low_hz..high_hz).contains(hz)) {
            (weights, sum, count) = (weights + 1.0 / variance, sum + coherence / variance, count + 1);
        }
        let value = sum / weights;
        for &(_, coherence, variance) in found.iter().filter(|(hz, ..)| (low_hz..high_hz).contains(hz)) {
            spread += ((coherence - value) / variance).powi(2);
        }
        (count >= ENOUGH_BANDS).then(|| Coherence {
            value,
            sigma: (spread.sqrt() / weights).max((1.0 / weights).sqrt()),
        })
    };
    Alike {
        lows: mean(0.0, 500.0),
        all: mean(0.0, f64::INFINITY),
    }
}
