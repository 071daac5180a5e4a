//! The JSON form, version 1, as serde structs. `SCHEMA.md` describes it for readers of other languages.
//!
//! Numbers are plain, so that any tool can sort them. Where there is no number the field is `null` and the object's
//! `words` says why, under the field's name.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use sumproof_core::advice::{Advice, Wishes, advise};
use sumproof_core::bands::BandMap;
use sumproof_core::board::{FEEDS, Rig, Row};
use sumproof_core::db;
use sumproof_core::diagnosis::Diagnosis;
use sumproof_core::feed::{FeedId, Side};
use sumproof_core::grid::{Grid, block_len};
use sumproof_core::line::Polarity;
use sumproof_core::outcome::Outcome;
use sumproof_core::score::FeedScore;
use sumproof_core::split::Method;
use sumproof_core::take::{Pass, Take};

use crate::{text, verdict, without_rumble};

/// The version of the form. It goes up when a field changes its meaning or goes away, not when one is added.
pub const SCHEMA: u32 = 1;

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
    /// One entry per take.
    pub takes: Vec<TakeReport>,
}

/// Everything about one take.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TakeReport {
    /// Its name.
    pub name: String,
    /// Which pass it is.
    pub pass: Pass,
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Length, seconds.
    pub seconds: f64,
    /// Frames measured.
    pub frames: u64,
    /// Frames left out because they were not numbers or above +60 dBFS.
    pub garbage_frames: u64,
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
    /// The single delay between the channels; `null` where there isn't one.
    pub channel_delay: Option<Delay>,
    /// How dry and wet were told apart.
    pub split: SplitReport,
    /// 1/3-octave bands (IEC 61260-1, base 10).
    pub bands: Vec<BandReport>,
    /// Every feed.
    pub feeds: Vec<FeedReport>,
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
    /// `null` where there is too little sound.
    pub outcome: Option<Outcome>,
    /// For a feed with a fault on one line: the line that was the worse one to have it.
    pub worse_line: Option<Side>,
    /// Change of the dry from stereo, gain to make up taken out, dB.
    pub dry_db: Option<f64>,
    /// The dry is at the estimate's floor: it is *at least* this far down, and the balance shift at least that much.
    pub dry_at_floor: bool,
    /// Change of the wet, dB.
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
    /// Tone change, dB rms over 1/3-octave bands.
    pub tone_db: Option<f64>,
    /// Middle of the 1/24 octave of the deepest dip, Hz; `null` without a dip of a decibel.
    pub dip_hz: Option<f64>,
    /// Its depth against the feed's own total, dB; negative.
    pub dip_db: Option<f64>,
    /// Why a figure is missing, and what the floor means.
    #[serde(default, skip_serializing_if = "Words::is_empty")]
    pub words: Words,
}

/// The document of several takes, as JSON text with line breaks.
#[must_use]
pub fn json(takes: &[Take], rig: &Rig) -> String {
    let document = Document {
        schema: SCHEMA,
        version: env!("CARGO_PKG_VERSION").into(),
        rig: *rig,
        takes: takes.iter().map(|take| report(take, rig)).collect(),
    };
    // Only maps with keys that aren't strings and failing writers make serde_json fail; there are neither.
    serde_json::to_string_pretty(&document).unwrap_or_default()
}

/// The diagnosis in sentences; none for a take stored without one.
pub(crate) fn why(take: &Take) -> Vec<String> {
    take.diagnosis
        .as_ref()
        .map_or_else(Vec::new, Diagnosis::sentences)
}

/// The advice in sentences; none in silence.
pub(crate) fn what_now(take: &Take) -> Vec<String> {
    if db::from_power(take.sums.mean_power()) <= db::NO_READING_DBFS {
        return Vec::new();
    }
    advise(
        &take.split,
        &take.grid(),
        take.delay,
        take.diagnosis.as_ref(),
        &Wishes::default(),
    )
    .iter()
    .map(Advice::sentence)
    .collect()
}

