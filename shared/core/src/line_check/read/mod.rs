//! From a recording to a finding.

use crate::Complex;
use crate::dsp::numbers::to_index;
use crate::dsp::{db, samples};
use crate::line_check::fit::ratio::{MOST_CLEAR, REACH_S};
use crate::line_check::read::search::{Missing, Sighting, search};
use crate::line_check::response::bands::{BinGrid, PartSpectrum};
use crate::line_check::response::{Clock, Deconvolver, Response, Transforms, is_swept};
use crate::line_check::result::{
    Arrival, Feeding, Findings, LineFinding, Notice, PairFinding, Pictures, Reception,
};
use crate::line_check::signal::plan::{Mode, Piece, Plan, Sound, limit_hz};
use crate::line_check::signal::rate::{HIGH_HZ, brought_down};
use crate::line_check::trust::{Answer, Estimate, Trust, Unknown};
use crate::routing::feed::Side;
use crate::routing::line::Polarity;

mod clock;
mod compare;
mod correlogram;
mod evidence;
mod failure;
mod feeding;
mod judge;
mod level;
mod locate;
mod pictures;
mod presence;
mod search;
mod together;

use compare::Compared;

pub use failure::ReadFailure;

/// Shorter than this is no recording of the signal, seconds.
pub const SHORTEST_S: f64 = 4.0;
/// Longer than this is cut first, seconds.
pub const LONGEST_S: f64 = 600.0;

/// What is looked at before the first arrival, seconds.
const AHEAD_S: f64 = 0.006;
/// How much of a part may be missing at the ends of a recording, as a share of the sweep.
const MISSING: f64 = 0.06;
/// From this many deviations on a line stands out of its noise. Of a few thousand samples of noise, the largest is 4; a phone's
/// automatic gain makes 5 of the last room's end.
const STANDS_OUT: f64 = 7.0;

/// Noise from here on, dB against a sweep, is worth a word.
const FAINT_DB: f64 = 3.0;
/// Where nothing arrives above, it is the low end only, Hz.
const LOW_END_HZ: f64 = 250.0;

/// By how much a response's peak must outdo the largest one the other way for its sign to mean something: a straight path gives 4 or
/// more (the sweep's band ends), a path through a loudspeaker rarely 2.
const LIKELY_RATIO: f64 = 2.8;
const SURE_RATIO: f64 = 3.7;

/// One recording at work.
struct Reader {
    plan: Plan,
    /// The rate it was recorded at over the rate it is said to have.
    speed: f64,
    channels: Vec<Vec<f64>>,
    rate_hz: f64,
    deconvolver: Deconvolver,
    grid: BinGrid,
    clock: Clock,
    /// Which of the plan's pieces are in the recording as a whole.
    inside: Vec<bool>,
    notices: Vec<Notice>,
    /// Responses that were found by this clock already: of a channel and a piece.
    known: Vec<((usize, usize), Clock, Response)>,
}

/// The responses of left line, right line, and (in stereo) both equal and both opposite; in mono, both at once.
struct Heads {
    /// Left and right.
    lines: [Response; 2],
    /// Whether and how far they stand out.
    clear: [f64; 2],
}

/// Reads a recording of one or two channels (of more, the first two) of a plan's signal.
///
/// # Errors
/// [`ReadFailure`] says why nothing could be read.
pub fn read(channels: &[&[f32]], rate_hz: f64, plan: &Plan) -> Result<Findings, ReadFailure> {
    let frames = channels.first().map_or(0, |x| x.len());
    if frames == 0 || channels.iter().any(|x| x.len() != frames) || rate_hz <= 0.0 {
        return Err(ReadFailure::Shape);
    }
    let heard = &channels[..channels.len().min(2)];
    if heard.iter().any(|x| x.iter().any(|&x| !samples::is_valid(x, x))) {
        return Err(ReadFailure::NotNumbers);
    }
    let seconds = frames as f64 / rate_hz;
    let needed_s = plan.seconds();
    if seconds > LONGEST_S {
        return Err(ReadFailure::TooLong { seconds });
    }
    let power = |x: &[f32]| x.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>() / frames as f64;
    if heard
        .iter()
        .all(|x| db::from_power(power(x)) <= db::NO_READING_DBFS)
    {
        return Err(ReadFailure::Silence);
    }
    if seconds < SHORTEST_S {
        return Err(ReadFailure::TooShort { seconds, needed_s });
    }
    let mut low_rate = rate_hz;
    let brought: Vec<Vec<f64>> = heard
        .iter()
        .map(|x| {
            let (y, rate) = brought_down(x, rate_hz, HIGH_HZ);
            low_rate = rate;
            y
        })
        .collect();
    let mut reader = Reader::new(plan, brought, low_rate)?;
    let mut finding = reader.finding()?;
    finding.rate_hz = rate_hz * finding.speed;
    finding.channels = channels.len();
    Ok(finding)
}

