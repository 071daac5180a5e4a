//! Which signal is in a recording, at which speed, and where.

use super::locate::{Heights, heights_of};
use crate::dsp::numbers::{to_index, to_lag};
use crate::line_check::response::{Transforms, is_swept};
use crate::line_check::signal::plan::{
    MARKER_PITCH_S, Mode, Piece, Plan, SignalSettings, Sound, Sweep, limits,
};
use crate::line_check::signal::rate::brought_down;

/// Nothing above this is searched for, so the search runs at a low rate, Hz.
const SEARCH_RATE_HZ: f64 = 17_000.0;
/// What a loudspeaker and a phone carry, and what a subwoofer does, Hz.
const BANDS_HZ: [(f64, f64); 2] = [(150.0, 7000.0), (30.0, 170.0)];
/// Speeds at which a file can run by mistake: a rate of 44.1 kHz taken for 48 kHz and the reverse.
const SPEEDS: [f64; 2] = [44_100.0 / 48_000.0, 48_000.0 / 44_100.0];
/// Lengths of a sweep that are tried where the distances between markers don't say it (one mono source, faint markers),
/// seconds.
const LENGTHS_S: [f64; 8] = [1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 10.0];
/// Steps in which the distance between markers is looked through, seconds.
const STEP_S: f64 = 0.01;
/// What wasn't asked for must fit better by this factor.
const BETTER: f64 = 1.25;
/// Another start whose fit is this share of the best one is a second signal.
const AGAIN: f64 = 0.6;
/// By how many deviations of what is found by chance the best start must stand out to be called faint and not missing, and by how many
/// from the best one elsewhere. In 300 drawings of what the filters give of Gaussian noise, by 6.1 and by 2.2 at most.
const NOT_BY_CHANCE: f64 = 6.5;
const NOT_ELSEWHERE: f64 = 1.5;

/// What was found.
#[derive(Clone, Debug)]
pub(super) struct Sighting {
    /// The signal that is in it.
    pub plan: Plan,
    /// The recording's true rate over what it is said to be.
    pub speed: f64,
    /// Recorder's time of the signal's beginning, seconds; to some hundredths.
    pub start_s: f64,
    /// Which of the plan's pieces stand out.
    pub found: Vec<bool>,
    /// Which of them stand out of what comes right before, too.
    sharp: Vec<bool>,
    /// How well it fits: the sum over its pieces of how far each stands out.
    pub fit: f64,
    /// There are two or more; this is the last whole one.
    pub one_of_several: bool,
}

impl Sighting {
    /// So much of it is found that it's nothing else: of the main parts at most one, and half of the markers.
    fn is_whole(&self) -> bool {
        let of = |sound: Sound| {
            let pieces = self.plan.pieces.iter().zip(&self.sharp);
            let of: Vec<bool> = pieces
                .filter(|(piece, _)| piece.sound == sound)
                .map(|(_, &sharp)| sharp)
                .collect();
            (of.iter().filter(|&&sharp| sharp).count(), of.len())
        };
        let ((sweeps, all_sweeps), (markers, all_markers)) = (of(Sound::Sweep), of(Sound::Marker));
        sweeps + 1 >= all_sweeps && 2 * markers >= all_markers
    }
}

/// Why there's none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Missing {
    /// Nothing like it.
    Nothing,
    /// More than chance gives, and too little to be read.
    Faint {
        /// How well it fits.
        fit: f64,
    },
}

/// Looks for the signal that is asked for, and where something else fits better, for that.
pub(super) fn search(
    transforms: &mut Transforms,
    channels: &[Vec<f64>],
    rate_hz: f64,
    plan: &Plan,
) -> Result<Sighting, Missing> {
    let mut low_hz = rate_hz;
    let low: Vec<Vec<f64>> = channels
        .iter()
        .map(|x| {
            let (y, hz) = brought_down(x, rate_hz, SEARCH_RATE_HZ);
            low_hz = hz;
            y
        })
        .collect();
    let mut faint = Missing::Nothing;
    for band_hz in BANDS_HZ {
        let mut searcher = Searcher {
            transforms,
            channels: &low,
            rate_hz: low_hz,
            band_hz,
            kept: Vec::new(),
        };
        let asked = searcher.sighted(plan, 1.0);
        // Another signal, or another speed, has its parts elsewhere.
        if asked.as_ref().is_ok_and(Sighting::is_whole) {
            return asked;
        }
        let others = searcher.others(plan);
        let best = others.into_iter().max_by(|a, b| a.fit.total_cmp(&b.fit));
        let chosen = match (asked, best) {
            (Ok(asked), Some(best)) if best.fit > BETTER * asked.fit => Ok(best),
            // All of another signal isn't there by chance, however well some of its parts fit the one asked for.
            (Err(Missing::Faint { fit }), Some(best)) if best.fit <= BETTER * fit && !best.is_whole() => {
                Err(Missing::Faint { fit })
            }
            (Err(_), Some(best)) => Ok(best),
            (asked, _) => asked,
        };
        match chosen {
            Ok(sighting) => return Ok(sighting),
            Err(missing @ Missing::Faint { .. }) => faint = missing,
            Err(Missing::Nothing) => {}
        }
    }
    Err(faint)
}

