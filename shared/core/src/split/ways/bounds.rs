//! The bounds of dry and wet that follow from the evidence and the stated kind of preset: the dry's possible directions
//! in the pair, and its possible share of the power.

use core::f64::consts::FRAC_PI_4;

use super::bands::{BANDS, group_of};
use super::evidence::Evidence;
use super::measured::{WetAlong, grouped};
use super::modes::{MOST_MODES, Mode};
use super::sums::Covariance;
use super::tail::Tail;
use crate::split::diffuse::diffuse_per_channel;
use crate::split::kind::PresetKind;

/// Least share of the onset increments within 6° of a single direction.
const ONE_SHARE: f64 = 0.6;
/// Largest share of any other direction.
const OTHER_SHARE: f64 = 0.3;
/// Above this share the direction is known to [`FINE_DEG`], else to [`COARSE_DEG`].
const SURE_SHARE: f64 = 0.85;
/// Tolerances of a direction, degrees.
const FINE_DEG: f64 = 1.0;
const COARSE_DEG: f64 = 2.0;
/// Tolerance of each of several directions, degrees.
const SEVERAL_DEG: f64 = 4.0;
/// Least onsets for a single direction in general...
const ENOUGH: usize = 5;
/// ...and if nearly all increments have it and hardly any have none.
const FEW: usize = 2;
const FEW_SHARE: f64 = 0.9;
const FEW_PURITY: f64 = 0.6;
/// A direction this close to the middle, the inverted middle or a side is moved there, degrees.
const SNAP_DEG: f64 = 2.5;
/// Within this of a side, degrees, the increments may leak across by at most [`SIDE_LEAK`] and must hardly go
/// elsewhere: two amplifiers or takes of which one answers first look like one side.
const SIDE_DEG: f64 = 8.0;
const SIDE_LEAK: f64 = 0.1;
const SIDE_SHARE: f64 = 0.85;
/// Signs of a phaser, which leaves a few pure increments in the middle and smears all others, though most of the power
/// lies along: purity below the first, power across below the second, leak above the third.
const SMEARED: [f64; 3] = [0.25, 0.3, 0.09];
/// Below this purity a direction off the middle needs [`SURE_SHARE`] (rotary).
const BLURRED: f64 = 0.15;
/// A mode this close to the middle or the inverted middle counts as there where the dry is said to be centred, degrees.
const NEAR_DEG: f64 = 8.0;
/// Increments of an inverted dry leak across it by at most this...
const INVERTED_LEAK: f64 = 0.1;
/// ...or have at most this second Stokes parameter; that of equal channels, one of them inverted, is −1.
const INVERTED: f64 = -0.85;
/// Least share of a mode where both sides have onsets of their own (a ping-pong echo, two takes).
const BOTH_SIDES_SHARE: f64 = 0.1;
/// Tolerance of two takes' normalised cross term around 0.
const UNRELATED: f64 = 0.12;
/// Half width of the dry's Stokes parameters without a single direction, standard errors.
const DEVIATIONS: f64 = 3.0;
/// Least purity that, with at most [`MOVING_SHARE`], shows that there is no separate dry (tremolo, auto-pan): every
/// increment has a direction, each a different one.
const MOVING_PURITY: f64 = 0.45;
const MOVING_SHARE: f64 = 0.37;
/// Tolerance of a tail's wet along the dry's direction, dB, besides two standard errors.
const TAIL_DB: f64 = 2.0;
/// Tolerance of the direction of a sound that has only one, degrees.
const ONLY_DEG: f64 = 0.2;
/// Lining up must leave less than this share of the power across.
const HALF: f64 = 0.5;
/// With less than this share of the power across the dry's direction, dry and wet have the same direction.
const NOTHING_ACROSS: f64 = 3e-4;

/// What narrowed an interval that the onsets leave open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Closed {
    /// The whole sound has one direction.
    OneWay,
    /// A muted ending.
    MutedEnd,
    /// The kind stated by the player.
    Kind,
}

/// A direction the dry may have.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Way {
    /// Radians, as [`Mode::angle_rad`].
    pub angle_rad: f64,
    /// Its tolerance, radians.
    pub tolerance_rad: f64,
}