impl Reader {
    fn new(asked: &Plan, channels: Vec<Vec<f64>>, rate_hz: f64) -> Result<Self, ReadFailure> {
        let mut transforms = Transforms::new();
        let Sighting {
            plan,
            speed,
            start_s,
            found,
            one_of_several,
            ..
        } = search(&mut transforms, &channels, rate_hz, asked).map_err(|missing| match missing {
            Missing::Nothing => ReadFailure::NotFound,
            Missing::Faint { .. } => ReadFailure::Faint,
        })?;
        let rate_hz = rate_hz * speed;
        let deconvolver = Deconvolver::new(rate_hz, transforms);
        let grid = BinGrid::new(
            rate_hz,
            plan.sweep.low_hz * 1.15,
            (plan.sweep.high_hz * 0.97).min(0.92 * limit_hz(rate_hz)),
        );
        let mut notices = Vec::new();
        if speed != 1.0 {
            notices.push(Notice::OtherRate);
        }
        if core::mem::discriminant(&plan.settings().mode) != core::mem::discriminant(&asked.settings().mode) {
            notices.push(Notice::OtherMode);
        } else if plan.settings() != asked.settings() {
            notices.push(Notice::OtherLength);
        }
        if one_of_several {
            notices.push(Notice::SeveralSignals);
        }
        let mut reader = Self {
            plan,
            speed,
            channels,
            rate_hz,
            deconvolver,
            grid,
            clock: Clock { start_s, drift: 0.0 },
            inside: Vec::new(),
            notices,
            known: Vec::new(),
        };
        reader.check_whole(&found)?;
        reader.set_clock(&found)?;
        reader.note_markers();
        Ok(reader)
    }

    fn seconds(&self) -> f64 {
        self.channels[0].len() as f64 / self.rate_hz
    }

    /// Which pieces are in the recording; an error unless all main parts are.
    fn check_whole(&mut self, found: &[bool]) -> Result<(), ReadFailure> {
        let seconds = self.seconds();
        let is_inside = |piece: &Piece, missing: f64| {
            let start = self.clock.recorded_s(piece.start_s);
            let length = self.plan.shape(piece.sound).seconds;
            start >= -missing * length && start + length <= seconds + missing * length
        };
        self.inside = self
            .plan
            .pieces
            .iter()
            .map(|piece| {
                is_swept(piece) && is_inside(piece, if piece.sound == Sound::Sweep { MISSING } else { 0.0 })
            })
            .collect();
        let names: &[&'static str] = match self.plan.settings().mode {
            Mode::Stereo => &["left", "right", "both equal", "both opposite"],
            Mode::Mono { .. } => &["both lines", "left line alone", "right line alone"],
        };
        let (mut there, mut missing, mut any) = (Vec::new(), Vec::new(), false);
        let sweeps = (0..self.plan.pieces.len()).filter(|&n| self.plan.pieces[n].sound == Sound::Sweep);
        for (index, name) in sweeps.zip(names) {
            if self.inside[index] {
                there.push(*name);
            } else {
                missing.push(*name);
            }
            any |= found[index];
        }
        if !any {
            return Err(ReadFailure::NotFound);
        }
        if missing.is_empty() {
            Ok(())
        } else {
            Err(ReadFailure::Partial { there, missing })
        }
    }

    fn note_markers(&mut self) {
        if self.plan.settings().mode != Mode::Stereo {
            return;
        }
        let markers: Vec<usize> = (0..self.plan.pieces.len())
            .filter(|&n| self.plan.pieces[n].sound == Sound::Marker)
            .collect();
        let (first, last) = markers.split_at(2);
        if first.iter().any(|&n| !self.inside[n]) {
            self.notices.push(Notice::StartMissing);
        }
        if last.iter().any(|&n| !self.inside[n]) {
            self.notices.push(Notice::EndMissing);
        }
    }

