//! Cases with a known cause, and the diagnosis of them.
//!
//! The truth is taken from the known dry and wet in the time domain, never from the analysis. A case has causes that
//! must be found and causes that may be (the truth is close to a limit, or a matter of wording); no other may be. A
//! diagnosis is right only if it names all of the first and nothing outside both.

use std::fmt::Write as _;

use sumproof_core::explain::diagnosis::{Cause, Diagnosis, diagnose};
use sumproof_core::score::rig::Rig;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::take::Pass;
use sumproof_signals::{
    LineFault, Preset, PresetKind, PresetSpec, Rng, Source, Stereo, amplitude, faulty, mean_power, power_db,
    render,
};
use sumproof_wording::Name;

/// The fault of the right channel, on dry and wet alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    /// Nothing.
    None,
    /// Flipped.
    Flipped,
    /// Late, milliseconds.
    Late(f64),
    /// Flipped and late, milliseconds.
    FlippedLate(f64),
    /// Padded, dB.
    Padded(f64),
    /// Silenced.
    Unplugged,
}

/// One case.
#[derive(Clone, Copy, Debug)]
pub struct Case {
    /// The preset.
    pub spec: PresetSpec,
    /// The fault.
    pub fault: Fault,
    /// Uncorrelated noise in each channel against the sound, dB; −∞ for none.
    pub noise_db: f64,
    /// Gain on everything, dB.
    pub level_db: f64,
}

/// The causes that must and may be found.
#[derive(Clone, Debug, Default)]
pub struct Truth {
    /// Must be found.
    pub must: Vec<Cause>,
    /// May be found.
    pub may: Vec<Cause>,
}

impl Truth {
    /// Whether a diagnosis is right.
    #[must_use]
    pub fn accepts(&self, diagnosis: &Diagnosis) -> bool {
        self.must.iter().all(|&cause| diagnosis.get(cause).is_some())
            && diagnosis.findings().all(|finding| {
                // 'Nothing seen' is no mistake where no cause must be found.
                finding.cause == Cause::NothingSeen
                    || self.must.contains(&finding.cause)
                    || self.may.contains(&finding.cause)
            })
            && diagnosis.first().is_some()
    }
}

/// The sound of a case, with its truth.
#[must_use]
pub fn sound(case: &Case) -> (Stereo, Truth) {
    let preset = render(&case.spec);
    let truth = truth(case, &preset);
    let line = match case.fault {
        Fault::None => LineFault::NONE,
        Fault::Flipped => LineFault::FLIP,
        Fault::Late(ms) => LineFault::late(ms / 1000.0),
        Fault::FlippedLate(ms) => LineFault {
            flip: true,
            ..LineFault::late(ms / 1000.0)
        },
        Fault::Padded(db) => LineFault::gain(db),
        Fault::Unplugged => LineFault::UNPLUGGED,
    };
    let len = preset.len();
    let mut sound = faulty(&preset.full(), &LineFault::NONE, &line, preset.rate_hz).resized(len);
    if case.noise_db.is_finite() {
        let level = amplitude(case.noise_db) * (sound.power() / 2.0).sqrt();
        for (channel, part) in [&mut sound.left, &mut sound.right].into_iter().zip(0..) {
            let mut rng = Rng::stream(case.spec.seed, 900 + part);
            channel.iter_mut().for_each(|x| *x += level * rng.gaussian());
        }
    }
    sound.scale(amplitude(case.level_db));
    (sound, truth)
}

/// The diagnosis of a sound, completed by its feeds.
#[must_use]
pub fn diagnosed(sound: &Stereo, rate_hz: f64) -> Diagnosis {
    let single = |channel: &[f64]| channel.iter().map(|&x| x as f32).collect::<Vec<_>>();
    let (left, right) = (single(&sound.left), single(&sound.right));
    let mut monitor = Monitor::for_takes(rate_hz);
    monitor.start_take();
    monitor.push(&left, &right);
    let take = monitor.finish_take(String::new(), Pass::Full);
    take.and_then(|take| {
        let rows = take.rows(&Rig::default(), 0.0);
        take.diagnosis.map(|diagnosis| diagnosis.settled(&rows))
    })
    .unwrap_or_else(|| diagnose(&left, &right, rate_hz))
}