/// The bounds of an estimated dry and wet.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Bounds {
    /// The dry has a single direction, the first of [`Self::ways`]; otherwise it may have any of them, or Stokes
    /// parameters within [`Self::error`].
    pub one_direction: bool,
    /// There's no dry separate from the effect: the whole sound is judged.
    pub no_separate_dry: bool,
    /// The directions the dry may have; the first [`Self::count`] count.
    pub ways: [Way; MOST_MODES],
    /// Number of directions.
    pub count: usize,
    /// Without a single direction: half width (three standard errors, for two takes wider) of the dry's normalised
    /// Stokes parameters; `None` without onsets.
    pub error: Option<[f64; 3]>,
    /// Dry power over all power, at least and at most.
    pub dry_share: [f64; 2],
    /// The most likely share.
    pub likely_share: f64,
    /// What narrowed the wet's interval, if anything did.
    pub closed: Option<Closed>,
    /// How much later the right channel's dry is, seconds.
    pub delay_s: f64,
    /// Most likely power of the wet along the dry's direction over the dry's, at most 1.
    pub mixed: f64,
    /// The wet's direction in the pair, where a muted ending showed it.
    pub wet: Option<WetWay>,
}

/// The dry's unbounded share of all power.
const UNTOLD: [f64; 2] = [0.0, 1.0];

/// A wet's direction in the pair.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct WetWay {
    /// Its normalised Stokes parameters.
    pub stokes: [f64; 3],
    /// One standard error of each.
    pub error: [f64; 3],
}

impl Bounds {
    /// Nothing is known.
    pub const UNKNOWN: Self = Self {
        one_direction: false,
        no_separate_dry: false,
        ways: [Way {
            angle_rad: 0.0,
            tolerance_rad: 0.0,
        }; MOST_MODES],
        count: 0,
        error: None,
        dry_share: [0.0, 1.0],
        likely_share: 0.5,
        closed: None,
        delay_s: 0.0,
        mixed: 1.0,
        wet: None,
    };
}

/// The dry of one band.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BandDry {
    /// Normalised Stokes parameters of the dry.
    pub stokes: [f64; 3],
    /// Most likely share of the band's power that is dry.
    pub share: f64,
    /// Share of it along the dry's direction, dry or wet; 0 without a single direction.
    pub along: f64,
}

/// Bounds with the most likely dry per band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resolved {
    /// The bounds.
    pub bounds: Bounds,
    /// The dry per band.
    pub bands: [BandDry; BANDS],
}

/// The angle between two directions, degrees; inverting both channels makes no difference.
fn apart_deg(a: f64, b: f64) -> f64 {
    let turn = (a - b).to_degrees().rem_euclid(180.0);
    turn.min(180.0 - turn)
}

/// The direction, moved to the middle, the inverted middle or a side if close enough.
fn snapped(angle_rad: f64) -> f64 {
    [FRAC_PI_4, -FRAC_PI_4, 0.0, 2.0 * FRAC_PI_4]
        .into_iter()
        .find(|&purpose| apart_deg(angle_rad, purpose) <= SNAP_DEG)
        .unwrap_or(angle_rad)
}

/// Stokes parameters of a direction.
fn stokes_of(angle_rad: f64) -> [f64; 3] {
    let (sin, cos) = (2.0 * angle_rad).sin_cos();
    [cos, sin, 0.0]
}

impl Evidence {
    /// Whether the onset increments have a single direction.
    #[must_use]
    pub fn is_one_direction(&self) -> bool {
        // Two amplifiers, echoes on alternating sides and rotaries make modes off the middle, but not of nearly all onsets.
        let first = self.modes.modes[0];
        // A few notes of an auto-pan can lie in one place between.
        let off_middle = self.off_middle_deg() > SNAP_DEG;
        let at_a_side = self.off_middle_deg() > 45.0 - SNAP_DEG;
        let enough = first.share >= SURE_SHARE && (at_a_side || self.modes.onsets >= ENOUGH);
        self.has_main_direction() && (!off_middle || enough)
    }

    /// The angle of the first mode from the middle or the inverted middle, degrees.
    fn off_middle_deg(&self) -> f64 {
        let angle = self.modes.modes[0].angle_rad;
        apart_deg(angle, FRAC_PI_4).min(apart_deg(angle, -FRAC_PI_4))
    }

