//! The JSON form, version 2, as serde structs. `SCHEMA.md` describes it for readers of other languages.
//!
//! Numbers are plain, so that any tool can sort them. Where there is no number the field is `null` and the object's
//! `words` says why, under the field's name.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use sumproof_core::dsp::db;
use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::routing::line::Polarity;
use sumproof_core::score::balance::Balance;
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::rig::Rig;
use sumproof_core::score::scorer::FeedScore;
use sumproof_core::score::verdict::Verdict;
use sumproof_core::session::set::Spread;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::spectrum::bands::BandMap;
use sumproof_core::spectrum::grid::{Grid, block_len};
use sumproof_core::split::Method;
use sumproof_core::split::interval::{Interval, Known};
use sumproof_core::split::kind::PresetKind;
use sumproof_core::split::ways::Closed;
use sumproof_wording::methods;
use sumproof_wording::scores;

use crate::judge::judged::{FeedRow, Judged};
use crate::judge::set::{Entry, Loudness, View};

/// The version of the form. It goes up when a field changes its meaning or goes away, not when one is added.
pub const SCHEMA: u32 = 2;

/// Why a field is `null`, by the field's name.
pub type Words = BTreeMap<String, String>;

/// The whole document.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Document {
    /// [`SCHEMA`].
    pub schema: u32,
    /// Version of the program that wrote it.
    pub version: String,
    /// What the feeds were computed for.
    pub rig: Rig,
    /// What the takes have in common; `null` in documents from before there was such a thing.
    #[serde(default)]
    pub set: Option<SetReport>,
    /// One entry per take.
    pub takes: Vec<TakeReport>,
}

/// A set as a whole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SetReport {
    /// How many takes.
    pub takes: usize,
    /// How many of them hold in every feed that decides.
    pub holds: usize,
    /// How many thin in one.
    pub thins: usize,
    /// How many drop out in one.
    pub drops_out: usize,
    /// How many hold in every feed that decides and can be told, where one can't be told.
    #[serde(default)]
    pub untold: usize,
    /// Integrated loudness in stereo over the set; `null` where nobody measured it.
    pub stereo_lufs: Option<SpreadReport>,
    /// Integrated loudness of the mono wedge over the set.
    pub wedge_lufs: Option<SpreadReport>,
}

/// How far apart the takes of a set are.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SpreadReport {
    /// The lowest.
    pub lowest: f64,
    /// The one in the middle.
    pub median: f64,
    /// The highest.
    pub highest: f64,
    /// From the lowest to the highest, LU.
    pub spread_lu: f64,
}

/// Everything about one take.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TakeReport {
    /// Its name.
    pub name: String,
    /// The file it came from, as it was named on the command line; `null` for a take that was recorded.
    #[serde(default)]
    pub file: Option<String>,
    /// Which pass it is.
    pub pass: Pass,
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Length, seconds.
    pub seconds: f64,
    /// Frames measured.
    pub frames: u64,
    /// Frames left out because they were not numbers or above +60 dBFS.
    pub invalid_frames: u64,
    /// How often frames are missing in it: what comes next did not follow what came.
    #[serde(default)]
    pub gaps: u64,
    /// The worst outcome among the feeds that decide: those asked for, or else those in which nobody made a mistake.
    #[serde(default)]
    pub outcome: Option<Outcome>,
    /// How sure that is; `cannot-tell` where all that can be told holds and one feed can't be told.
    #[serde(default)]
    pub outcome_is: Option<Sureness>,
    /// The feed that has it, or that can't be told; `null` when it holds.
    #[serde(default)]
    pub worst_feed: Option<String>,
    /// One sentence.
    pub verdict: String,
    /// Why it fares as it does: the diagnosis, a sentence each, with its figures.
    #[serde(default)]
    pub why: Vec<String>,
    /// What to change: advice, a sentence each, with what it gives before and after.
    #[serde(default)]
    pub what_now: Vec<String>,
    /// Exact figures of the whole band.
    pub broadband: Broadband,
    /// How loud it is; `null` where nobody measured it.
    #[serde(default)]
    pub loudness: Option<LoudnessReport>,
    /// The single delay between the channels; `null` where there isn't one.
    pub channel_delay: Option<Delay>,
    /// How dry and wet were told apart.
    pub split: SplitReport,
    /// 1/3-octave bands (IEC 61260-1, base 10).
    pub bands: Vec<BandReport>,
    /// Every feed that is shown.
    pub feeds: Vec<FeedReport>,
    /// The take itself, for programs of this house to read again; `null` where it was left out.
    #[serde(default)]
    pub stored: Option<Take>,
}