    fn response(&mut self, channel: usize, piece: usize) -> Response {
        let known = self
            .known
            .iter()
            .find(|(of, clock, _)| *of == (channel, piece) && *clock == self.clock);
        if let Some((.., response)) = known {
            return response.clone();
        }
        let response = self.deconvolver.response(
            &self.channels[channel],
            &self.plan,
            &self.plan.pieces[piece],
            &self.clock,
        );
        self.known.retain(|(_, clock, _)| *clock == self.clock);
        self.known.push(((channel, piece), self.clock, response.clone()));
        response
    }

    /// Index of the main sweep on these lines (signs only), if there is one.
    fn sweep_on(&self, lines: [f64; 2]) -> Option<usize> {
        self.plan.pieces.iter().position(|piece| {
            piece.sound == Sound::Sweep
                && piece.lines.map(|x| if x == 0.0 { 0.0 } else { x.signum() }) == lines
        })
    }

    fn heads(&mut self, channel: usize) -> Heads {
        // Every plan has both.
        let pieces = [[1.0, 0.0], [0.0, 1.0]].map(|line| self.sweep_on(line).unwrap_or(0));
        let lines = pieces.map(|piece| self.response(channel, piece));
        let clear = [&lines[0], &lines[1]].map(|response| self.stands_out(response));
        Heads { lines, clear }
    }

    fn cut(&mut self, response: &Response, from_s: f64, to_s: f64) -> PartSpectrum {
        PartSpectrum::cut(
            &mut self.deconvolver.transforms,
            &self.grid,
            response,
            from_s,
            to_s,
        )
    }

    /// The response between two lags (seconds) with each frequency from `low_hz` on weighted by its noise, for finding things in it: the noise
    /// of the result has a variance of 1 (less where the sound is far above it). Lag 0 is sample 0.
    fn by_noise(&mut self, response: &Response, from_s: f64, to_s: f64, low_hz: f64) -> Vec<f64> {
        let cut = self.cut(response, from_s, to_s);
        let mut bins = vec![Complex::new(0.0, 0.0); cut.bins.len()];
        let mut variance = 0.0f64;
        let faint = 1e-9 * cut.loudest(&self.grid);
        for &(from, to) in &self.grid.bands {
            if self.grid.hz(from) < cut.band_hz.0.max(low_hz) || self.grid.hz(to) > cut.band_hz.1 {
                continue;
            }
            // What is clear anyhow counts alike: a few bins with the least noise would ring for long before the sound begins.
            let floor = cut.power((from, to)) / ((to - from) as f64 * MOST_CLEAR);
            for (k, bin) in bins.iter_mut().enumerate().take(to).skip(from) {
                // A perfect recording has no noise; 90 dB will do.
                let noise = cut.noise[k] + faint + floor;
                if noise > 0.0 {
                    *bin = cut.bins[k] / noise.sqrt();
                    variance += 2.0;
                }
            }
        }
        let len = self.grid.len;
        // All the noise is where the response was cut, and none elsewhere.
        let share = ((to_s - from_s) * self.rate_hz / len as f64).min(1.0);
        let scale = len as f64 * (share / variance.max(1.0)).sqrt();
        let mut samples = self.deconvolver.transforms.inverse(bins, len);
        samples.iter_mut().for_each(|x| *x *= scale);
        samples
    }

    /// How many deviations the response's peak stands out of its noise.
    fn stands_out(&mut self, response: &Response) -> f64 {
        self.by_noise(response, -AHEAD_S, 2.0 * REACH_S, 0.0)
            .iter()
            .fold(0.0, |peak, x| peak.max(x.abs()))
    }

