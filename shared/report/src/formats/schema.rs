//! The JSON form, version 2, as serde structs. `SCHEMA.md` describes it for readers in other languages.
//!
//! Numbers are plain, so that any tool can sort them. A missing number is `null`, and the object's `words` gives the
//! reason under the field's name.

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

/// Version of the form. It increases when a field changes its meaning or is removed, not when one is added.
pub const SCHEMA: u32 = 2;

/// Reasons for `null`, by field name.
pub type Words = BTreeMap<String, String>;

/// The whole document.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Document {
    /// [`SCHEMA`].
    pub schema: u32,
    /// Version of the program that wrote it.
    pub version: String,
    /// The rig for which the feeds were computed.
    pub rig: Rig,
    /// Figures of the whole set; `null` in documents written before this field existed.
    #[serde(default)]
    pub set: Option<SetReport>,
    /// One entry per take.
    pub takes: Vec<TakeReport>,
}

/// A set as a whole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SetReport {
    /// Number of takes.
    pub takes: usize,
    /// Number of takes that hold in every feed that decides.
    pub holds: usize,
    /// Number of takes whose worst outcome is 'thins'.
    pub thins: usize,
    /// Number of takes whose worst outcome is 'drops out'.
    pub drops_out: usize,
    /// Number of takes that hold in every feed that can be told, where one that decides can't be told.
    #[serde(default)]
    pub untold: usize,
    /// Integrated loudness in stereo over the set; `null` where it was not measured.
    pub stereo_lufs: Option<SpreadReport>,
    /// Integrated loudness of the mono wedge over the set.
    pub wedge_lufs: Option<SpreadReport>,
}

/// Spread of a set's levels.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SpreadReport {
    /// The lowest, LUFS.
    pub lowest: f64,
    /// The median, LUFS.
    pub median: f64,
    /// The highest, LUFS.
    pub highest: f64,
    /// Highest less lowest, LU.
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
    /// Length, s.
    pub seconds: f64,
    /// Number of frames measured.
    pub frames: u64,
    /// Number of frames left out because they were not numbers or above +60 dBFS.
    pub invalid_frames: u64,
    /// Number of places where frames are missing.
    #[serde(default)]
    pub gaps: u64,
    /// The worst outcome among the feeds that decide: those asked for, or else those without a fault.
    #[serde(default)]
    pub outcome: Option<Outcome>,
    /// How sure that is; `cannot-tell` where every feed that can be told holds and one can't be told.
    #[serde(default)]
    pub outcome_is: Option<Sureness>,
    /// The feed with that outcome, or the one that can't be told; `null` when it holds.
    #[serde(default)]
    pub worst_feed: Option<String>,
    /// One sentence.
    pub verdict: String,
    /// The diagnosis, a sentence each, with its figures.
    #[serde(default)]
    pub why: Vec<String>,
    /// The advice, a sentence each, with the figures before and after.
    #[serde(default)]
    pub what_now: Vec<String>,
    /// Exact figures of the full band.
    pub broadband: Broadband,
    /// Loudness; `null` where it was not measured.
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
    /// The take itself, to be read again by our own programs; `null` where it was left out.
    #[serde(default)]
    pub stored: Option<Take>,
}

/// Loudness of a take (ITU-R BS.1770, gated as in EBU R 128).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoudnessReport {
    /// Integrated loudness of both channels, LUFS.
    pub stereo_lufs: Option<f64>,
    /// Integrated loudness of the mono wedge, counted as played by both loudspeakers, LUFS.
    pub wedge_lufs: Option<f64>,
    /// Change by summing, LU.
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
    /// Delay of the right channel, ms; negative when the left one is later.
    pub right_late_ms: f64,
    /// The common part of the channels has opposite signs: one channel has its polarity inverted, or there is a strong
    /// wet with channels that cancel. This figure can't tell which.
    pub opposite_signs: bool,
    /// Confidence, 0 to 1.
    pub confidence: f64,
}

/// How dry and wet were told apart.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SplitReport {
    /// `estimated`, `two-pass` or `side-chain`.
    pub method: Method,
    /// The method's limits.
    pub limits: String,
    /// How far down a cancelled dry can be read, dB; `null` without such a floor.
    pub floor_db: Option<f64>,
    /// Wet over dry power in stereo, dB.
    pub wet_over_dry_db: Option<f64>,
    /// Range of an estimated `wet_over_dry_db`, dB: at least and at most, `null` for an open end; `null` altogether
    /// where dry and wet were measured.
    #[serde(default)]
    pub range_db: Option<[Option<f64>; 2]>,
    /// The kind of preset set by the player.
    #[serde(default)]
    pub kind: PresetKind,
    /// What closed the wet's interval: `one-way`, `muted-end` or `kind`; `null` where nothing closed it, or all was
    /// measured.
    #[serde(default)]
    pub closed_by: Option<Closed>,
    /// Why a figure is missing.
    #[serde(default, skip_serializing_if = "Words::is_empty")]
    pub words: Words,
}

