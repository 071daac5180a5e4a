//! The table of real presets: errors of figures, outcomes and causes, from the pair alone and with passes.

use std::collections::VecDeque;
use std::io::Write;
use std::path::PathBuf;
use std::sync::Mutex;

use clap::Parser;
use sumproof_core::explain::diagnosis::diagnose;
use sumproof_core::score::rig::Rig;
use sumproof_core::score::verdict::Verdict;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::split::kind::PresetKind;
use sumproof_core::split::two_pass::{PassAudio, TwoPass};
use sumproof_tests::methods::narrowed_pair;
use sumproof_tests::obvious;
use sumproof_tests::presets::causes::{self, Named};
use sumproof_tests::presets::feeds::{Share, Sort, Tally};
use sumproof_tests::presets::{Preset, folders, truth};

/// Prints how the analysis fares on presets whose dry and wet are known (`cargo xtask presets` makes them).
#[derive(Parser)]
struct Arguments {
    /// The folder the presets are in.
    folder: PathBuf,
    /// Only presets whose name contains this.
    #[arg(long, default_value = "")]
    only: String,
    /// List every preset whose causes are wrong too, and every plain word that is.
    #[arg(long)]
    list: bool,
    /// From the pair alone only.
    #[arg(long)]
    pair_alone: bool,
}

/// The ways a preset is read.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    PairAlone,
    KindSaid,
    Passes,
    DryAndFull,
}

impl Way {
    const ALL: [Self; 4] = [Self::PairAlone, Self::KindSaid, Self::Passes, Self::DryAndFull];

    fn name(self) -> &'static str {
        match self {
            Self::PairAlone => "pair alone",
            Self::KindSaid => "its kind said",
            Self::Passes => "passes",
            Self::DryAndFull => "dry and full",
        }
    }

    /// Whether dry and wet were also played separately.
    fn has_passes(self) -> bool {
        matches!(self, Self::Passes | Self::DryAndFull)
    }
}

#[derive(Default)]
struct Found {
    tallies: [Tally; 4],
    causes: [Share; 4],
    false_flips: [usize; 4],
    /// Presets with wet over dry within 1 dB: read from the pair alone, and by mid and side.
    wet_over_dry: [Share; 2],
    listed: Vec<String>,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments = Arguments::parse();
    let jobs: VecDeque<PathBuf> = folders(&arguments.folder)?
        .into_iter()
        .filter(|folder| folder.to_string_lossy().contains(&arguments.only))
        .collect();
    let count = jobs.len();
    let jobs = Mutex::new(jobs);
    let found = Mutex::new(Found::default());
    let failed = Mutex::new(None);
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                loop {
                    let job = jobs.lock().ok().and_then(|mut jobs| jobs.pop_front());
                    let Some(folder) = job else { break };
                    match Preset::load(&folder) {
                        Ok(preset) => examine(&preset, arguments.pair_alone, &found),
                        Err(error) => {
                            if let Ok(mut failed) = failed.lock() {
                                *failed = Some(error);
                            }
                        }
                    }
                }
            });
        }
    });
    if let Some(error) = failed.into_inner().ok().flatten() {
        return Err(error.into());
    }
    let mut found = found.into_inner().unwrap_or_default();
    print(&found, count)?;
    if arguments.list {
        let mut out = std::io::stdout().lock();
        found.listed.sort();
        for line in &found.listed {
            writeln!(out, "{line}")?;
        }
    }
    Ok(())
}

fn examine(preset: &Preset, pair_alone: bool, found: &Mutex<Found>) {
    let rig = Rig::default();
    let true_feeds = truth::truth(preset, &rig);
    for (at, way) in Way::ALL.into_iter().enumerate() {
        if pair_alone && way.has_passes() {
            continue;
        }
        let Some(take) = read(preset, way) else { continue };
        let name = way.name();
        let rows = take.rows(&rig, 0.0);
        let named: Option<Named> = take
            .diagnosis
            .map(|diagnosis| diagnosis.settled(&rows))
            .map(|diagnosis| causes::judge(&preset.sheet, &diagnosis, way.has_passes() && preset.has_wet()));
        let Ok(mut found) = found.lock() else { return };
        for id in truth::judged() {
            let row = &rows[id as usize];
            let true_word = true_feeds.word(id, &rig.limits);
            if let Some(Verdict::Plain(word)) = row.verdict
                && word != true_word
            {
                found.listed.push(format!(
                    "{name}: {}: {} plainly {word:?}, is {true_word:?}",
                    preset.name,
                    id.id()
                ));
            }
        }
        found.tallies[at].add(&true_feeds, &rows, &rig.limits, sort(preset));
        if let (Way::PairAlone, Some(true_db)) =
            (way, preset.sheet.wet_over_dry_db.filter(|_| sort(preset).one_dry))
        {
            let read = [
                obvious::db(take.split.wet.mean_power() / take.split.dry.mean_power()),
                by_mid_and_side(preset),
            ];
            for (share, read_db) in found.wet_over_dry.iter_mut().zip(read) {
                share.add((read_db - true_db).abs() <= 1.0);
            }
        }
        if let Some(named) = named {
            found.causes[at].add(named.is_right());
            found.false_flips[at] += usize::from(named.has_false_flip());
            if !named.is_right() {
                found.listed.push(format!(
                    "{name}: {}: said {:?}, missed {:?}, wrong {:?}",
                    preset.name, named.said, named.missed, named.wrong
                ));
            }
        }
    }
}