/// The pair with the preset's own late or flipped channel, and its level offset, undone.
fn undone(preset: &Preset) -> Stereo {
    let mut full = preset.full();
    if preset.kind == PresetKind::FlippedChannel {
        full.scale_channels(1.0, -1.0);
    }
    let late = (preset.kind.channel_delay_s() * preset.rate_hz).round() as usize;
    full.right.drain(..late);
    full.left.truncate(full.right.len());
    full
}

fn truth(case: &Case, preset: &Preset) -> Truth {
    use Cause::*;
    let kind = preset.kind;
    let wet_db = preset.true_wet_dry_db();
    let steady = case.spec.source != Source::Guitar;
    let mut truth = Truth::default();
    if case.fault == Fault::Unplugged {
        truth.must.push(SilentChannel);
        return truth;
    }
    let correlation = undone(preset).correlation();
    let has_one_dry = !matches!(kind, PresetKind::WetOnly | PresetKind::DoubleTracked);
    let (flips, fault_late) = match case.fault {
        Fault::Flipped => (true, 0.0),
        Fault::FlippedLate(ms) => (true, ms),
        Fault::Late(ms) => (false, ms),
        _ => (false, 0.0),
    };
    let flipped = flips != (kind == PresetKind::FlippedChannel);
    let late_ms = fault_late + 1000.0 * kind.channel_delay_s();

    // Where there's no dry common to both channels, neither polarity nor delay means anything. A chorus above its dry
    // is a moving delay of either channel, and hides both.
    let plain = has_one_dry && !(kind == PresetKind::StereoChorus && wet_db > 2.0);
    if flipped && has_one_dry {
        // A steady sound has no attacks; then a flipped channel is only told if there is hardly any wet.
        if steady {
            truth.may.extend([FlippedChannel, OpposedUntold]);
        } else if plain {
            truth.must.push(FlippedChannel);
        } else {
            truth.may.extend([FlippedChannel, OpposedUntold]);
        }
    }
    if late_ms > 0.0 && has_one_dry {
        // Without onsets a delay is only named if lining up by it removes most of the power across. With two
        // amplifiers, 0.4 ms of distance and the filters' own phases can't be separated.
        if !plain || kind == PresetKind::TwoAmplifiers && fault_late == 0.0 || steady {
            truth.may.push(LateChannel);
        } else {
            truth.must.push(LateChannel);
        }
    }
    if kind == PresetKind::TwoAmplifiers {
        if wet_db <= 3.5 && !steady {
            truth.must.push(FrequencyDependentPhase);
        } else {
            truth.may.push(FrequencyDependentPhase);
        }
    }
    if kind == PresetKind::AntiPhaseReverb {
        // From −3 dB on the wet costs the sum more than the dry makes up for.
        if (-3.5..9.0).contains(&wet_db) && !steady && !flipped {
            truth.must.push(WetFightsItself);
        } else if wet_db >= 9.0 {
            // Hardly any attack stands out of so much wet: an untold cause is a valid answer.
            truth.may.extend([WetFightsItself, OpposedUntold]);
        } else {
            truth.may.push(WetFightsItself);
        }
        if steady {
            truth.may.push(OpposedUntold);
        }
    }

    // Levels.
    let pad = if let Fault::Padded(db) = case.fault {
        -db
    } else {
        0.0
    };
    let difference = |pair: &Stereo| power_db(mean_power(&pair.left) / mean_power(&pair.right)) + pad;
    let whole = difference(&preset.full());
    let direct = if has_one_dry {
        difference(&preset.dry)
    } else {
        whole
    };
    // By the direct sound, never by the sound that rings on.
    if direct.abs() >= 4.5 {
        truth.must.push(UnevenChannels);
    } else if whole.abs() >= 2.0 || direct.abs() >= 2.5 {
        truth.may.push(UnevenChannels);
    }

    // Width.
    if correlation < 0.3 && kind != PresetKind::AntiPhaseReverb && kind != PresetKind::TwoAmplifiers {
        truth.must.push(WideSound);
    } else if correlation < 0.5 {
        truth.may.push(WideSound);
    }
    if steady && flipped && has_one_dry {
        // Opposed or wide, depending on the correlation.
        truth.must.retain(|&cause| cause != WideSound);
        truth.may.push(WideSound);
    }
    // A wet that is wide or works against itself does no harm to a single straight dry.
    if has_one_dry
        && !flipped
        && late_ms == 0.0
        && truth
            .must
            .iter()
            .all(|cause| [WideSound, WetFightsItself].contains(cause))
        && !truth.must.is_empty()
    {
        truth.may.push(NothingWrong);
    }
    if truth.must.is_empty() {
        if truth.may.is_empty() && !steady {
            truth.must.push(NothingWrong);
        } else if correlation > 0.3 {
            truth.may.push(NothingWrong);
        }
    }
    truth
}

