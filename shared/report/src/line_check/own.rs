//! The finding as the user's own feed in a rig file.

use sumproof_core::line_check::{Findings, Trust};
use sumproof_core::routing::feed::Feed;
use sumproof_core::routing::line::Line;

use crate::rig::file::{OwnFeed, RigFile, RigFileError, RigLine, parse, to_toml};

/// Comment above a feed that isn't sure.
const LIKELY: &str = "# As measured at a line check, and only likely.\n";

/// Why nothing was saved. Its text is one line.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotKnown {
    /// Too little was found.
    #[error(
        "what the lines do can't be told for certain enough to make a feed of it (polarity, delay, level and low end must all be told); nothing was saved"
    )]
    TooLittle,
    /// The existing file has an error.
    #[error("{0}")]
    Wrong(RigFileError),
}

/// The text of a rig file with the finding as its own feed. Everything else in `existing` is kept, comments included;
/// pass an empty text if there is no file yet.
///
/// # Errors
/// [`NotKnown`] if too little was found, or if `existing` isn't a rig file.
pub fn save(existing: &str, finding: &Findings, name: &str) -> Result<String, NotKnown> {
    let feed = finding.own_feed().ok_or(NotKnown::TooLittle)?;
    put(
        existing,
        own(&feed, name),
        finding.feed_trust() == Some(Trust::Likely),
    )
}

/// The same for a finding from which [`save`] has already made a rig file: its feed goes into `existing` under another
/// name.
///
/// # Errors
/// As [`save`].
pub fn save_again(existing: &str, measured: &str, name: &str) -> Result<String, NotKnown> {
    let own = parse(measured)
        .map_err(NotKnown::Wrong)?
        .own
        .ok_or(NotKnown::TooLittle)?;
    put(
        existing,
        OwnFeed {
            name: cut(name),
            ..own
        },
        measured.contains(LIKELY),
    )
}

fn put(existing: &str, own: OwnFeed, likely: bool) -> Result<String, NotKnown> {
    let before = parse(existing).map_err(NotKnown::Wrong)?;
    let alone = to_toml(&RigFile {
        own: Some(own.clone()),
        ..RigFile::default()
    });
    let mut section = String::from(if likely { LIKELY } else { "" });
    section.extend(
        sections(&alone)
            .filter(|(name, _)| is_own(name))
            .map(|(_, text)| text),
    );
    let mut merged: String = sections(existing)
        .filter(|(name, _)| !is_own(name))
        .map(|(_, text)| text)
        .collect();
    if !merged.is_empty() {
        merged.truncate(merged.trim_end().len());
        merged.push_str("\n\n");
    }
    merged.push_str(section.trim_start());
    let wanted = RigFile {
        own: Some(own),
        ..before
    };
    match parse(&merged) {
        Ok(found) if found == wanted => Ok(merged),
        // The own feed isn't under a heading of its own (an inline table): the same content is written anew.
        _ => Ok(to_toml(&wanted)),
    }
}

fn own(feed: &Feed, name: &str) -> OwnFeed {
    OwnFeed {
        name: cut(name),
        ending: feed.ending,
        low_pass_hz: feed.low_pass_hz,
        left: line(&feed.left),
        right: line(&feed.right),
    }
}

fn cut(name: &str) -> String {
    name.chars().take(crate::rig::file::lengths::NAME).collect()
}

fn line(line: &Line) -> RigLine {
    // Rounded to the precision of the measurement.
    let rounded = |x: f64, digits: f64| (x * digits).round() / digits;
    RigLine {
        polarity: line.polarity,
        gain_db: rounded(line.gain_db, 100.0),
        delay_ms: rounded(1000.0 * line.delay_s, 10_000.0),
        high_pass_hz: (line.high_pass_hz[0] > 0.0).then(|| rounded(line.high_pass_hz[0], 10.0)),
        unplugged: line.unplugged,
        ..RigLine::default()
    }
}

fn is_own(section: &str) -> bool {
    section == "own" || section.starts_with("own.")
}

/// The text before the first heading, then each heading with the text below it. Comments right above a heading belong
/// to it.
fn sections(text: &str) -> impl Iterator<Item = (String, String)> {
    let mut sections = vec![(String::new(), String::new())];
    let mut waiting = String::new();
    for line in text.split_inclusive('\n') {
        let trimmed = line.trim();
        if trimmed.is_empty() || trimmed.starts_with('#') {
            waiting.push_str(line);
            continue;
        }
        if let Some(name) = trimmed.strip_prefix('[').and_then(|rest| rest.split(']').next())
            && !trimmed.starts_with("[[")
            && !trimmed.contains('=')
        {
            sections.push((name.trim().to_owned(), String::new()));
        }
        if let Some((_, text)) = sections.last_mut() {
            text.push_str(&waiting);
            text.push_str(line);
        }
        waiting.clear();
    }
    if let Some((_, text)) = sections.last_mut() {
        text.push_str(&waiting);
    }
    sections.into_iter()
}