    fn finding(&mut self) -> Result<Findings, ReadFailure> {
        let (on, apart, Heads { lines, clear }) = self.lines_heard();
        let loudest = clear[0].max(clear[1]);
        if loudest < STANDS_OUT {
            return Err(ReadFailure::Faint);
        }
        let loud = usize::from(clear[1] > clear[0]);
        let length_s = self.useful_length(&lines[loud]);
        let mut arrivals = [Arrival::Yes; 2];
        arrivals[1 - loud] =
            self.softer_arrival([&lines[loud], &lines[1 - loud]], clear[1 - loud], length_s, apart);
        let both = arrivals == [Arrival::Yes; 2];
        let mut compared = if both {
            self.compare(&lines, length_s)
        } else {
            None
        };
        let measured = match compared.as_mut() {
            Some(compared) => self.measured(on, &lines, length_s, compared),
            None => None,
        };
        let pair = both.then(|| self.pair(on, compared.as_ref(), measured.as_ref()));
        if !both && !apart {
            self.check_absence(on[0], &lines, loud, length_s, &mut arrivals[1 - loud]);
        }
        let lines_found = [0, 1].map(|side| self.line(&lines[side], arrivals[side], length_s));
        let loud_piece = self
            .sweep_on(if loud == 0 { [1.0, 0.0] } else { [0.0, 1.0] })
            .unwrap_or(0);
        let noise_db = self.noise_db(on[loud], loud_piece);
        let distortion_db = distortion_db(&lines[loud]);
        let pictures = self.pictures(&lines, arrivals, length_s, compared.as_ref());
        let reaches_hz = pictures::reach_hz(&pictures);
        self.note_sound(noise_db, distortion_db, reaches_hz);
        let feeding = self.feeding(&lines_found, pair.as_ref(), apart, reaches_hz);
        Ok(Findings {
            mode: self.plan.settings().mode,
            sweep_s: self.plan.settings().sweep_s,
            speed: self.speed,
            seconds: self.seconds(),
            rate_hz: self.rate_hz,
            channels: self.channels.len(),
            start_s: self.clock.start_s,
            drift_ppm: (!self.notices.contains(&Notice::ClockUnknown)).then_some(1e6 * self.clock.drift),
            lines: lines_found,
            pair,
            feeding,
            noise_db,
            distortion_db,
            notices: self.notices.clone(),
            pictures,
        })
    }

    /// On which channels left and right are heard, whether each is on one of its own, and their responses there.
    fn lines_heard(&mut self) -> ([usize; 2], bool, Heads) {
        let heads: Vec<Heads> = (0..self.channels.len())
            .map(|channel| self.heads(channel))
            .collect();
        let apart = self.are_apart(&heads);
        let (left_on, right_on) = apart.unwrap_or_else(|| {
            let loudness = |n: &usize| heads[*n].clear[0].max(heads[*n].clear[1]);
            let best = (0..heads.len())
                .max_by(|a, b| loudness(a).total_cmp(&loudness(b)))
                .unwrap_or(0);
            (best, best)
        });
        if left_on > right_on {
            self.notices.push(Notice::Swapped);
        }
        let heard = Heads {
            lines: [heads[left_on].lines[0].clone(), heads[right_on].lines[1].clone()],
            clear: [heads[left_on].clear[0], heads[right_on].clear[1]],
        };
        ([left_on, right_on], apart.is_some(), heard)
    }

    /// What is to be said of noise, distortion and the band that arrives.
    fn note_sound(&mut self, noise_db: f64, distortion_db: f64, reaches_hz: f64) {
        if distortion_db > -20.0 {
            self.notices.push(Notice::Distorted);
        }
        if reaches_hz < LOW_END_HZ && noise_db < -10.0 {
            self.notices.push(Notice::LowEndOnly);
        }
        if noise_db > FAINT_DB {
            self.notices.push(Notice::Faint);
        }
    }

    /// On which channel left and right are, when each has one of its own.
    fn are_apart(&self, heads: &[Heads]) -> Option<(usize, usize)> {
        let [first, second] = heads else { return None };
        let apart = |one: &Heads, other: &Heads| {
            // By clearness, which is by noise: an empty channel of a desk has almost none.
            let own = rough_ratio_db(&one.lines[0], &one.lines[1]);
            let others = rough_ratio_db(&other.lines[1], &other.lines[0]);
            one.clear[0] > STANDS_OUT && other.clear[1] > STANDS_OUT && own > 20.0 && others > 20.0
        };
        if apart(first, second) {
            Some((0, 1))
        } else if apart(second, first) {
            Some((1, 0))
        } else {
            None
        }
    }

    /// Second over first, from the powers of the direct sound less the noise: a coarse one.
    fn rough_level_db(&mut self, lines: [&Response; 2]) -> f64 {
        let powers = lines.map(|response| {
            let cut = self.cut(response, -AHEAD_S, REACH_S + 0.03);
            let bands: Vec<f64> = self
                .grid
                .bands
                .iter()
                .map(|&band| (cut.power(band) - cut.noise_power(band)).max(0.0))
                .collect();
            bands.iter().sum::<f64>()
        });
        db::from_power(powers[1].max(1e-300) / powers[0].max(1e-300))
    }