    /// Whether most onset increments have the first mode's direction: enough where the dry is said to have only one.
    fn has_main_direction(&self) -> bool {
        let modes = &self.modes;
        let [first, second, ..] = modes.modes;
        let enough = modes.onsets >= ENOUGH
            || (modes.onsets >= FEW && first.share >= FEW_SHARE && modes.purity >= FEW_PURITY);
        let middle = self.off_middle_deg();
        let at_a_side = middle > 45.0 - SIDE_DEG;
        let smeared = modes.purity < SMEARED[0] && self.across < SMEARED[1] && modes.leak > SMEARED[2];
        let blurred = modes.purity < BLURRED && middle > SNAP_DEG && first.share < SURE_SHARE;
        enough
            && !smeared
            && !blurred
            && first.share >= ONE_SHARE
            && (modes.count < 2 || second.share <= OTHER_SHARE)
            && (!at_a_side
                || (modes.leak <= SIDE_LEAK && first.share >= SIDE_SHARE && self.begins_on_its_side()))
    }

    /// Whether what begins is louder on the side of the first mode: of two amplifiers the first to answer has the pure
    /// increments, and the other may have the power.
    fn begins_on_its_side(&self) -> bool {
        (2.0 * self.modes.modes[0].angle_rad).cos() * self.begins_all.stokes[0] > 0.0
    }

    /// Whether lining the channels up by this evidence's delay explains the pair: one direction, with both channels in
    /// it.
    #[must_use]
    pub fn explains_delay(&self) -> bool {
        self.is_one_direction() && self.off_middle_deg() < 45.0 - SIDE_DEG - 4.0
    }

    /// Whether the increments move: every one has a direction, each a different one.
    #[must_use]
    pub fn is_moving(&self) -> bool {
        self.modes.onsets >= ENOUGH
            && self.modes.purity >= MOVING_PURITY
            && self.modes.modes[0].share <= MOVING_SHARE
    }

    /// Resolves the evidence into bounds for a kind of preset.
    #[must_use]
    pub fn resolve(&self, kind: PresetKind) -> Resolved {
        let first = self.modes.modes[0];
        if kind == PresetKind::NoDry || (kind == PresetKind::NotSaid && self.is_moving()) {
            return self.whole();
        }
        if let Some(angle) = self.only_way() {
            return self.one_way(angle, ONLY_DEG.to_radians(), kind);
        }
        let tolerance_rad = if first.share > SURE_SHARE {
            FINE_DEG
        } else {
            COARSE_DEG
        }
        .to_radians();
        match kind {
            PresetKind::NotSaid if self.is_one_direction() => {
                self.one_way(snapped(first.angle_rad), tolerance_rad, kind)
            }
            PresetKind::Centre | PresetKind::OneSide | PresetKind::LateCopy
                if self.has_main_direction() && !(kind == PresetKind::Centre && self.looks_inverted()) =>
            {
                self.one_way(snapped(first.angle_rad), tolerance_rad, kind)
            }
            // One dry in both channels, but not alike: few onsets are enough where all say so.
            PresetKind::Centre
                if (NEAR_DEG..=45.0 - SIDE_DEG).contains(&self.off_middle_deg())
                    && first.share >= ONE_SHARE =>
            {
                self.one_way(first.angle_rad, COARSE_DEG.to_radians(), kind)
            }
            PresetKind::Centre => {
                let share = |angle: f64| -> f64 {
                    let near = |mode: &&Mode| apart_deg(mode.angle_rad, angle) <= NEAR_DEG;
                    self.modes.modes[..self.modes.count]
                        .iter()
                        .filter(near)
                        .map(|mode| mode.share)
                        .sum()
                };
                let (middle, inverted) = (share(FRAC_PI_4), share(-FRAC_PI_4));
                if middle >= inverted {
                    self.one_way(FRAC_PI_4, FINE_DEG.to_radians(), kind)
                } else if inverted >= OTHER_SHARE && inverted > 2.0 * middle && !self.looks_inverted() {
                    self.one_way(-FRAC_PI_4, FINE_DEG.to_radians(), kind)
                } else {
                    // One of both, but the onsets don't show which.
                    self.several(kind)
                }
            }
            PresetKind::LateCopy if self.delay_s != 0.0 && first.share >= OTHER_SHARE => {
                self.one_way(snapped(first.angle_rad), COARSE_DEG.to_radians(), kind)
            }
            _ => self.several(kind),
        }
    }

