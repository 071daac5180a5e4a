//! A set as comma-separated values: a line per preset and feed.
//!
//! Figures are plain numbers; a cell without a figure holds the corresponding entry of the JSON's `words`.

use crate::formats::schema::{FeedReport, IntervalReport, Sureness, TakeReport, Words, report_of};
use crate::judge::judged::Judged;
use crate::names;
use sumproof_core::score::outcome::Outcome;
use sumproof_wording::{Name, scores};

const HEADINGS: [&str; 44] = [
    "preset",
    "file",
    "pass",
    "rate_hz",
    "seconds",
    "preset_outcome",
    "worst_feed",
    "correlation",
    "sum_difference_db",
    "flipped_sum_difference_db",
    "level_difference_db",
    "right_late_ms",
    "split",
    "wet_over_dry_db",
    "stereo_lufs",
    "wedge_lufs",
    "change_lu",
    "stereo_peak_dbtp",
    "wedge_peak_dbtp",
    "feed",
    "feed_name",
    "outcome",
    "worse_line",
    "dry_db",
    "wet_db",
    "total_db",
    "balance_shift_db",
    "dry_against_mono_db",
    "makeup_db",
    "level_lu",
    "tone_db",
    "dip_hz",
    "dip_db",
    "outcome_is",
    "outcome_other",
    "balance",
    "balance_is",
    "dry_least_db",
    "dry_most_db",
    "wet_least_db",
    "wet_most_db",
    "shift_least_db",
    "shift_most_db",
    "partials_db",
];

/// The set as comma-separated values (RFC 4180: lines end in CR LF); the first line holds the headings.
#[must_use]
pub fn csv(presets: &[Judged<'_>]) -> String {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    // A writer into memory doesn't fail, and every record has as many cells as the first.
    let _ = writer.write_record(HEADINGS);
    for preset in presets {
        let take = report_of(preset);
        for feed in &take.feeds {
            let _ = writer.write_record(cells(&take, feed));
        }
    }
    writer
        .into_inner()
        .ok()
        .and_then(|bytes| String::from_utf8(bytes).ok())
        .unwrap_or_default()
}

fn cells(take: &TakeReport, feed: &FeedReport) -> [String; HEADINGS.len()] {
    let broadband = |name: &str, value| figure(value, &take.broadband.words, name);
    let loudness = |name: &str, of: fn(&crate::formats::schema::LoudnessReport) -> Option<f64>| {
        take.loudness.as_ref().map_or(String::new(), |loudness| {
            figure(of(loudness), &loudness.words, name)
        })
    };
    let sure = |sure: Option<Sureness>| sure.map_or(String::new(), |sure| sure.name().into());
    let ends = |interval: Option<IntervalReport>| {
        interval.map_or([String::new(), String::new()], |interval| {
            [interval.least_db, interval.most_db].map(|end| end.map_or(String::new(), |db| db.to_string()))
        })
    };
    let [dry_least, dry_most] = ends(feed.dry);
    let [wet_least, wet_most] = ends(feed.wet);
    let [shift_least, shift_most] = ends(feed.shift);
    let of_feed = |name: &str, value| figure(value, &feed.words, name);
    [
        names::cell(&take.name),
        take.file.as_deref().map(names::cell).unwrap_or_default(),
        take.pass.id().into(),
        take.rate_hz.to_string(),
        take.seconds.to_string(),
        word(take.outcome, take.outcome_is),
        take.worst_feed.as_deref().map(names::cell).unwrap_or_default(),
        broadband("correlation", take.broadband.correlation),
        broadband("sum_difference_db", take.broadband.sum_difference_db),
        broadband(
            "flipped_sum_difference_db",
            take.broadband.flipped_sum_difference_db,
        ),
        broadband("level_difference_db", take.broadband.level_difference_db),
        take.channel_delay
            .map_or("no single delay".into(), |delay| delay.right_late_ms.to_string()),
        take.split.method.id().into(),
        figure(take.split.wet_over_dry_db, &take.split.words, "wet_over_dry_db"),
        loudness("stereo_lufs", |l| l.stereo_lufs),
        loudness("wedge_lufs", |l| l.wedge_lufs),
        loudness("change_lu", |l| l.change_lu),
        loudness("stereo_peak_dbtp", |l| l.stereo_peak_dbtp),
        loudness("wedge_peak_dbtp", |l| l.wedge_peak_dbtp),
        feed.id.id().into(),
        names::cell(&feed.name),
        word(feed.outcome, feed.outcome_is),
        feed.worse_line.map_or(String::new(), |side| side.id().into()),
        of_feed("dry_db", feed.dry_db),
        of_feed("wet_db", feed.wet_db),
        of_feed("total_db", feed.total_db),
        of_feed("balance_shift_db", feed.balance_shift_db),
        of_feed("dry_against_mono_db", feed.dry_against_mono_db),
        of_feed("makeup_db", feed.makeup_db),
        of_feed("level_lu", feed.level_lu),
        of_feed("tone_db", feed.tone_db),
        of_feed("dip_hz", feed.dip_hz),
        of_feed("dip_db", feed.dip_db),
        sure(feed.outcome_is),
        feed.outcome_other
            .map_or(String::new(), |outcome| outcome.name().into()),
        feed.balance
            .map_or(String::new(), |balance| balance.name().into()),
        sure(feed.balance_is),
        dry_least,
        dry_most,
        wet_least,
        wet_most,
        shift_least,
        shift_most,
        of_feed("partials_db", feed.partials_db),
    ]
}

fn figure(value: Option<f64>, words: &Words, name: &str) -> String {
    value.map_or_else(
        || words.get(name).cloned().unwrap_or_default(),
        |value| value.to_string(),
    )
}

/// An outcome, plain or likely: the columns of the intervals say which.
fn word(outcome: Option<Outcome>, sure: Option<Sureness>) -> String {
    let word = match (outcome, sure) {
        (Some(outcome), _) => outcome.name(),
        (None, Some(sure)) => sure.name(),
        (None, None) => scores::NO_READING,
    };
    String::from(word)
}