/// How loud a take is (ITU-R BS.1770, gated as EBU R 128 does).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoudnessReport {
    /// Integrated loudness of both channels, LUFS.
    pub stereo_lufs: Option<f64>,
    /// Integrated loudness of the mono wedge, counted as played by both loudspeakers, LUFS.
    pub wedge_lufs: Option<f64>,
    /// What summing changes, LU.
    pub change_lu: Option<f64>,
    /// The higher channel's true peak, dBTP.
    pub stereo_peak_dbtp: Option<f64>,
    /// The mono wedge's true peak, dBTP.
    pub wedge_peak_dbtp: Option<f64>,
    /// Why a figure is missing.
    #[serde(default, skip_serializing_if = "Words::is_empty")]
    pub words: Words,
}

/// Sums over the frames of the whole take, in the time domain.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Broadband {
    /// Correlation at lag zero, −1 to +1.
    pub correlation: Option<f64>,
    /// The average sum over the mean power of both channels, dB.
    pub sum_difference_db: Option<f64>,
    /// The same with one line flipped, dB.
    pub flipped_sum_difference_db: Option<f64>,
    /// Mean power of the left channel, dBFS (a square wave at full scale is 0).
    pub left_dbfs: Option<f64>,
    /// Mean power of the right channel, dBFS.
    pub right_dbfs: Option<f64>,
    /// Left over right, dB.
    pub level_difference_db: Option<f64>,
    /// Why a figure is missing.
    #[serde(default, skip_serializing_if = "Words::is_empty")]
    pub words: Words,
}

/// A delay between the channels.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Delay {
    /// How much later the right channel is, ms; negative when the left is.
    pub right_late_ms: f64,
    /// What the channels share has opposite signs: an inverted channel, or a strong wet whose channels work against each
    /// other. This figure can't tell which.
    pub opposite_signs: bool,
    /// 0 to 1.
    pub confidence: f64,
}

/// How dry and wet were told apart.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SplitReport {
    /// `estimated`, `two-pass` or `side-chain`.
    pub method: Method,
    /// What the method does and can't do.
    pub limits: String,
    /// How far down a cancelled dry can be read, dB; `null` without such a floor.
    pub floor_db: Option<f64>,
    /// Wet over dry power in stereo, dB.
    pub wet_over_dry_db: Option<f64>,
    /// Between what an estimate's figure may lie, dB: at least and at most, `null` for an end that is open; `null` altogether where
    /// dry and wet were measured.
    #[serde(default)]
    pub range_db: Option<[Option<f64>; 2]>,
    /// What the player said the preset is.
    #[serde(default)]
    pub kind: PresetKind,
    /// What closed the wet's interval: `one-way`, `muted-end` or `kind`; `null` where nothing did, or all was measured.
    #[serde(default)]
    pub closed_by: Option<Closed>,
    /// Why a figure is missing.
    #[serde(default, skip_serializing_if = "Words::is_empty")]
    pub words: Words,
}

/// One 1/3-octave band.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BandReport {
    /// Nominal middle (ISO 266), Hz.
    pub nominal_hz: f64,
    /// Exact lower edge, Hz.
    pub lower_hz: f64,
    /// Exact upper edge, Hz; half the sample rate where the band is cut off there.
    pub upper_hz: f64,
    /// Half the sample rate lies inside the band: a part of it is missing.
    pub partial: bool,
    /// The band is at least three FFT bins wide; the figures of one that isn't bleed into its neighbours.
    pub resolved: bool,
    /// Correlation at lag zero, −1 to +1.
    pub correlation: Option<f64>,
    /// Magnitude-squared coherence, 0 to 1, bias taken off.
    pub coherence: Option<f64>,
    /// Mean power of the left channel in the band, dBFS.
    pub left_dbfs: Option<f64>,
    /// Mean power of the right channel in the band, dBFS.
    pub right_dbfs: Option<f64>,
    /// The average sum over the mean power of both channels, dB.
    pub sum_difference_db: Option<f64>,
    /// The same with one line flipped, dB.
    pub flipped_sum_difference_db: Option<f64>,
    /// Why a figure is missing.
    #[serde(default, skip_serializing_if = "Words::is_empty")]
    pub words: Words,
}