    /// The direction of the whole sound, if it has only one: then no onsets are needed.
    fn only_way(&self) -> Option<f64> {
        let angle = self.main_angle();
        (self.seconds > 0.0 && self.across_of(angle) < NOTHING_ACROSS).then_some(angle)
    }

    /// The direction that most of the power has, radians.
    #[must_use]
    pub fn main_angle(&self) -> f64 {
        let sum = self
            .means
            .iter()
            .fold(Covariance::default(), |sum, mean| sum.plus(mean));
        0.5 * (2.0 * sum.re).atan2(sum.ll - sum.rr)
    }

    /// Whether lining the channels up leaves much less across the main direction than `plain` has: the criterion
    /// without onsets.
    #[must_use]
    pub fn explains_more_than(&self, plain: &Self) -> bool {
        self.modes.onsets < FEW
            && plain.modes.onsets < FEW
            && self.across_of(self.main_angle()) < HALF * plain.across_of(plain.main_angle())
    }

    /// The whole sound is the dry.
    fn whole(&self) -> Resolved {
        Resolved {
            bounds: Bounds {
                no_separate_dry: true,
                dry_share: [1.0; 2],
                likely_share: 1.0,
                ..Bounds::UNKNOWN
            },
            bands: self.means.map(|mean| BandDry {
                stokes: mean.stokes(),
                share: 1.0,
                along: 0.0,
            }),
        }
    }

    /// The bounds of the wet along a direction: those of the nearest mode, or of the middle.
    fn wet_along(&self, angle_rad: f64) -> &WetAlong {
        self.wets[..self.modes.count]
            .iter()
            .chain([&self.wets[MOST_MODES]])
            .min_by(|a, b| apart_deg(a.angle_rad, angle_rad).total_cmp(&apart_deg(b.angle_rad, angle_rad)))
            .unwrap_or(&self.wets[MOST_MODES])
    }

    /// The wet's direction from a muted ending, its octaves weighted by their wet power.
    fn wet_way(&self, tail: &Tail, angle_rad: f64) -> Option<WetWay> {
        let way = stokes_of(angle_rad);
        let mut sums = WetWay::default();
        let mut all = 0.0;
        for (group, mean) in grouped(&self.means).iter().enumerate() {
            let Some(stokes) = tail.stokes[group] else {
                continue;
            };
            let p: f64 = stokes.iter().zip(way).map(|(s, w)| s * w).sum();
            // A wet of power W has W·(1 − p)/2 across.
            let weight = 2.0 * mean.along(angle_rad).across.max(0.0) / (1.0 - p.clamp(-1.0, 0.98));
            all += weight;
            for (sum, stokes) in sums.stokes.iter_mut().zip(stokes) {
                *sum += weight * stokes;
            }
            for (sum, error) in sums.error.iter_mut().zip(tail.error[group]) {
                *sum += (weight * error).powi(2);
            }
        }
        (all > 0.0).then(|| WetWay {
            stokes: sums.stokes.map(|sum| sum / all),
            error: sums.error.map(|sum| sum.sqrt() / all),
        })
    }

    /// Narrows the wet along a direction, and its likely amount, by a muted ending: `ρ·N` within 2 dB and two standard
    /// errors. Bands of octaves that the tail didn't show stay unchanged.
    fn wet_by_tail(&self, tail: &Tail, angle_rad: f64, wet: &mut WetAlong, likely: &mut [f64; BANDS]) {
        let way = stokes_of(angle_rad);
        for (band, mean) in self.means.iter().enumerate() {
            let group = group_of(band);
            let (Some(stokes), true) = (tail.stokes[group], mean.trace() > 0.0) else {
                continue;
            };
            let p: f64 = stokes.iter().zip(way).map(|(s, w)| s * w).sum();
            let error: f64 = tail.error[group]
                .iter()
                .zip(way)
                .map(|(e, w)| (e * w).powi(2))
                .sum::<f64>()
                .sqrt();
            let p = p.clamp(-0.999, 0.999);
            let margin_db = TAIL_DB + 2.0 * 10.0 * core::f64::consts::LOG10_E * 2.0 * error / (1.0 - p * p);
            let seen = mean.along(angle_rad);
            let (along, across) = (seen.along.max(0.0), seen.across.max(0.0));
            let wet_along = |db: f64| {
                (across * (1.0 + p) / (1.0 - p) * crate::dsp::db::to_power(db)).min(along) / mean.trace()
            };
            wet.least[band] = wet_along(-margin_db);
            wet.most[band] = wet_along(margin_db);
            likely[band] = wet_along(0.0);
        }
    }