struct Searcher<'a> {
    transforms: &'a mut Transforms,
    channels: &'a [Vec<f64>],
    rate_hz: f64,
    band_hz: (f64, f64),
    /// What was filtered already: sweep and speed.
    kept: Vec<(Sweep, f64, Heights)>,
}

impl Searcher<'_> {
    fn heights(&mut self, sweep: Sweep, speed: f64) -> Heights {
        if let Some((.., heights)) = self.kept.iter().find(|(s, v, _)| *s == sweep && *v == speed) {
            return heights.clone();
        }
        let rate_hz = self.rate_hz * speed;
        let heights = heights_of(self.transforms, self.channels, rate_hz, &sweep, self.band_hz);
        self.kept.push((sweep, speed, heights.clone()));
        heights
    }

    /// Where a plan fits best.
    fn sighted(&mut self, plan: &Plan, speed: f64) -> Result<Sighting, Missing> {
        let markers = self.heights(plan.marker, speed);
        let sweeps = self.heights(plan.sweep, speed);
        let of = |sound: Sound| if sound == Sound::Marker { &markers } else { &sweeps };
        let cell_s = markers.cell_s;
        let pieces: Vec<(Sound, isize)> = plan
            .pieces
            .iter()
            .filter(|piece| is_swept(piece))
            .map(|piece| (piece.sound, to_lag(piece.start_s / cell_s)))
            .collect();
        let fit = |start: isize| -> f64 {
            pieces
                .iter()
                .map(|&(sound, at)| of(sound).standing_out(start + at))
                .sum()
        };
        let width = sweeps.width;
        let signal = to_lag(plan.seconds() / cell_s);
        let fits: Vec<f64> = (-signal..sweeps.len().cast_signed()).map(fit).collect();
        let place = |index: usize| index.cast_signed() - signal;
        let best = middle_of_top(&fits, 0..fits.len(), sweeps.width);
        // Others of about the same fit, well apart, whole, and the last of them.
        let end = sweeps.len().cast_signed();
        let whole = |start: isize| {
            start + pieces.first().map_or(0, |piece| piece.1) >= 0 && start + signal <= end + (signal / 20)
        };
        let starts = starts_like(best, &fits, (signal.cast_unsigned() * 6) / 10, sweeps.width);
        let chosen = starts
            .iter()
            .rev()
            .copied()
            .find(|&s| whole(place(s)))
            .unwrap_or(best);
        let start = place(chosen);
        let cell = |piece: &Piece| start + to_lag(piece.start_s / cell_s);
        let stands_out = |piece: &Piece| is_swept(piece) && of(piece.sound).stands_out(cell(piece));
        let is_sharp = |piece: &Piece| stands_out(piece) && of(piece.sound).is_sharp(cell(piece));
        let found: Vec<bool> = plan.pieces.iter().map(stands_out).collect();
        let sharp = plan.pieces.iter().map(is_sharp).collect();
        if found.iter().filter(|&&found| found).count() < 2 {
            // Starts at which all main parts are in the recording: elsewhere less of it can be found.
            let sweeps: Vec<isize> = pieces
                .iter()
                .filter(|piece| piece.0 == Sound::Sweep)
                .map(|piece| piece.1)
                .collect();
            let (first, last) = (sweeps.first().copied(), sweeps.last().copied());
            let length = to_lag(plan.sweep.seconds / cell_s);
            let from = (signal - first.unwrap_or(0)).max(0).cast_unsigned();
            let to = (signal + end - last.unwrap_or(0) - length).max(0).cast_unsigned();
            let whole = fits.get(from..to.min(fits.len())).unwrap_or(&[]);
            return Err(by_chance(whole, 2 * width));
        }
        Ok(Sighting {
            plan: plan.clone(),
            speed,
            start_s: start as f64 * cell_s,
            found,
            sharp,
            fit: fits[chosen],
            one_of_several: starts.len() > 1,
        })
    }

    /// Whatever else it may be.
    fn others(&mut self, plan: &Plan) -> Vec<Sighting> {
        let mut found: Vec<Sighting> = SPEEDS
            .iter()
            .filter_map(|&speed| self.sighted(plan, speed).ok())
            .collect();
        let markers = self.heights(plan.marker, 1.0);
        let settings = *plan.settings();
        // The other way to send it as it is unless somebody asks for more: of two passes the distances say little.
        let usual = match settings.mode {
            Mode::Stereo => SignalSettings::mono(),
            Mode::Mono { .. } => SignalSettings::default(),
        };
        let usual = SignalSettings {
            low_hz: settings.low_hz,
            high_hz: settings.high_hz,
            level_dbfs: settings.level_dbfs,
            ..usual
        };
        for settings in stereo_by_markers(&markers, settings)
            .into_iter()
            .chain(mono_by_markers(&markers, settings))
            .chain([usual])
        {
            if settings == *plan.settings() {
                continue;
            }
            if let Ok(plan) = Plan::new(settings) {
                found.extend(self.sighted(&plan, 1.0).ok());
            }
        }
        if !found.iter().any(Sighting::is_whole) {
            found.extend(self.of_other_length(settings));
        }
        found
    }

    /// Signals with sweeps of the other lengths that somebody would ask for, where the markers are too faint to show
    /// their distance.
    fn of_other_length(&mut self, settings: SignalSettings) -> Vec<Sighting> {
        LENGTHS_S
            .into_iter()
            .filter(|&sweep_s| sweep_s != settings.sweep_s)
            .filter_map(|sweep_s| Plan::new(SignalSettings { sweep_s, ..settings }).ok())
            .filter_map(|plan| self.sighted(&plan, 1.0).ok())
            .collect()
    }
}