/// The report of one take.
#[must_use]
pub fn report(take: &Take, rig: &Rig) -> TakeReport {
    let rows = take.rows(rig, 0.0);
    let heard = rows.iter().any(|row| row.score.is_some());
    TakeReport {
        name: take.name.clone(),
        pass: take.pass,
        rate_hz: take.rate_hz,
        seconds: rounded(take.seconds()),
        frames: take.sums.frames,
        garbage_frames: take.garbage_frames,
        verdict: verdict::of_rows(&crate::shown(&rows, rig)),
        why: why(take),
        what_now: what_now(take),
        broadband: broadband(take),
        channel_delay: take.delay.map(|delay| Delay {
            right_late_ms: rounded(delay.delay_s * 1000.0),
            opposite_signs: delay.polarity == Polarity::Flipped,
            confidence: rounded(delay.confidence),
        }),
        split: split(take, heard),
        bands: bands(take),
        feeds: feeds(take, rig, &rows),
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

const LEVEL: [&str; 3] = [text::NO_READING, text::GONE, text::NO_READING];

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
            [text::NO_READING, "left silent", "right silent"],
        ),
        words: words.0,
    }
}

fn split(take: &Take, heard: bool) -> SplitReport {
    let mut words = Collector::default();
    SplitReport {
        method: take.method(),
        limits: text::method(take.method()).into(),
        floor_db: take.method().floor_db(),
        wet_over_dry_db: words.figure(
            "wet_over_dry_db",
            take.split.wet_over_dry_db().filter(|_| heard),
            [text::NO_READING, "no wet found", "no dry found"],
        ),
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

fn feeds(take: &Take, rig: &Rig, rows: &[Row; FEEDS]) -> Vec<FeedReport> {
    let limited = without_rumble(take, rig, rows);
    rows.iter()
        .zip(limited)
        .map(|(row, limited)| feed(row, limited))
        .collect()
}

fn feed(row: &Row, limited: Option<f64>) -> FeedReport {
    let score = row.score.as_ref();
    // Without a score nothing was heard; with one, a missing part isn't in the sound.
    let absent = if score.is_some() {
        text::NOT_FOUND
    } else {
        text::NO_READING
    };
    let part = [absent, text::GONE, text::ONLY_WET];
    let of = |get: fn(&FeedScore) -> Option<f64>| score.and_then(get);
    let mut words = Collector::default();
    let floor = score.is_some_and(|score| score.dry_at_floor);
    let report = FeedReport {
        id: row.id,
        name: row.id.name().into(),
        outcome: row.outcome,
        worse_line: row.worse,
        dry_db: words.figure("dry_db", of(|s| s.dry_db), part),
        dry_at_floor: floor,
        wet_db: words.figure("wet_db", of(|s| s.wet_db), part),
        total_db: words.figure("total_db", of(|s| Some(s.total_db)), part),
        total_above_40_hz_db: limited
            .and_then(|limited| words.figure("total_above_40_hz_db", Some(limited), part)),
        balance_shift_db: words.figure(
            "balance_shift_db",
            of(|s| s.balance_shift_db),
            [absent, "only dry", text::ONLY_WET],
        ),
        dry_against_mono_db: words.figure("dry_against_mono_db", of(|s| s.dry_against_mono_db), part),
        total_against_mono_db: words.figure("total_against_mono_db", of(|s| s.total_against_mono_db), part),
        makeup_db: words.figure(
            "makeup_db",
            of(|s| Some(s.makeup_db)),
            [absent, text::GONE, text::NOTHING_ARRIVES],
        ),
        level_lu: words.figure("level_lu", of(|s| Some(s.level_lu)), part),
        tone_db: words.figure(
            "tone_db",
            of(|s| s.tone_db),
            ["cannot be told", text::GONE, text::GONE],
        ),
        dip_hz: of(|s| s.dip.map(|dip| rounded(dip.hz))),
        dip_db: of(|s| s.dip.map(|dip| rounded(dip.depth_db))),
        words: Words::new(),
    };
    if let (true, Some(db)) = (floor, report.dry_db) {
        words
            .0
            .insert("dry_db".into(), format!("at least {:.0} dB down", -db));
    }
    FeedReport {
        words: words.0,
        ..report
    }
}