/// Every case of the table, the same each time; another `salt` draws other riffs, rooms, noise and levels.
#[must_use]
pub fn cases(salt: u64) -> Vec<Case> {
    let mut cases = Vec::new();
    let case = |kind, wet_db, seed, fault, noise_db, level_db| Case {
        spec: PresetSpec {
            wet_db,
            seed: seed + 100_000 * salt,
            seconds: 6.0,
            ..PresetSpec::new(kind)
        },
        fault,
        noise_db,
        level_db,
    };
    let quiet = f64::NEG_INFINITY;
    // Every preset at every balance, as it is.
    for kind in PresetKind::ALL {
        for (wet_db, seed) in [
            (-20.0, 101),
            (-10.0, 102),
            (-6.0, 103),
            (-3.0, 104),
            (0.0, 105),
            (3.0, 106),
            (6.0, 107),
        ] {
            cases.push(case(kind, wet_db, seed, Fault::None, quiet, 0.0));
        }
    }
    // Every preset with every fault, at noise and levels drawn at random.
    let faults = [
        Fault::Flipped,
        Fault::Late(0.13),
        Fault::Late(0.7),
        Fault::Late(3.0),
        Fault::Late(9.0),
        Fault::FlippedLate(0.5),
        Fault::FlippedLate(5.0),
        Fault::Padded(-6.0),
        Fault::Padded(-12.0),
        Fault::Unplugged,
    ];
    let mut rng = Rng::new(2024 + salt);
    for round in 0..2u64 {
        for (index, kind) in PresetKind::ALL.into_iter().enumerate() {
            for (number, &fault) in faults.iter().enumerate() {
                let wet_db = [-12.0, -6.0, -3.0, 0.0, 3.0][rng.below(5)];
                let noise_db = [quiet, -60.0, -40.0, -30.0][rng.below(4)];
                let level_db = [0.0, -20.0, -40.0][rng.below(3)];
                let seed = 1000 * (round + 1) + 20 * index as u64 + number as u64;
                cases.push(case(kind, wet_db, seed, fault, noise_db, level_db));
            }
        }
    }
    // Many cases of the sign trap and of wide sound, which must never be called flipped.
    for (kind, wet_db) in [
        (PresetKind::AntiPhaseReverb, 3.0),
        (PresetKind::AntiPhaseReverb, 6.0),
        (PresetKind::AntiPhaseReverb, 12.0),
        (PresetKind::DoubleTracked, -6.0),
        (PresetKind::WetOnly, 0.0),
    ] {
        for seed in 0..8 {
            cases.push(case(
                kind,
                wet_db,
                5000 + seed,
                Fault::None,
                if seed % 2 == 0 { quiet } else { -40.0 },
                0.0,
            ));
        }
    }
    // Steady noise through some of them: no attacks to go by.
    for kind in [
        PresetKind::EqualDry,
        PresetKind::AntiPhaseReverb,
        PresetKind::LateChannel300Us,
        PresetKind::LateChannel12Ms,
        PresetKind::FlippedChannel,
        PresetKind::DoubleTracked,
        PresetKind::DryOnly,
    ] {
        for (wet_db, seed) in [(-10.0, 301), (-3.0, 302), (6.0, 303)] {
            let mut steady = case(kind, wet_db, seed, Fault::None, quiet, 0.0);
            steady.spec.source = if seed % 2 == 0 {
                Source::PinkNoise
            } else {
                Source::WhiteNoise
            };
            cases.push(steady);
        }
    }
    cases
}

/// The result of a case.
#[derive(Debug)]
pub struct Judged {
    /// The case.
    pub case: Case,
    /// Its truth.
    pub truth: Truth,
    /// The diagnosis.
    pub diagnosis: Diagnosis,
    /// Whether the diagnosis is right.
    pub right: bool,
    /// A flipped channel was named although none is flipped.
    pub false_flip: bool,
}

/// Renders and judges one case.
#[must_use]
pub fn judge(case: &Case) -> Judged {
    let (sound, truth) = sound(case);
    let diagnosis = diagnosed(&sound, case.spec.rate_hz);
    let flip = Cause::FlippedChannel;
    Judged {
        case: *case,
        right: truth.accepts(&diagnosis),
        false_flip: diagnosis.get(flip).is_some()
            && !truth.must.contains(&flip)
            && !truth.may.contains(&flip),
        truth,
        diagnosis,
    }
}