/// The best start and all others of about the same fit that are so far apart from each other, in their order.
fn starts_like(best: usize, fits: &[f64], apart: usize, width: usize) -> Vec<usize> {
    let mut starts = vec![best];
    let mut from = 0;
    while from < fits.len() {
        let to = (from + apart).min(fits.len());
        let top = middle_of_top(fits, from..to, width);
        if fits[top] >= AGAIN * fits[best] && starts.iter().all(|&s| s.abs_diff(top) > apart) {
            starts.push(top);
        }
        from = to;
    }
    starts.sort_unstable();
    starts
}

/// The middle of the plateau that the highest value of a range begins.
fn middle_of_top(values: &[f64], range: core::ops::Range<usize>, width: usize) -> usize {
    let most = values[range.clone()].iter().copied().fold(0.0, f64::max);
    let first = range
        .clone()
        .find(|&n| values[n] > most - 1e-9)
        .unwrap_or(range.start);
    let last = (first..range.end.min(first + width + 1))
        .take_while(|&n| values[n] > most - 1e-9)
        .last()
        .unwrap_or(first);
    usize::midpoint(first, last)
}

/// Whether the best of these starts is one by chance; what is further away than `apart` is another start.
fn by_chance(fits: &[f64], apart: usize) -> Missing {
    let count = fits.len().max(1) as f64;
    let mean = fits.iter().sum::<f64>() / count;
    let variance = fits.iter().map(|fit| (fit - mean).powi(2)).sum::<f64>() / count;
    let (best, most) = fits
        .iter()
        .copied()
        .enumerate()
        .fold((0, 0.0), |best, fit| if fit.1 > best.1 { fit } else { best });
    let elsewhere = fits
        .iter()
        .enumerate()
        .filter(|(n, _)| n.abs_diff(best) > apart)
        .map(|(_, &fit)| fit)
        .fold(0.0, f64::max);
    let deviation = variance.sqrt();
    if most > mean + NOT_BY_CHANCE * deviation && most > elsewhere + NOT_ELSEWHERE * deviation {
        Missing::Faint { fit: most }
    } else {
        Missing::Nothing
    }
}

/// The distance at which markers, `offsets` being those of the others behind the first for a distance, stand out best.
fn best_distance(
    markers: &Heights,
    from_s: f64,
    to_s: f64,
    offsets: impl Fn(f64) -> Vec<f64>,
) -> Option<f64> {
    // The best fit, and the distances that have it: a plateau.
    let (mut best, mut tops) = (0.0, Vec::new());
    let steps = to_index((to_s - from_s) / STEP_S);
    // Where anything begins: only there is worth looking.
    let begins: Vec<isize> = (0..markers.len().cast_signed())
        .step_by(markers.width / 2)
        .filter(|&n| markers.stands_out(n))
        .collect();
    for step in 0..=steps {
        let distance = from_s + STEP_S * step as f64;
        let at: Vec<isize> = offsets(distance)
            .iter()
            .map(|offset| to_lag(offset / markers.cell_s))
            .collect();
        let fit = begins
            .iter()
            .map(|&start| at.iter().map(|at| markers.standing_out(start + at)).sum::<f64>())
            .fold(0.0, f64::max);
        if fit > best + 1e-9 {
            best = fit;
            tops.clear();
        }
        if fit > best - 1e-9 {
            tops.push(distance);
        }
    }
    let first = *tops.first()?;
    let plateau: Vec<f64> = tops
        .into_iter()
        .take_while(|distance| distance - first < 0.05)
        .collect();
    (best > 0.0).then(|| plateau.iter().sum::<f64>() / plateau.len() as f64)
}

