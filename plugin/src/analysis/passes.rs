//! Makes one take with known dry and wet from a dry and a wet pass of the same part. With a full pass as well, the
//! three are aligned to the sample, which yields the gains and shows whether they belong together. A dry and a full
//! pass are enough too: the wet is the full less the dry.

use std::sync::Arc;

use sumproof_core::dsp::numbers::to_single;
use sumproof_core::session::passes::of_takes;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::split::two_pass::{BandResidual, PassRecorder, TwoPass};
use sumproof_views::Passes;
use sumproof_wording::passes::{self, TooLong};

use crate::analysis::job::Job;
use crate::state::takes::TakeId;

/// One pass: its stored take and its sound. The sound is kept for the session only, and only once.
#[derive(Debug, Clone)]
struct RecordedPass {
    take: Take,
    sound: Option<Arc<PassRecorder>>,
}

impl RecordedPass {
    /// The sound, if all of it was kept.
    fn whole(&self) -> Option<&PassRecorder> {
        self.sound.as_deref().filter(|sound| sound.missed_frames() == 0)
    }
}

/// Which take is replaced by a new one made from passes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum InsteadOf {
    /// None.
    #[default]
    Nothing,
    /// This take: the same passes, unchecked.
    Take(TakeId),
    /// The last take whose wet is a difference, if it was stored.
    Difference,
}

/// The result of two or three passes: a take to store, a line to show, or both.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Paired {
    /// The take of all passes; `None` where they don't belong together.
    pub take: Option<Take>,
    /// The line to show about it.
    pub line: String,
    /// The take that this better one replaces.
    pub instead_of: InsteadOf,
    /// The bands in which the passes don't make up the full one: lower and upper edge, Hz.
    pub failing: Vec<[f32; 2]>,
    /// The wet is the full pass less the dry.
    pub by_difference: bool,
}

/// Work on a pair: about a second for a minute of sound.
pub type PairJob = Job<Option<Paired>>;

fn start(work: impl FnOnce() -> Option<Paired> + Send + 'static) -> PairJob {
    Job::start("sumproof pair", |_| work())
}

/// Waits for the result of a pair.
pub fn finished(work: PairJob) -> Option<Paired> {
    work.finish()?.unwrap_or_else(|_| {
        Some(Paired {
            line: String::from(passes::NOT_LAID),
            ..Paired::default()
        })
    })
}

/// Result of adding a pass.
#[derive(Debug)]
pub enum PairingStep {
    /// No pair yet: the pass waits.
    Waits,
    /// Done at once: nothing has to be aligned.
    Now(Box<Paired>),
    /// Being worked out.
    Later(PairJob),
}

/// The passes that wait for their other half.
#[derive(Debug, Default)]
pub struct Pairing {
    /// The last dry or wet pass without its other half yet.
    half: Option<RecordedPass>,
    /// The last full pass since the last pair: the same part with dry and wet.
    full: Option<RecordedPass>,
    /// The last pair, dry and wet, if no full pass was there to check it; with its take once that is stored.
    unchecked: Option<(RecordedPass, RecordedPass, Option<TakeId>)>,
    /// Whether the waiting dry pass was searched for in a full one.
    looked_for: bool,
    /// The last take whose wet is a difference.
    difference: Option<TakeId>,
}

impl Pairing {
    /// Adds a pass that has just been stored, with its sound. If its other half is there, the take of both is worked
    /// out. The halves are then used up, so a later pass of another part is never compared with them.
    ///
    /// A full pass recorded since the last pair supplies the total and the name, and checks the pair. A full pass right
    /// after an unchecked pair does the same: if it is the sum of the two, the checked pair replaces the unchecked one;
    /// if not, a line says so.
    pub fn heard(&mut self, take: &Take, sound: Option<PassRecorder>) -> PairingStep {
        let part = RecordedPass {
            take: take.clone(),
            sound: sound.map(Arc::new),
        };
        if take.pass == Pass::Full {
            return self.full_heard(part);
        }
        self.unchecked = None;
        let Some(other) = self.half.take_if(|half| half.take.pass != take.pass) else {
            self.half = Some(part.clone());
            self.looked_for = false;
            return match self.full.clone() {
                Some(full) if take.pass == Pass::Dry => self.look_for(part, full, false),
                _ => PairingStep::Waits,
            };
        };
        let was_looked_for = core::mem::take(&mut self.looked_for);
        let (dry, wet) = if take.pass == Pass::Dry {
            (part, other)
        } else {
            (other, part)
        };
        let full = self
            .full
            .take()
            .filter(|full| full.take.rate_hz == dry.take.rate_hz);
        match full {
            Some(full) if can_be_laid(&[&dry, &wet, &full]) => PairingStep::Later(start(move || {
                let mut checked = laid(&dry, &wet, &full)?;
                if was_looked_for {
                    checked.instead_of = InsteadOf::Difference;
                }
                Some(checked)
            })),
            full => {
                let paired = by_spectra(&dry, &wet, full.as_ref());
                if paired.take.is_some() && full.is_none() {
                    self.unchecked = Some((dry, wet, None));
                }
                PairingStep::Now(Box::new(paired))
            }
        }
    }
}

