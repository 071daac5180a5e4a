//! The readable table of one take.

use std::fmt::Write;

use sumproof_core::board::{FEEDS, Rig, Row};
use sumproof_core::feed::SumLaw;
use sumproof_core::take::Take;

use crate::{schema, shown, text, verdict, without_rumble};

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
    let rows = take.rows(rig, 0.0);
    let shown_rows = shown(&rows, rig);
    let mut out = String::new();
    // Writing into a string can't fail.
    let _ = write_head(&mut out, take, &shown_rows);
    let _ = write_rows(&mut out, &shown_rows);
    let _ = write_counsel(&mut out, take);
    let _ = write_notes(&mut out, take, rig, &rows);
    out
}

fn write_head(out: &mut String, take: &Take, rows: &[Row]) -> std::fmt::Result {
    writeln!(
        out,
        "{}: {:.2} s at {} kHz, {} pass",
        take.name,
        take.seconds(),
        take.rate_hz / 1000.0,
        take.pass.name()
    )?;
    writeln!(out, "{}", verdict::of_rows(rows))?;
    writeln!(out)?;
    let sums = &take.sums;
    let figure = |value: Option<f64>, decimals: usize| {
        value.map_or(text::NO_READING.to_string(), |value| {
            text::signed(value, decimals).unwrap_or_else(|word| word.into())
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
        text::level_difference(sums.level_difference_db())
    )?;
    writeln!(out, "channel delay      {}", text::delay(take.delay))?;
    if take.garbage_frames > 0 {
        writeln!(
            out,
            "left out           {} frames that were not numbers or above +60 dBFS",
            take.garbage_frames
        )?;
    }
    let heard = rows.iter().any(|row| row.score.is_some());
    let balance = match take.split.wet_over_dry_db().filter(|_| heard) {
        None => text::NO_READING.to_string(),
        Some(db) if db == f64::INFINITY => "no dry found".into(),
        Some(db) if db == f64::NEG_INFINITY => "no wet found".into(),
        Some(db) => format!("wet {db:+.1} dB against dry in stereo"),
    };
    writeln!(out, "dry and wet        {balance}")?;
    writeln!(out, "                   {}", text::method(take.method()))?;
    writeln!(out)
}

fn cells(row: &Row) -> [String; HEADINGS.len()] {
    let Some((score, outcome)) = row.score.zip(row.outcome) else {
        let mut cells = <[String; HEADINGS.len()]>::default();
        cells[1] = text::NO_READING.into();
        cells[2] = text::feed(row);
        return cells;
    };
    [
        text::stroke(outcome).into(),
        outcome.name().into(),
        text::feed(row),
        text::dry(&score),
        text::change(score.wet_db),
        text::change(Some(score.total_db)),
        text::balance(&score),
        text::makeup(&score),
        text::change(Some(score.level_lu)),
        score.tone_db.map_or("-".into(), |db| format!("{db:.1}")),
        score.dip.map_or("-".into(), |dip| {
            format!("{:.1} at {}", dip.depth_db, text::frequency(dip.hz))
        }),
    ]
}

fn write_rows(out: &mut String, rows: &[Row]) -> std::fmt::Result {
    let mut lines = vec![HEADINGS.map(String::from)];
    lines.extend(rows.iter().map(cells));
    let widths: [usize; HEADINGS.len()] = core::array::from_fn(|column| {
        lines
            .iter()
            .map(|line| line[column].chars().count())
            .max()
            .unwrap_or(0)
    });
    for line in &lines {
        let mut text = String::new();
        for (column, (cell, &width)) in line.iter().zip(&widths).enumerate() {
            if column < FIRST_FIGURE {
                write!(text, "{cell:<width$}  ")?;
            } else {
                write!(text, "{cell:>width$}  ")?;
            }
        }
        writeln!(out, "{}", text.trim_end())?;
    }
    writeln!(out)
}

fn write_counsel(out: &mut String, take: &Take) -> std::fmt::Result {
    for (heading, sentences) in [("Why:", schema::why(take)), ("What now:", schema::what_now(take))] {
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

fn write_notes(out: &mut String, take: &Take, rig: &Rig, rows: &[Row; FEEDS]) -> std::fmt::Result {
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
    for (row, limited) in rows.iter().zip(without_rumble(take, rig, rows)) {
        if let Some(limited) = limited {
            writeln!(
                out,
                "Above 40 Hz the total of '{}' is {} dB: what lies below decides the figure in the table.",
                text::feed(row),
                text::change(Some(limited))
            )?;
        }
    }
    Ok(())
}