/// One feed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FeedReport {
    /// Stable name.
    pub id: FeedId,
    /// What people read.
    pub name: String,
    /// The word, plain or likely; `null` where it can't be told, or where there is too little sound.
    pub outcome: Option<Outcome>,
    /// Whether the word is plain; `null` where there is too little sound.
    pub outcome_is: Option<Sureness>,
    /// The other word it could be, where it is only likely.
    pub outcome_other: Option<Outcome>,
    /// How much wetter or drier: the word, plain or likely; `null` where it can't be told, or there's no wet or no dry by itself.
    pub balance: Option<Balance>,
    /// Whether that word is plain; `null` where there is nothing to say it of.
    pub balance_is: Option<Sureness>,
    /// The other word it could be.
    pub balance_other: Option<Balance>,
    /// How the dry's change is known, with both ends.
    pub dry: Option<IntervalReport>,
    /// How the wet's change is known, with both ends.
    pub wet: Option<IntervalReport>,
    /// How the balance shift is known, with both ends.
    pub shift: Option<IntervalReport>,
    /// What the wet's change would be if the effects were an ordinary stereo: an assumption. `null` where it is known.
    pub wet_if_ordinary_db: Option<f64>,
    /// For a feed with a fault on one line: the line that was the worse one to have it.
    pub worse_line: Option<Side>,
    /// Likely change of the dry from stereo, gain to make up taken out, dB.
    pub dry_db: Option<f64>,
    /// The dry is at the estimate's floor: it is *at least* this far down, and the balance shift at least that much.
    pub dry_at_floor: bool,
    /// Change of the wet, dB; `null` unless it is known within 6 dB: see [`Self::wet`].
    pub wet_db: Option<f64>,
    /// Change of everything, dB.
    pub total_db: Option<f64>,
    /// Change of everything above 40 Hz, dB; only where it differs by more than 0.5 dB.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub total_above_40_hz_db: Option<f64>,
    /// Wet change minus dry change, dB; positive is wetter.
    pub balance_shift_db: Option<f64>,
    /// Change of the dry against the un-faulted mono sum, dB.
    pub dry_against_mono_db: Option<f64>,
    /// Change of everything against the un-faulted mono sum, dB.
    pub total_against_mono_db: Option<f64>,
    /// Gain to make up at the desk, dB.
    pub makeup_db: Option<f64>,
    /// Level change against stereo, K-weighted (ITU-R BS.1770), nothing made up, LU.
    pub level_lu: Option<f64>,
    /// Tone change of the dry, dB rms over 1/3-octave bands.
    pub tone_db: Option<f64>,
    /// How far the dry's partials are moved against each other, dB rms.
    #[serde(default)]
    pub partials_db: Option<f64>,
    /// Middle of the 1/24 octave of the deepest dip, Hz; `null` without a dip of a decibel.
    pub dip_hz: Option<f64>,
    /// Its depth against the feed's own total, dB; negative.
    pub dip_db: Option<f64>,
    /// Why a figure is missing, and what the floor means.
    #[serde(default, skip_serializing_if = "Words::is_empty")]
    pub words: Words,
}

/// Whether a word is plain.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sureness {
    /// The whole interval gives it.
    Plain,
    /// It could also be the other.
    Likely,
    /// The interval gives too many words.
    CannotTell,
}

impl Sureness {
    /// What people read.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Plain => "plain",
            Self::Likely => "likely",
            Self::CannotTell => "cannot tell",
        }
    }

    fn of<W: Copy + Ord>(verdict: Verdict<W>) -> Self {
        match verdict {
            Verdict::Plain(_) => Self::Plain,
            Verdict::Likely { .. } => Self::Likely,
            Verdict::CannotTell => Self::CannotTell,
        }
    }
}

/// Both ends of a figure.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct IntervalReport {
    /// `measured`, `bounded` or `assumed`.
    pub known: Known,
    /// At least, dB; `null` for an open end.
    pub least_db: Option<f64>,
    /// At most, dB; `null` for an open end.
    pub most_db: Option<f64>,
}