impl Pairing {
    /// A full pass: it checks the pair before it, or the waiting dry pass is searched for in it.
    fn full_heard(&mut self, part: RecordedPass) -> PairingStep {
        let Some((dry, wet, id)) = self.unchecked.take() else {
            self.full = Some(part.clone());
            return match self.half.clone().filter(|half| half.take.pass == Pass::Dry) {
                Some(dry) => self.look_for(dry, part, true),
                None => PairingStep::Waits,
            };
        };
        self.full = Some(part.clone());
        if !can_be_laid(&[&dry, &wet, &part]) {
            return PairingStep::Waits;
        }
        PairingStep::Later(start(move || {
            let mut checked = laid(&dry, &wet, &part)?;
            if checked.take.is_none() {
                checked.line += passes::PERHAPS_ANOTHER;
            }
            checked.instead_of = id.map_or(InsteadOf::Nothing, InsteadOf::Take);
            Some(checked)
        }))
    }

    /// Searches for a dry pass in a full one, once for every dry pass: a later full one is most likely another part. A
    /// failed search is reported only where the player must have meant the two for each other.
    fn look_for(&mut self, dry: RecordedPass, full: RecordedPass, is_meant: bool) -> PairingStep {
        if self.looked_for || !can_be_laid(&[&dry, &full]) {
            return PairingStep::Waits;
        }
        self.looked_for = true;
        self.difference = None;
        PairingStep::Later(start(move || difference(&dry, &full, is_meant)))
    }

    /// The take of a pair was stored; `by_difference` says that its wet is the full less the dry.
    pub fn stored(&mut self, id: TakeId, by_difference: bool) {
        if by_difference {
            self.difference = Some(id);
        } else if let Some((_, _, stored)) = &mut self.unchecked {
            *stored = Some(id);
        }
    }

    /// The take to be replaced, if it exists.
    pub fn replaced(&mut self, instead_of: InsteadOf) -> Option<TakeId> {
        match instead_of {
            InsteadOf::Nothing => None,
            InsteadOf::Take(id) => Some(id),
            InsteadOf::Difference => self.difference.take(),
        }
    }

    /// The names of the passes that wait for others.
    pub fn waiting(&self) -> Passes {
        let name = |part: &RecordedPass| Some(part.take.name.clone());
        let mut passes = Passes {
            full: self.full.as_ref().and_then(name),
            ..Passes::default()
        };
        if let Some((dry, wet, _)) = &self.unchecked {
            (passes.dry, passes.wet) = (name(dry), name(wet));
        }
        if let Some(half) = &self.half {
            if half.take.pass == Pass::Dry {
                passes.dry = name(half);
            } else {
                passes.wet = name(half);
            }
        }
        passes
    }
}

fn can_be_laid(passes: &[&RecordedPass]) -> bool {
    passes.iter().all(|part| part.whole().is_some())
        && passes
            .windows(2)
            .all(|two| two[0].take.rate_hz == two[1].take.rate_hz)
}

/// From the sound of a dry and a full pass: the wet is the full less the dry.
fn difference(dry: &RecordedPass, full: &RecordedPass, is_meant: bool) -> Option<Paired> {
    let (dry_sound, full_sound) = (dry.sound.as_ref()?, full.sound.as_ref()?);
    let found = TwoPass::of_dry_and_full(&dry_sound.pass(), &full_sound.pass());
    let (take, line) = match found {
        Ok(two) => {
            let mut pair = two.take(dry_and_wet(&full.take));
            as_stored(&mut pair, &[dry, full], full);
            let line = passes::told_by_difference(&pair.name, two.dry_in_full.as_ref()?);
            (Some(pair), line)
        }
        Err(error) if is_meant => (
            None,
            passes::give_no_split(&dry.take.name, &full.take.name, error),
        ),
        Err(_) => return None,
    };
    Some(Paired {
        take,
        line,
        by_difference: true,
        ..Paired::default()
    })
}