    /// The bounds of the wet along a direction, and the most likely amount, as shares of each band.
    fn likely_wet(&self, angle_rad: f64) -> (WetAlong, [f64; BANDS]) {
        let mut wet = *self.wet_along(angle_rad);
        let mut likely = [0.0; BANDS];
        // As much along as across: an ordinary stereo. It would leave no dry where less of the sound lies along its
        // direction than across it, so there the wet lies across, and half of what is along is taken for it.
        let across = self.across_of(angle_rad);
        let along = 1.0 - across;
        let ordinary = if across < along { 1.0 } else { 0.5 * along / across };
        for (n, mean) in self.means.iter().enumerate() {
            if mean.trace() > 0.0 {
                let across = mean.along(angle_rad).across.max(0.0) / mean.trace();
                likely[n] = (ordinary * across).clamp(wet.least[n], wet.most[n].max(wet.least[n]));
            }
        }
        if let Some(tail) = &self.tail {
            self.wet_by_tail(tail, angle_rad, &mut wet, &mut likely);
        }
        (wet, likely)
    }

    /// What narrowed the share of a dry with a single direction.
    fn closed_by(&self, angle_rad: f64, kind: PresetKind) -> Option<Closed> {
        if self.across_of(angle_rad) < NOTHING_ACROSS {
            Some(Closed::OneWay)
        } else if self.tail.is_some() {
            Some(Closed::MutedEnd)
        } else {
            (kind != PresetKind::NotSaid).then_some(Closed::Kind)
        }
    }

    fn one_way(&self, angle_rad: f64, tolerance_rad: f64, kind: PresetKind) -> Resolved {
        let (wet, likely) = self.likely_wet(angle_rad);
        let mut bands = [BandDry::default(); BANDS];
        let (mut least, mut most, mut all) = (0.0, 0.0, 0.0);
        let (mut dry, mut wet_along) = (0.0, 0.0);
        for (n, (band, mean)) in bands.iter_mut().zip(&self.means).enumerate() {
            let trace = mean.trace();
            band.stokes = stokes_of(angle_rad);
            if trace <= 0.0 {
                continue;
            }
            let along = mean.along(angle_rad).along / trace;
            band.share = (along - likely[n]).max(0.0);
            band.along = along;
            dry += trace * band.share;
            wet_along += trace * likely[n];
            all += trace;
            least += trace * (along - wet.most[n]).max(0.0);
            most += trace * (along - wet.least[n]).clamp(0.0, 1.0);
        }
        let share = |power: f64| if all > 0.0 { power / all } else { 0.0 };
        let mut ways = [Way::default(); MOST_MODES];
        ways[0] = Way {
            angle_rad,
            tolerance_rad,
        };
        Resolved {
            bounds: Bounds {
                one_direction: true,
                ways,
                count: 1,
                // A late copy puts a comb of the dry across its direction, so the shares aren't known.
                dry_share: if self.delay_s == 0.0 {
                    [share(least), share(most)]
                } else {
                    UNTOLD
                },
                likely_share: share(dry),
                closed: self.closed_by(angle_rad, kind),
                delay_s: self.delay_s,
                mixed: if dry > 0.0 {
                    (wet_along / dry).min(1.0)
                } else {
                    1.0
                },
                wet: self.tail.as_ref().and_then(|tail| self.wet_way(tail, angle_rad)),
                ..Bounds::UNKNOWN
            },
            bands,
        }
    }

    /// Power across a direction over all power.
    fn across_of(&self, angle_rad: f64) -> f64 {
        let all: f64 = self.means.iter().map(Covariance::trace).sum();
        let across: f64 = self.means.iter().map(|mean| mean.along(angle_rad).across).sum();
        if all > 0.0 { across.max(0.0) / all } else { 0.0 }
    }