impl From<Interval> for IntervalReport {
    fn from(interval: Interval) -> Self {
        let end = |end: f64| end.is_finite().then(|| rounded(end));
        Self {
            known: interval.known,
            least_db: end(interval.low),
            most_db: end(interval.high),
        }
    }
}

/// The document of several takes, as JSON text with line breaks.
#[must_use]
pub fn json(takes: &[Take], rig: &Rig) -> String {
    let entries: Vec<Entry> = takes.iter().cloned().map(Entry::from).collect();
    let view = View::from(rig);
    let judged: Vec<Judged<'_>> = entries.iter().map(|entry| Judged::new(entry, &view)).collect();
    json_of_set(&judged, &view)
}

/// The document of a set, as JSON text with line breaks.
#[must_use]
pub fn json_of_set(presets: &[Judged<'_>], view: &View) -> String {
    // Only maps with keys that aren't strings and failing writers make serde_json fail; there are neither.
    serde_json::to_string_pretty(&document(presets, view)).unwrap_or_default()
}

/// The document of a set.
#[must_use]
pub fn document(presets: &[Judged<'_>], view: &View) -> Document {
    Document {
        schema: SCHEMA,
        version: env!("CARGO_PKG_VERSION").into(),
        rig: view.rig,
        set: Some(set(presets)),
        takes: presets.iter().map(report_of).collect(),
    }
}

fn set(presets: &[Judged<'_>]) -> SetReport {
    let count = |outcome| {
        presets
            .iter()
            .filter(|preset| preset.outcome() == Some(outcome))
            .count()
    };
    let spread = |of: fn(&Loudness) -> f64| {
        Spread::of(
            presets
                .iter()
                .filter_map(|preset| preset.loudness.as_ref().map(of)),
        )
        .map(|spread| SpreadReport {
            lowest: rounded(spread.lowest),
            median: rounded(spread.median),
            highest: rounded(spread.highest),
            spread_lu: rounded(spread.range()),
        })
    };
    SetReport {
        takes: presets.len(),
        holds: count(Outcome::Holds),
        thins: count(Outcome::Thins),
        drops_out: count(Outcome::DropsOut),
        untold: presets.iter().filter(|preset| preset.is_untold()).count(),
        stereo_lufs: spread(|loudness| loudness.stereo_lufs),
        wedge_lufs: spread(|loudness| loudness.wedge_lufs),
    }
}

/// The report of one take.
#[must_use]
pub fn report(take: &Take, rig: &Rig) -> TakeReport {
    report_of(&Judged::of_take(take, &View::from(rig)))
}

pub(crate) fn report_of(preset: &Judged<'_>) -> TakeReport {
    let take = preset.take;
    let heard = preset.wedge.score.is_some();
    TakeReport {
        name: take.name.clone(),
        file: preset.file.map(String::from),
        pass: take.pass,
        rate_hz: take.rate_hz,
        seconds: rounded(take.seconds()),
        frames: take.sums.frames,
        invalid_frames: take.invalid_frames,
        gaps: take.gaps,
        outcome: preset.outcome(),
        outcome_is: preset.worst().and_then(|feed| feed.row.verdict).map(Sureness::of),
        worst_feed: preset.trouble().map(String::from),
        verdict: preset.verdict.clone(),
        why: preset.why.clone(),
        what_now: preset.what_now.clone(),
        broadband: broadband(take),
        loudness: preset.loudness.map(loudness),
        channel_delay: take.delay.map(|delay| Delay {
            right_late_ms: rounded(delay.delay_s * 1000.0),
            opposite_signs: delay.polarity == Polarity::Flipped,
            confidence: rounded(delay.confidence),
        }),
        split: split(take, heard),
        bands: bands(take),
        feeds: preset.rows.iter().map(feed).collect(),
        stored: Some(take.clone()),
    }
}

fn loudness(loudness: Loudness) -> LoudnessReport {
    const QUIET: [&str; 3] = [scores::NO_READING, scores::NO_READING, scores::NO_READING];
    let mut words = Collector::default();
    let change = loudness.wedge_lufs - loudness.stereo_lufs;
    LoudnessReport {
        stereo_lufs: words.figure("stereo_lufs", Some(loudness.stereo_lufs), QUIET),
        wedge_lufs: words.figure("wedge_lufs", Some(loudness.wedge_lufs), QUIET),
        change_lu: words.figure("change_lu", Some(change), QUIET),
        stereo_peak_dbtp: words.figure("stereo_peak_dbtp", Some(loudness.stereo_peak_dbtp), LEVEL),
        wedge_peak_dbtp: words.figure("wedge_peak_dbtp", Some(loudness.wedge_peak_dbtp), LEVEL),
        words: words.0,
    }
}

/// Collects the words of an object while its fields are filled.
#[derive(Default)]
struct Collector(Words);

impl Collector {
    /// The number, or `None` with a word: `missing` for no number at all, `low` for −∞, `high` for +∞.
    fn figure(&mut self, field: &str, value: Option<f64>, [missing, low, high]: [&str; 3]) -> Option<f64> {
        let word = match value {
            Some(number) if number.is_finite() => return Some(rounded(number)),
            Some(f64::NEG_INFINITY) => low,
            Some(f64::INFINITY) => high,
            _ => missing,
        };
        self.0.insert(field.into(), word.into());
        None
    }
}

/// A millionth is far below what any figure is worth; −0 becomes 0.
fn rounded(number: f64) -> f64 {
    (number * 1e6).round() / 1e6 + 0.0
}

const LEVEL: [&str; 3] = [scores::NO_READING, scores::GONE, scores::NO_READING];

fn broadband(take: &Take) -> Broadband {
    let sums = &take.sums;
    let (left, right) = sums.powers();
    let mut words = Collector::default();
    Broadband {
        correlation: words.figure("correlation", sums.correlation(), LEVEL),
        sum_difference_db: words.figure("sum_difference_db", sums.sum_difference_db(), LEVEL),
        flipped_sum_difference_db: words.figure(
            "flipped_sum_difference_db",
            sums.flipped_difference_db(),
            LEVEL,
        ),
        left_dbfs: words.figure("left_dbfs", Some(db::from_power(left)), LEVEL),
        right_dbfs: words.figure("right_dbfs", Some(db::from_power(right)), LEVEL),
        level_difference_db: words.figure(
            "level_difference_db",
            sums.level_difference_db(),
            [scores::NO_READING, "left silent", "right silent"],
        ),
        words: words.0,
    }
}

fn split(take: &Take, heard: bool) -> SplitReport {
    let mut words = Collector::default();
    SplitReport {
        method: take.method(),
        limits: methods::limits(take.method()).into(),
        floor_db: take.method().floor_db(),
        wet_over_dry_db: words.figure(
            "wet_over_dry_db",
            take.split.wet_over_dry_db().filter(|_| heard),
            [scores::NO_READING, "no wet found", "no dry found"],
        ),
        range_db: take
            .split
            .wet_over_dry_range_db()
            .filter(|_| heard)
            .map(|range| range.map(|end| end.is_finite().then(|| rounded(end)))),
        kind: take.kind,
        closed_by: take.split.bounds.and_then(|bounds| bounds.closed),
        words: words.0,
    }
}

/// Below this a band has no correlation: the noise of 16-bit audio lies above it, that of 24-bit audio below, dBFS.
pub const BAND_FLOOR_DBFS: f64 = -120.0;

fn bands(take: &Take) -> Vec<BandReport> {
    let grid = take.grid();
    let map = BandMap::thirds(&grid);
    let total = &take.split.total;
    // A take's cells hide how wide the bins were that it was made from.
    let bins = BandMap::thirds(&Grid::fft(take.rate_hz, block_len(take.rate_hz)));
    let resolved = |nominal_hz: f64| {
        bins.bands()
            .iter()
            .any(|band| band.nominal_hz == nominal_hz && !band.is_merged())
    };
    let floor = db::to_power(BAND_FLOOR_DBFS);
    map.bands()
        .iter()
        .enumerate()
        .map(|(index, band)| {
            let reading = total.band(&grid, &map, index);
            let audible = reading.left > floor && reading.right > floor;
            let either = reading.left + reading.right > 2.0 * floor;
            let mut words = Collector::default();
            BandReport {
                nominal_hz: band.nominal_hz,
                lower_hz: rounded(band.lower_hz),
                upper_hz: rounded(band.upper_hz),
                partial: band.partial,
                resolved: resolved(band.nominal_hz),
                correlation: words.figure("correlation", reading.correlation.filter(|_| audible), LEVEL),
                coherence: words.figure("coherence", reading.coherence.filter(|_| audible), LEVEL),
                left_dbfs: words.figure("left_dbfs", Some(db::from_power(reading.left)), LEVEL),
                right_dbfs: words.figure("right_dbfs", Some(db::from_power(reading.right)), LEVEL),
                sum_difference_db: words.figure(
                    "sum_difference_db",
                    reading.sum_difference_db().filter(|_| either),
                    LEVEL,
                ),
                flipped_sum_difference_db: words.figure(
                    "flipped_sum_difference_db",
                    reading.flipped_difference_db().filter(|_| either),
                    LEVEL,
                ),
                words: words.0,
            }
        })
        .collect()
}

fn feed(shown: &FeedRow) -> FeedReport {
    let row = &shown.row;
    let score = row.score.as_ref();
    // Without a score nothing was heard; with one, a missing part isn't in the sound.
    let absent = if score.is_some() {
        scores::NOT_FOUND
    } else {
        scores::NO_READING
    };
    let part = [absent, scores::GONE, scores::ONLY_WET];
    let of = |get: fn(&FeedScore) -> Option<f64>| score.and_then(get);
    let mut words = Collector::default();
    let floor = score.is_some_and(|score| score.dry_at_floor);
    let report = FeedReport {
        id: row.id,
        name: shown.name.clone(),
        outcome: row.outcome,
        outcome_is: row.verdict.map(Sureness::of),
        outcome_other: row.verdict.and_then(Verdict::other),
        balance: row.balance.and_then(Verdict::word),
        balance_is: row.balance.map(Sureness::of),
        balance_other: row.balance.and_then(Verdict::other),
        dry: score.and_then(|score| score.dry).map(IntervalReport::from),
        wet: score.and_then(|score| score.wet).map(IntervalReport::from),
        shift: score.and_then(|score| score.balance).map(IntervalReport::from),
        wet_if_ordinary_db: of(|s| s.wet_if_ordinary_db)
            .filter(|db| db.is_finite())
            .map(rounded),
        worse_line: row.worse,
        dry_db: words.figure("dry_db", of(|s| s.dry_db), part),
        dry_at_floor: floor,
        wet_db: match score.and_then(scores::open_wet) {
            Some(between) => {
                words.0.insert("wet_db".into(), between);
                None
            }
            None => words.figure("wet_db", of(|s| s.wet_db), part),
        },
        total_db: words.figure("total_db", of(|s| Some(s.total_db)), part),
        total_above_40_hz_db: shown
            .above_40_hz_db
            .and_then(|limited| words.figure("total_above_40_hz_db", Some(limited), part)),
        balance_shift_db: match score.and_then(scores::open_balance) {
            Some(between) => {
                words.0.insert("balance_shift_db".into(), between);
                None
            }
            None => words.figure(
                "balance_shift_db",
                of(|s| s.balance_shift_db),
                [absent, "only dry", scores::ONLY_WET],
            ),
        },
        dry_against_mono_db: words.figure("dry_against_mono_db", of(|s| s.dry_against_mono_db), part),
        total_against_mono_db: words.figure("total_against_mono_db", of(|s| s.total_against_mono_db), part),
        makeup_db: words.figure(
            "makeup_db",
            of(|s| Some(s.makeup_db)),
            [absent, scores::GONE, scores::NOTHING_ARRIVES],
        ),
        level_lu: words.figure("level_lu", of(|s| Some(s.level_lu)), part),
        tone_db: words.figure(
            "tone_db",
            of(|s| s.tone_db),
            ["cannot be told", scores::GONE, scores::GONE],
        ),
        partials_db: words.figure(
            "partials_db",
            of(|s| s.colour.partials_db.map(|partials| partials.likely)),
            ["cannot be told", scores::GONE, scores::GONE],
        ),
        dip_hz: of(|s| s.dip.map(|dip| rounded(dip.hz))),
        dip_db: of(|s| s.dip.map(|dip| rounded(dip.depth_db))),
        words: Words::new(),
    };
    if let (true, Some(db)) = (floor, report.dry_db) {
        words.0.insert("dry_db".into(), scores::at_least_down(db));
    }
    FeedReport {
        words: words.0,
        ..report
    }
}