/// Name of the take made from a part's passes.
fn dry_and_wet(full: &Take) -> String {
    format!("{}, dry and wet", full.name)
}

/// Replaces the total by the full pass as stored, which has longer blocks, and adds its diagnosis.
fn as_stored(pair: &mut Take, passes: &[&RecordedPass], full: &RecordedPass) {
    pair.split.total = full.take.split.total.clone();
    pair.explain_parts(full.take.diagnosis.as_ref());
    pair.invalid_frames = passes.iter().map(|part| part.take.invalid_frames).sum();
    pair.gaps = passes.iter().map(|part| part.take.gaps).sum();
}

/// From the stored spectra of the passes: nothing is checked.
fn by_spectra(dry: &RecordedPass, wet: &RecordedPass, full: Option<&RecordedPass>) -> Paired {
    let part = full.map_or(&dry.take.name, |full| &full.take.name);
    let name = format!("{part}, dry and wet");
    let full_take = full.map(|full| &full.take);
    match of_takes(name, &dry.take, &wet.take, full_take) {
        Ok(pair) => Paired {
            line: passes::told_apart(&pair.name, full.map_or(Ok(None), |_| Err(TooLong))),
            take: Some(pair),
            ..Paired::default()
        },
        Err(error) => Paired {
            line: passes::give_no_split(&dry.take.name, &wet.take.name, error),
            ..Paired::default()
        },
    }
}

/// From the sound of the passes: their gains are found, and they are checked.
fn laid(dry: &RecordedPass, wet: &RecordedPass, full: &RecordedPass) -> Option<Paired> {
    let [dry_sound, wet_sound, full_sound] = [&dry.sound, &wet.sound, &full.sound];
    let (dry_sound, wet_sound, full_sound) = (dry_sound.as_ref()?, wet_sound.as_ref()?, full_sound.as_ref()?);
    let found = TwoPass::of_audio(&dry_sound.pass(), &wet_sound.pass(), Some(&full_sound.pass()));
    let mut failing = Vec::new();
    let (take, line) = match found {
        Err(error) => (None, passes::give_no_split(&dry.take.name, &wet.take.name, error)),
        Ok(two) => {
            let check = two.check.as_ref();
            if check.is_none_or(|check| check.holds()) {
                let mut pair = two.take(dry_and_wet(&full.take));
                as_stored(&mut pair, &[dry, wet, full], full);
                let line = passes::told_apart(&pair.name, Ok(check));
                (Some(pair), line)
            } else {
                failing.extend(check.into_iter().flat_map(|check| {
                    let edges =
                        |band: &BandResidual| [to_single(band.band.lower_hz), to_single(band.band.upper_hz)];
                    check.failing().map(edges)
                }));
                (
                    None,
                    passes::dont_make_up(&dry.take.name, &wet.take.name, &full.take.name, check),
                )
            }
        }
    };
    Some(Paired {
        take,
        line,
        failing,
        ..Paired::default()
    })
}

#[cfg(test)]
mod tests {
    use sumproof_core::session::monitor::Monitor;
    use sumproof_core::split::Method;

    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    fn take(pass: Pass, name: &str, gain: f32) -> Take {
        let mut monitor = Monitor::new(RATE_HZ);
        monitor.start_take();
        let tone: Vec<f32> = (0..24_000).map(|n| gain * (n as f32 * 0.05).sin()).collect();
        monitor.push(&tone, &tone);
        monitor
            .finish_take(name.into(), pass)
            .expect("frames were pushed")
    }

    fn heard(pairing: &mut Pairing, take: &Take) -> Option<Paired> {
        match pairing.heard(take, None) {
            PairingStep::Waits => None,
            PairingStep::Now(paired) => Some(*paired),
            PairingStep::Later(work) => finished(work),
        }
    }