/// One 1/3-octave band.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BandReport {
    /// Nominal centre (ISO 266), Hz.
    pub nominal_hz: f64,
    /// Exact lower edge, Hz.
    pub lower_hz: f64,
    /// Exact upper edge, Hz; half the sample rate where the band is truncated there.
    pub upper_hz: f64,
    /// Whether half the sample rate lies inside the band, so that part of it is missing.
    pub partial: bool,
    /// Whether the band is at least three FFT bins wide; otherwise its figures leak into its neighbours.
    pub resolved: bool,
    /// Correlation at lag zero, −1 to +1.
    pub correlation: Option<f64>,
    /// Magnitude-squared coherence, 0 to 1, bias removed.
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
    /// Stable id.
    pub id: FeedId,
    /// The name people read.
    pub name: String,
    /// The outcome, plain or likely; `null` where it can't be told, or where there is too little sound.
    pub outcome: Option<Outcome>,
    /// Whether the outcome is plain; `null` where there is too little sound.
    pub outcome_is: Option<Sureness>,
    /// The other possible outcome, where it is only likely.
    pub outcome_other: Option<Outcome>,
    /// Wetter or drier, plain or likely; `null` where it can't be told, or where there is no wet or no dry by itself.
    pub balance: Option<Balance>,
    /// Whether `balance` is plain; `null` where there is no balance to judge.
    pub balance_is: Option<Sureness>,
    /// The other possible balance.
    pub balance_other: Option<Balance>,
    /// Interval of the dry's change, and how it is known.
    pub dry: Option<IntervalReport>,
    /// Interval of the wet's change, and how it is known.
    pub wet: Option<IntervalReport>,
    /// Interval of the balance shift, and how it is known.
    pub shift: Option<IntervalReport>,
    /// Change of the wet if the effects were ordinary stereo, dB: an assumption. `null` where the change is known.
    pub wet_if_ordinary_db: Option<f64>,
    /// For a feed with a fault on one line: the line on which the fault is worse.
    pub worse_line: Option<Side>,
    /// Likely change of the dry from stereo, dB, without the gain that the desk can make up.
    pub dry_db: Option<f64>,
    /// Whether the dry is at the estimate's floor: it is *at least* this far down, and the balance shift at least that
    /// much.
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
    /// Change of the dry from the mono sum without the fault, dB.
    pub dry_against_mono_db: Option<f64>,
    /// Change of everything from the mono sum without the fault, dB.
    pub total_against_mono_db: Option<f64>,
    /// Gain to make up at the desk, dB.
    pub makeup_db: Option<f64>,
    /// Level change from stereo, K-weighted (ITU-R BS.1770), without make-up gain, LU.
    pub level_lu: Option<f64>,
    /// Tone change of the dry, dB rms over 1/3-octave bands.
    pub tone_db: Option<f64>,
    /// Changes of the dry's partials relative to each other, dB rms.
    #[serde(default)]
    pub partials_db: Option<f64>,
    /// Centre of the 1/24 octave with the deepest dip, Hz; `null` without a dip of at least one decibel.
    pub dip_hz: Option<f64>,
    /// Its depth relative to the feed's own total, dB; negative.
    pub dip_db: Option<f64>,
    /// Why a figure is missing, and the meaning of the floor.
    #[serde(default, skip_serializing_if = "Words::is_empty")]
    pub words: Words,
}

/// How sure an outcome or a balance is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sureness {
    /// The whole interval gives the same word.
    Plain,
    /// The interval also gives one other word.
    Likely,
    /// The interval gives more than two words.
    CannotTell,
}

impl Sureness {
    /// The name people read.
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

/// Both ends of a figure's interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct IntervalReport {
    /// `measured`, `bounded` or `assumed`.
    pub known: Known,
    /// Lower end, dB; `null` if open.
    pub least_db: Option<f64>,
    /// Upper end, dB; `null` if open.
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
    // serde_json fails only on maps with keys that aren't strings and on failing writers; there are neither.
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

/// Collects an object's `words` while its fields are filled.
#[derive(Default)]
struct Collector(Words);

impl Collector {
    /// Returns the number, or `None` and adds a word: `missing` for no number at all, `low` for −∞, `high` for +∞.
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

/// Rounds to a millionth, far below the accuracy of any figure; −0 becomes 0.
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

/// Level below which a band has no correlation, dBFS: the noise of 16-bit audio lies above it, that of 24-bit audio
/// below.
pub const BAND_FLOOR_DBFS: f64 = -120.0;

fn bands(take: &Take) -> Vec<BandReport> {
    let grid = take.grid();
    let map = BandMap::thirds(&grid);
    let total = &take.split.total;
    // A take's cells don't show the width of the bins they were made from.
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
    // Without a score there was no sound; with one, a missing part isn't in the sound.
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