/// All cases, judged on two threads.
#[must_use]
pub fn judge_all(salt: u64) -> Vec<Judged> {
    let cases = cases(salt);
    let (first, second) = cases.split_at(cases.len() / 2);
    std::thread::scope(|scope| {
        let other = scope.spawn(|| second.iter().map(judge).collect::<Vec<_>>());
        let mut judged: Vec<_> = first.iter().map(judge).collect();
        judged.extend(other.join().unwrap_or_default());
        judged
    })
}

/// The gravest of a list.
fn gravest(causes: &[Cause]) -> Cause {
    Cause::ALL
        .into_iter()
        .find(|cause| causes.contains(cause))
        .unwrap_or(Cause::NothingWrong)
}

/// The tables, as Markdown.
#[must_use]
pub fn markdown(judged: &[Judged]) -> String {
    let mut out = String::new();
    let right = judged.iter().filter(|case| case.right).count();
    let false_flips = judged.iter().filter(|case| case.false_flip).count();
    let _ = writeln!(
        out,
        "{} cases, {right} right ({:.1} %), {false_flips} times a flipped channel where there is none.\n",
        judged.len(),
        100.0 * right as f64 / judged.len() as f64
    );
    // Row: the gravest cause that must be found (or may, where none must). Column: the gravest that was named.
    let rows: Vec<Cause> = Cause::ALL
        .into_iter()
        .filter(|c| *c != Cause::NotEnoughSound)
        .collect();
    let _ = write!(out, "| truth \\ said |");
    for column in Cause::ALL {
        let _ = write!(out, " {} |", column.name());
    }
    let _ = write!(out, "\n|---|");
    for _ in Cause::ALL {
        let _ = write!(out, "--:|");
    }
    let _ = writeln!(out);
    for row in rows {
        let _ = write!(out, "| {} |", row.name());
        for column in Cause::ALL {
            let count = judged
                .iter()
                .filter(|case| {
                    let truth = if case.truth.must.is_empty() {
                        &case.truth.may
                    } else {
                        &case.truth.must
                    };
                    gravest(truth) == row
                })
                .filter(|case| case.diagnosis.first().is_some_and(|first| first.cause == column))
                .count();
            let _ = match count {
                0 => write!(out, " |"),
                count => write!(out, " {count} |"),
            };
        }
        let _ = writeln!(out);
    }
    let _ = writeln!(
        out,
        "\n| cause | had to be found | was found | was named where it is not |\n|---|--:|--:|--:|"
    );
    for cause in Cause::ALL {
        let must = judged.iter().filter(|case| case.truth.must.contains(&cause));
        let found = must
            .clone()
            .filter(|case| case.diagnosis.get(cause).is_some())
            .count();
        let wrong = judged
            .iter()
            .filter(|case| !case.truth.must.contains(&cause) && !case.truth.may.contains(&cause))
            .filter(|case| case.diagnosis.get(cause).is_some())
            .count();
        let _ = writeln!(out, "| {} | {} | {found} | {wrong} |", cause.name(), must.count());
    }
    let wrong: Vec<_> = judged.iter().filter(|case| !case.right).collect();
    if !wrong.is_empty() {
        let _ = writeln!(
            out,
            "\nThe wrong ones:\n\n| preset | wet, dB | fault | noise, dB | level, dB | should be | may be | said |\n|---|--:|---|--:|--:|---|---|---|"
        );
    }
    for case in wrong {
        let names = |causes: &[Cause]| causes.iter().map(|c| c.name()).collect::<Vec<_>>().join(", ");
        let said: Vec<_> = case.diagnosis.findings().map(|f| f.cause).collect();
        let noise = if case.case.noise_db.is_finite() {
            format!("{}", case.case.noise_db)
        } else {
            "none".into()
        };
        let _ = writeln!(
            out,
            "| {}, seed {}{} | {} | {:?} | {noise} | {} | {} | {} | {} |",
            case.case.spec.kind.id(),
            case.case.spec.seed,
            if case.case.spec.source == Source::Guitar {
                ""
            } else {
                ", steady noise"
            },
            case.case.spec.wet_db,
            case.case.fault,
            case.case.level_db,
            names(&case.truth.must),
            names(&case.truth.may),
            names(&said)
        );
    }
    out
}
