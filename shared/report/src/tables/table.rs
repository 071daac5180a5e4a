//! The readable table of one take.

use std::fmt::Write;

use sumproof_core::routing::feed::SumLaw;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Take;
use sumproof_wording::Name;
use sumproof_wording::channels;
use sumproof_wording::methods;
use sumproof_wording::numbers::hertz;
use sumproof_wording::scores;

use crate::judge::judged::{FeedRow, Judged};
use crate::judge::set::View;
use crate::names;
use crate::tables::columns::{columns, stroke};

const HEADINGS: [&str; 11] = [
    "",
    "outcome",
    "feed",
    "dry dB",
    "wet dB",
    "total dB",
    "balance dB",
    "make up dB",
    "level LU",
    "tone dB",
    "deepest dip",
];
/// Columns from here on hold figures and are set flush right.
const FIRST_FIGURE: usize = 3;

/// The table of a take for a rig: the verdict, the exact broadband figures, every feed, and what the figures are against.
/// Lines end in `\n`; widths fit the contents, so it is set in a fixed pitch.
#[must_use]
pub fn table(take: &Take, rig: &Rig) -> String {
    table_of(&Judged::of_take(take, &View::from(rig)))
}

/// The same for a preset that has been judged, with its loudness if that was measured.
#[must_use]
pub fn table_of(preset: &Judged<'_>) -> String {
    let mut out = String::new();
    // Writing into a string can't fail.
    let _ = write_head(&mut out, preset);
    let _ = write_rows(&mut out, &preset.rows);
    let _ = write_recommendations(&mut out, preset);
    let _ = write_notes(&mut out, preset);
    out
}

fn write_head(out: &mut String, preset: &Judged<'_>) -> std::fmt::Result {
    let take = preset.take;
    writeln!(
        out,
        "{}: {:.2} s at {} kHz, {} pass",
        names::line(&take.name),
        take.seconds(),
        take.rate_hz / 1000.0,
        take.pass.name()
    )?;
    writeln!(out, "{}", preset.verdict)?;
    writeln!(out)?;
    let sums = &take.sums;
    let figure = |value: Option<f64>, decimals: usize| {
        value.map_or(scores::NO_READING.to_string(), |value| {
            scores::figure(value, decimals)
        })
    };
    let in_db = |value: Option<f64>| {
        let text = figure(value, 2);
        if text.ends_with(|c: char| c.is_ascii_digit()) {
            format!("{text} dB")
        } else {
            text
        }
    };
    writeln!(
        out,
        "correlation        {}; it alone decides nothing: a padded line correlates like a good one",
        figure(sums.correlation(), 3)
    )?;
    writeln!(out, "sum difference     {}", in_db(sums.sum_difference_db()))?;
    writeln!(
        out,
        "  one line flipped {} (both exact, average sum against the mean power of both channels)",
        in_db(sums.flipped_difference_db())
    )?;
    writeln!(
        out,
        "level difference   {}",
        channels::level_difference(sums.level_difference_db())
    )?;
    if let Some(loudness) = preset.loudness {
        let lufs = |value: f64| {
            if value.is_finite() {
                format!("{value:.2} LUFS")
            } else {
                scores::NO_READING.into()
            }
        };
        let peak = |value: f64| {
            if value.is_finite() {
                format!("{value:+.2} dBTP")
            } else {
                scores::NO_READING.into()
            }
        };
        writeln!(
            out,
            "loudness           stereo {}, mono wedge {} (counted as played by both loudspeakers)",
            lufs(loudness.stereo_lufs),
            lufs(loudness.wedge_lufs)
        )?;
        writeln!(
            out,
            "true peak          stereo {}, mono wedge {}",
            peak(loudness.stereo_peak_dbtp),
            peak(loudness.wedge_peak_dbtp)
        )?;
    }
    writeln!(out, "channel delay      {}", channels::delay(take.delay))?;
    if take.invalid_frames > 0 {
        writeln!(
            out,
            "left out           {} frames that were not numbers or above +60 dBFS",
            take.invalid_frames
        )?;
    }
    if let Some(gaps) = channels::gaps(take.gaps) {
        writeln!(out, "gaps               {gaps}")?;
    }
    let heard = preset.wedge.score.is_some();
    let balance = match take.split.wet_over_dry_db().filter(|_| heard) {
        None => scores::NO_READING.to_string(),
        Some(db) if db == f64::INFINITY => "no dry found".into(),
        Some(db) if db == f64::NEG_INFINITY => "no wet found".into(),
        Some(db) => {
            let near = methods::range(&take.split).map_or(String::new(), |range| format!(" ({range})"));
            format!("wet {db:+.1} dB against dry in stereo{near}")
        }
    };
    writeln!(out, "dry and wet        {balance}")?;
    writeln!(out, "                   {}", methods::limits(take.method()))?;
    writeln!(out)
}