    /// How long a response is worth listening to, seconds: until it goes down in noise.
    fn useful_length(&self, response: &Response) -> f64 {
        let (from_s, to_s) = response.noise_lags();
        let noise = response.power(from_s, to_s);
        let step = 0.02;
        let mut at = REACH_S;
        while at < 0.45 && response.power(at, at + step) > 1.6 * noise {
            at += step;
        }
        at.max(0.04)
    }

    fn line(&mut self, response: &Response, arrival: Arrival, length_s: f64) -> LineFinding {
        if arrival != Arrival::Yes {
            return LineFinding {
                arrival,
                clearness_db: None,
                absolute: None,
            };
        }
        let cut = self.cut(response, -AHEAD_S, REACH_S + length_s);
        let mut clear: Vec<f64> = self.grid.bands.iter().map(|&band| cut.clearness(band)).collect();
        clear.sort_by(f64::total_cmp);
        LineFinding {
            arrival,
            clearness_db: clear
                .get(clear.len() / 2)
                .map(|&ratio| db::from_power(ratio.max(1e-3))),
            absolute: absolute(response),
        }
    }

    /// Noise against a sweep, dB: the softest tenth of the recording's stretches against the sweep.
    fn noise_db(&self, channel: usize, piece: usize) -> f64 {
        let x = &self.channels[channel];
        let stretch = to_index(0.05 * self.rate_hz).max(1);
        let mut powers: Vec<f64> = x
            .chunks_exact(stretch)
            .map(|part| part.iter().map(|x| x * x).sum::<f64>() / stretch as f64)
            .collect();
        powers.sort_by(f64::total_cmp);
        let noise = powers.get(powers.len() / 10).copied().unwrap_or(0.0);
        let start =
            to_index((self.clock.recorded_s(self.plan.pieces[piece].start_s) * self.rate_hz).max(0.0));
        let end = start + to_index(self.plan.sweep.seconds * self.rate_hz);
        let sweep = &x[start.min(x.len())..end.min(x.len())];
        let power = sweep.iter().map(|x| x * x).sum::<f64>() / sweep.len().max(1) as f64;
        db::from_power((noise / (power - noise).max(1e-300)).max(1e-15))
    }
}

/// First over second, by the power of their first 60 ms, dB.
fn rough_ratio_db(first: &Response, second: &Response) -> f64 {
    let power = |response: &Response| response.power(-AHEAD_S, 0.06);
    db::from_power(power(first).max(1e-300) / power(second).max(1e-300))
}

/// Second and third harmonic over the sweep itself, dB.
fn distortion_db(response: &Response) -> f64 {
    let (from_s, to_s) = response.noise_lags();
    let noise = response.power(from_s, to_s);
    let power = |middle_s: f64| response.power(middle_s - AHEAD_S, middle_s + 0.04);
    let harmonics: f64 = [2.0f64, 3.0]
        .iter()
        .map(|k| power(-response.pace_s * k.ln()))
        // Noise is never quite the same: a harmonic is what clearly stands out of it.
        .map(|power| if power > 2.0 * noise { power - noise } else { 0.0 })
        .sum();
    db::from_power((harmonics / (power(0.0) - noise).max(1e-300)).max(1e-12))
}

/// Polarity from the file to the recording by the sign of the response's main peak; only where there is one: a room or a
/// loudspeaker that swings both ways has none.
fn absolute(response: &Response) -> Option<Estimate<Polarity>> {
    let (mut above, mut below) = (0.0f64, 0.0f64);
    for lag in response.lag(-AHEAD_S)..=response.lag(2.0 * REACH_S) {
        above = above.max(response.at(lag));
        below = below.max(-response.at(lag));
    }
    let (more, less) = (above.max(below), above.min(below));
    let ratio = more / less.max(1e-300);
    (ratio >= LIKELY_RATIO).then_some(Estimate {
        value: if above > below {
            Polarity::Normal
        } else {
            Polarity::Flipped
        },
        trust: if ratio >= SURE_RATIO {
            Trust::Sure
        } else {
            Trust::Likely
        },
        within: 0.0,
    })
}