/// The length of the sweeps in a stereo signal by the distance of its markers.
fn stereo_by_markers(markers: &Heights, settings: SignalSettings) -> Vec<SignalSettings> {
    let plan_of = |sweep_s: f64| {
        Plan::new(SignalSettings {
            mode: Mode::Stereo,
            sweep_s,
            ..settings
        })
    };
    let length_of = |sweep_s: f64| -> Option<f64> {
        let plan = plan_of(sweep_s).ok()?;
        let at: Vec<f64> = plan
            .pieces
            .iter()
            .filter(|piece| piece.sound == Sound::Marker)
            .map(|piece| piece.start_s)
            .collect();
        Some(at.get(2)? - at.first()?)
    };
    let (Some(shortest), Some(longest)) = (
        length_of(*limits::SWEEP_S.start()),
        length_of(*limits::SWEEP_S.end()),
    ) else {
        return Vec::new();
    };
    let offsets = |distance: f64| vec![0.0, MARKER_PITCH_S, distance, distance + MARKER_PITCH_S];
    let Some(distance) = best_distance(markers, shortest, longest, offsets) else {
        return Vec::new();
    };
    let share = (distance - shortest) / (longest - shortest);
    let sweep_s = limits::SWEEP_S.start() + share * (limits::SWEEP_S.end() - limits::SWEEP_S.start());
    // Nobody asks for hundredths; where only one line arrives the distance is known to a marker's pitch only.
    [20.0, 2.0]
        .iter()
        .filter_map(|steps| plan_of((steps * sweep_s).round() / steps).ok())
        .map(|plan| *plan.settings())
        .collect()
}

/// Pause and length of the sweeps of a signal from one mono source that fit the distance of its markers.
fn mono_by_markers(markers: &Heights, settings: SignalSettings) -> Vec<SignalSettings> {
    let mono = |sweep_s: f64, pause_s: f64| SignalSettings {
        mode: Mode::Mono { pause_s },
        sweep_s,
        ..settings
    };
    let offsets = |sweep_s: f64, pause_s: f64| -> Option<Vec<f64>> {
        let plan = Plan::new(mono(sweep_s, pause_s)).ok()?;
        let at: Vec<f64> = plan
            .pieces
            .iter()
            .filter(|piece| piece.sound == Sound::Marker)
            .map(|piece| piece.start_s)
            .collect();
        Some(at.iter().map(|t| t - at[0]).collect())
    };
    let (least, most) = (*limits::PAUSE_S.start(), *limits::PAUSE_S.end());
    let Some(shortest) = offsets(1.0, least) else {
        return Vec::new();
    };
    let stretch = shortest[2] - 2.0 * shortest[1];
    let longest = shortest[1] + (most - least) + 9.0;
    let within = (markers.len() as f64 * markers.cell_s / 2.0).min(longest);
    let Some(distance) = best_distance(markers, shortest[1], within, |d| vec![0.0, d, 2.0 * d + stretch])
    else {
        return Vec::new();
    };
    let rest = distance - shortest[1] + 1.0 + least;
    core::iter::once(settings.sweep_s)
        .chain(LENGTHS_S)
        .filter(|length| limits::PAUSE_S.contains(&(rest - length)))
        // Nobody asks for hundredths of a pause.
        .map(|length| mono(length, (10.0 * (rest - length)).round() / 10.0))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What fits by chance, with one start that fits by so much.
    fn fits(tops: &[(usize, f64)]) -> Vec<f64> {
        let mut fits: Vec<f64> = (0..2000).map(|n| 1.0 + 0.1 * (0.37 * n as f64).sin()).collect();
        for &(at, fit) in tops {
            fits[at..at + 8].fill(fit);
        }
        fits
    }

    #[test]
    fn one_start_far_above_all_others_is_faint_and_no_chance() {
        assert_eq!(by_chance(&fits(&[]), 72), Missing::Nothing);
        assert_eq!(by_chance(&fits(&[(900, 1.3)]), 72), Missing::Nothing);
        assert_eq!(by_chance(&fits(&[(900, 3.0)]), 72), Missing::Faint { fit: 3.0 });
        // Two starts that fit alike are no place of one signal.
        assert_eq!(by_chance(&fits(&[(400, 2.9), (900, 3.0)]), 72), Missing::Nothing);
        assert_eq!(by_chance(&[], 72), Missing::Nothing);
    }
}