    #[test]
    fn halves_meet_once_and_in_either_order() {
        let mut pairing = Pairing::default();
        let (dry, wet) = (take(Pass::Dry, "a", 0.2), take(Pass::Wet, "b", 0.1));
        assert!(heard(&mut pairing, &dry).is_none());
        let pair = heard(&mut pairing, &wet).expect("both are there");
        assert!(pair.line.contains("to check them"), "{}", pair.line);
        let pair = pair.take.expect("and fit");
        assert_eq!(
            (pair.name.as_str(), pair.method()),
            ("a, dry and wet", Method::TwoPass)
        );
        // Half the amplitude is 6.02 dB down.
        assert!((pair.split.wet_over_dry_db().expect("there is sound") + 6.02).abs() < 0.01);
        // The halves are used up; the next wet waits for a dry of its own.
        assert!(heard(&mut pairing, &wet).is_none());
        assert!(heard(&mut pairing, &wet).is_none());
        assert!(heard(&mut pairing, &dry).is_some_and(|pair| pair.take.is_some()));
    }

    #[test]
    fn a_full_pass_gives_the_name_and_serves_one_pair() {
        let mut pairing = Pairing::default();
        let (dry, wet) = (take(Pass::Dry, "a", 0.2), take(Pass::Wet, "b", 0.1));
        let name = |pair: Option<Paired>| pair.and_then(|pair| pair.take).map(|take| take.name);
        assert!(heard(&mut pairing, &take(Pass::Full, "lead", 0.3)).is_none());
        assert!(heard(&mut pairing, &wet).is_none());
        // Without their sound they can't be checked.
        assert_eq!(
            name(heard(&mut pairing, &dry)).as_deref(),
            Some("lead, dry and wet")
        );
        heard(&mut pairing, &wet);
        assert_eq!(name(heard(&mut pairing, &dry)).as_deref(), Some("a, dry and wet"));
    }

    /// A plucked tone and its echo 40 ms later; without the echo, the dry alone.
    fn plucked(pass: Pass, name: &str) -> (Take, PassRecorder) {
        let (mut monitor, mut sound) = (Monitor::new(RATE_HZ), PassRecorder::new(RATE_HZ));
        monitor.start_take();
        let pluck = |n: usize| {
            let (note, at) = (n / 9600, n % 9600);
            let hz = 110.0 * 2f64.powf([0.0, 7.0, 3.0, 10.0, 5.0][note % 5] / 12.0);
            let harmonics = 1..12;
            let sum: f64 = harmonics
                .map(|k| {
                    (std::f64::consts::TAU * hz * f64::from(k) * at as f64 / RATE_HZ).sin() / f64::from(k)
                })
                .sum();
            0.1 * sum * (-(at as f64) / 4000.0).exp()
        };
        let samples: Vec<f32> = (0..96_000)
            .map(|n| {
                let echo = if pass == Pass::Full { 0.5 } else { 0.0 };
                (pluck(n) + n.checked_sub(1920).map_or(0.0, |n| echo * pluck(n))) as f32
            })
            .collect();
        monitor.push(&samples, &samples);
        sound.push(&samples, &samples);
        (
            monitor
                .finish_take(name.into(), pass)
                .expect("frames were pushed"),
            sound,
        )
    }

    #[test]
    fn a_dry_and_a_full_pass_are_enough_in_either_order_and_only_once() {
        let (dry, full) = (plucked(Pass::Dry, "a"), plucked(Pass::Full, "lead"));
        for order in [[&dry, &full], [&full, &dry]] {
            let mut pairing = Pairing::default();
            let mut pairs = order.map(|(take, sound)| match pairing.heard(take, Some(sound.clone())) {
                PairingStep::Later(work) => finished(work),
                _ => None,
            });
            assert!(pairs[0].is_none());
            let pair = pairs[1].take().expect("the dry lies in the full one");
            let take = pair.take.expect("so the wet is known");
            assert_eq!(take.name, "lead, dry and wet");
            // The echo is half as loud.
            let ratio_db = take.split.wet_over_dry_db().expect("there is sound");
            assert!((ratio_db + 6.02).abs() < 0.2, "{ratio_db}");
            let another = pairing.heard(&full.0, Some(full.1.clone()));
            assert!(matches!(another, PairingStep::Waits), "{another:?}");
        }
    }

    #[test]
    fn a_silent_half_is_said_and_not_kept() {
        let mut pairing = Pairing::default();
        heard(&mut pairing, &take(Pass::Dry, "a", 0.2));
        let pair = heard(&mut pairing, &take(Pass::Wet, "b", 0.0)).expect("both are there");
        assert!(
            pair.take.is_none() && pair.line.contains("the wet pass is silent"),
            "{}",
            pair.line
        );
        assert!(heard(&mut pairing, &take(Pass::Wet, "c", 0.1)).is_none());
    }
}