fn cells(feed: &FeedRow) -> [String; HEADINGS.len()] {
    let row = &feed.row;
    let Some(score) = row.score else {
        let mut cells = <[String; HEADINGS.len()]>::default();
        cells[1] = scores::NO_READING.into();
        cells[2] = feed.label.clone();
        return cells;
    };
    [
        row.outcome.map_or("", stroke).into(),
        scores::word(row),
        feed.label.clone(),
        scores::dry(&score),
        scores::wet(&score),
        scores::change(Some(score.total_db)),
        scores::balance(&score),
        scores::makeup(&score),
        scores::change(Some(score.level_lu)),
        score.tone_db.map_or("-".into(), |db| format!("{db:.1}")),
        score.dip.map_or("-".into(), |dip| {
            format!("{:.1} at {}", dip.depth_db, hertz(dip.hz))
        }),
    ]
}

fn write_rows(out: &mut String, rows: &[FeedRow]) -> std::fmt::Result {
    let mut lines = vec![HEADINGS.map(String::from)];
    lines.extend(rows.iter().map(cells));
    out.push_str(&columns(&lines, FIRST_FIGURE));
    writeln!(out)
}

fn write_recommendations(out: &mut String, preset: &Judged<'_>) -> std::fmt::Result {
    for (heading, sentences) in [("Why:", &preset.why), ("What now:", &preset.what_now)] {
        if sentences.is_empty() {
            continue;
        }
        writeln!(out, "{heading}")?;
        for sentence in sentences {
            writeln!(out, "  {sentence}")?;
        }
        writeln!(out)?;
    }
    Ok(())
}

fn write_notes(out: &mut String, preset: &Judged<'_>) -> std::fmt::Result {
    let rig = &preset.view.rig;
    let law = match rig.law {
        SumLaw::Average => "the average of both lines",
        SumLaw::Minus3Db => "both lines 3.01 dB down, added",
        SumLaw::Unity => "both lines added as they are",
    };
    writeln!(
        out,
        "dry, wet, total: change from stereo (mean power of both channels), the gain to make up taken out. A sum is {law}."
    )?;
    writeln!(out, "balance: wet change minus dry change; positive is wetter.")?;
    writeln!(
        out,
        "level: K-weighted (ITU-R BS.1770) against stereo, nothing made up; a mono feed counts as played by both loudspeakers."
    )?;
    writeln!(
        out,
        "tone: rms over 1/3-octave bands of the sum difference, its mean taken out. dip: against the feed's own total."
    )?;
    writeln!(
        out,
        "Where a fault is on one line, either was tried: the one named is the worse. Limits: dry holds to {:.1}, drops out \
         below {:.1} dB; balance {:+.1} to {:+.1} dB; tone {:.1} dB.",
        rig.limits.dry_holds_db,
        rig.limits.dry_drops_out_db,
        rig.limits.drier_db,
        rig.limits.wetter_db,
        rig.limits.tone_db
    )?;
    for feed in &preset.rows {
        if let Some(limited) = feed.above_40_hz_db {
            writeln!(
                out,
                "Above 40 Hz the total of '{}' is {} dB: what lies below decides the figure in the table.",
                feed.label.clone(),
                scores::change(Some(limited))
            )?;
        }
    }
    Ok(())
}