/// The class of a preset for the counts.
fn sort(preset: &Preset) -> Sort {
    Sort {
        one_dry: matches!(preset.sheet.said.as_str(), "centre" | "one-side"),
        muted_end: preset.sheet.phrase.muted_end,
    }
}

/// Wet over dry, dB, by mid and side: for a dry in the middle and a wet with equally loud, unrelated channels, the side
/// is half of the wet, and the mid is the dry plus the other half.
fn by_mid_and_side(preset: &Preset) -> f64 {
    let (mut mid, mut side) = (0.0, 0.0);
    for (left, right) in preset.full.left.iter().zip(&preset.full.right) {
        mid += (left + right).powi(2);
        side += (left - right).powi(2);
    }
    obvious::db(2.0 * side / (mid - side).max(0.0))
}

/// Makes a take in one of the ways.
fn read(preset: &Preset, way: Way) -> Option<Take> {
    let rate_hz = preset.rate_hz;
    let full = narrowed_pair(&preset.full, 1.0);
    if way.has_passes() {
        if !preset.has_wet() {
            // Without effects there are no passes.
            return None;
        }
        let (dry, wet) = (narrowed_pair(&preset.dry, 1.0), narrowed_pair(&preset.wet, 1.0));
        let [dry, wet, full] = [&dry, &wet, &full].map(|[left, right]| PassAudio { rate_hz, left, right });
        let two = match way {
            Way::Passes => TwoPass::of_audio(&dry, &wet, Some(&full)).ok()?,
            _ => TwoPass::of_dry_and_full(&dry, &full).ok()?,
        };
        let mut take = two.take(preset.name.clone());
        let seen = diagnose(full.left, full.right, rate_hz);
        take.explain_parts(Some(&seen));
        return Some(take);
    }
    let mut monitor = Monitor::for_takes(rate_hz);
    if way == Way::KindSaid {
        monitor.set_kind(PresetKind::from_id(&preset.sheet.said)?);
    }
    monitor.start_take();
    monitor.push(&full[0], &full[1]);
    monitor.finish_take(preset.name.clone(), Pass::Full)
}

fn print(found: &Found, presets: usize) -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{presets} presets.\n")?;
    writeln!(out, "| figure | {} |", Way::ALL.map(Way::name).join(" | "))?;
    writeln!(out, "|---|--:|--:|--:|--:|")?;
    let mut row = |name: &str, of: &dyn Fn(&Tally) -> String| {
        let cells: Vec<String> = found.tallies.iter().map(of).collect();
        writeln!(out, "| {name} | {} |", cells.join(" | "))
    };
    row("dry, wet and balance within 0.1 dB", &|t| t.within[0].to_string())?;
    row("dry, wet and balance within 0.3 dB", &|t| t.within[1].to_string())?;
    row("one dry: its interval holds the truth, median width", &|t| {
        t.dry_ends[0].to_string()
    })?;
    row("other dry: the same", &|t| t.dry_ends[1].to_string())?;
    row("wet with a muted end: the same", &|t| t.wet_ends[0].to_string())?;
    row("other wet: the same", &|t| t.wet_ends[1].to_string())?;
    row("words right", &|t| t.words[0].to_string())?;
    row("words wrong by two steps", &|t| t.words[1].to_string())?;
    row("words said plainly", &|t| t.plain[0].to_string())?;
    row("plain words right", &|t| t.plain[1].to_string())?;
    row("partials on the same side of the limit", &|t| {
        t.partials[0].to_string()
    })?;
    row("partials within 1 dB", &|t| t.partials[1].to_string())?;
    row("balance said plainly", &|t| t.balance[0].to_string())?;
    row("plain balance right", &|t| t.balance[1].to_string())?;
    let causes: Vec<String> = found.causes.iter().map(Share::to_string).collect();
    writeln!(out, "| causes right | {} |", causes.join(" | "))?;
    let flips = found.false_flips.map(|count| count.to_string());
    writeln!(out, "| false flips | {} |", flips.join(" | "))?;
    let [read, simple] = found.wet_over_dry;
    writeln!(
        out,
        "\nWet over dry of presets with one dry, within 1 dB: {read} from the pair alone, {simple} by mid and side."
    )
}