    /// Whether most increments are inverted, but much of them lies elsewhere: an effect on the side alone, louder than
    /// a dry in the middle and without delay, begins with it and looks like that.
    fn looks_inverted(&self) -> bool {
        let first = self.modes.modes[0];
        apart_deg(first.angle_rad, -FRAC_PI_4) <= NEAR_DEG
            && self.modes.leak > INVERTED_LEAK
            && self.begins_all.stokes[1] > INVERTED
    }

    /// The modes that count where the dry has no single direction.
    fn frequent(&self) -> impl Iterator<Item = &Mode> {
        let modes = &self.modes.modes[..self.modes.count];
        let at = |side_rad: f64| {
            modes
                .iter()
                .any(|mode| mode.share >= BOTH_SIDES_SHARE && apart_deg(mode.angle_rad, side_rad) <= SIDE_DEG)
        };
        let both_sides = at(0.0) && at(2.0 * FRAC_PI_4);
        let least = if both_sides { BOTH_SIDES_SHARE } else { OTHER_SHARE };
        modes.iter().filter(move |mode| mode.share >= least)
    }

    /// The increments' Stokes parameters in a band, of length 1 at most; over all bands where the band has none.
    fn begin_stokes(&self, band: usize, mean: &Covariance, begun: bool) -> [f64; 3] {
        let begin = &self.begins[band];
        let stokes = if begun && begin.weight > 0.0 {
            begin.stokes
        } else if begun && self.begins_all.weight > 0.0 {
            self.begins_all.stokes
        } else {
            // No onsets: the main direction of the band's mean.
            let all = mean.stokes();
            let length = all.iter().map(|x| x * x).sum::<f64>().sqrt().max(1e-9);
            all.map(|x| x / length)
        };
        let length = stokes.iter().map(|x| x * x).sum::<f64>().sqrt();
        stokes.map(|x| x / length.max(1.0))
    }

    /// Without a single direction: the increments as they are, and each of the modes unless the kind is two amplifiers
    /// or two takes.
    fn several(&self, kind: PresetKind) -> Resolved {
        let mut bounds = Bounds {
            closed: (kind != PresetKind::NotSaid).then_some(Closed::Kind),
            delay_s: self.delay_s,
            ..Bounds::UNKNOWN
        };
        if !matches!(kind, PresetKind::TwoAmplifiers | PresetKind::TwoTakes) {
            for mode in self.frequent() {
                bounds.ways[bounds.count] = Way {
                    angle_rad: mode.angle_rad,
                    tolerance_rad: SEVERAL_DEG.to_radians(),
                };
                bounds.count += 1;
            }
            if self.looks_inverted() && bounds.count < MOST_MODES {
                bounds.ways[bounds.count] = Way {
                    angle_rad: FRAC_PI_4,
                    tolerance_rad: SEVERAL_DEG.to_radians(),
                };
                bounds.count += 1;
            }
        }
        let begun = self.modes.onsets >= FEW;
        if begun && kind != PresetKind::OneSide {
            bounds.error = Some(self.begins_all.error.map(|error| DEVIATIONS * error));
        }
        if kind == PresetKind::TwoTakes {
            let level = bounds.error.map_or(1.0, |error| error[0]);
            bounds.error = Some([level, UNRELATED, UNRELATED]);
        }
        let mut bands = [BandDry::default(); BANDS];
        let (mut all, mut dry) = (0.0, 0.0);
        for (n, (band, mean)) in bands.iter_mut().zip(&self.means).enumerate() {
            let trace = mean.trace();
            let [low, high] = if begun { self.dry_share[n] } else { [0.0, 1.0] };
            let cross_squared = mean.re * mean.re + mean.im * mean.im;
            let diffuse = 2.0 * diffuse_per_channel(mean.ll, mean.rr, cross_squared);
            let likely = if trace <= 0.0 {
                0.0
            } else if !begun {
                1.0 - diffuse / trace
            } else {
                0.5 * (low + high)
            };
            let mut stokes = self.begin_stokes(n, mean, begun);
            if kind == PresetKind::TwoTakes {
                stokes = [stokes[0], 0.0, 0.0];
            }
            *band = BandDry {
                stokes,
                share: likely.clamp(low, high),
                along: 0.0,
            };
            all += trace;
            dry += trace * band.share;
        }
        if all > 0.0 {
            // With several directions, the power across one of them may be dry as well.
            bounds.dry_share = UNTOLD;
            bounds.likely_share = dry / all;
        }
        Resolved { bounds, bands }
    }
}
