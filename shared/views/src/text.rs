//! The contents of the window as text.

use crate::board::{full_name, is_shown};
use crate::data::snapshot::{Hearing, Snapshot};
use crate::panels::takes::set::lines::{loudness, middle};
use crate::sentence::Sentence;
use sumproof_wording::Name;
use sumproof_wording::channels;
use sumproof_wording::methods::{ask, told_apart};
use sumproof_wording::numbers::{correlation, duration};
use sumproof_wording::phrase;
use sumproof_wording::scores::spoken;
use sumproof_wording::sets;

/// The readings as plain text for the clipboard, a line each.
#[must_use]
pub fn as_text(snapshot: &Snapshot) -> String {
    let mut sentence = Sentence::default();
    sentence.set_one_flipped(snapshot.settings.one_flipped());
    sentence.update(&snapshot.reading, snapshot.history.ever_heard(), 0.0);
    let mut lines = vec![String::from(sentence.text()), String::new()];
    let of_what = phrase::of_what(&snapshot.reading.phrase, snapshot.settings.integration.over());
    if !of_what.is_empty() {
        lines.push(format!("Of {of_what}."));
    }
    match snapshot.hearing {
        Hearing::Stereo => {}
        Hearing::Feed(id) => lines.push(format!("Being heard: {}.", id.name())),
        Hearing::Held => lines.push("Nothing passes: the line check holds the sound back.".into()),
        Hearing::Test => lines.push("The line check\u{2019}s test signal goes out.".into()),
        Hearing::Loaded => lines.push("The project was saved with the audition on; stereo passes.".into()),
        Hearing::HeldBack => lines.push(sumproof_wording::hearing::HELD_BACK.into()),
    }
    let said = |row: &sumproof_core::score::board::Row| spoken(row, full_name(snapshot, row.id));
    let worst = snapshot.reading.worst;
    let rows = snapshot.reading.rows.iter().zip(worst);
    let rows = rows.filter(|(row, _)| is_shown(snapshot, row.id));
    lines.extend(
        rows.map(|(row, worst)| {
            said(row) + &worst.map_or_else(String::new, sumproof_wording::scores::at_worst)
        }),
    );
    lines.push(String::new());
    lines.push(match snapshot.history.now() {
        Some(now) => format!("Correlation {}.", correlation(f64::from(now))),
        None => "Correlation: no reading.".into(),
    });
    lines.push(channels::between(&snapshot.reading));
    lines.push(told_apart(&snapshot.reading));
    lines.extend(snapshot.reading.asks_for.map(|asked| String::from(ask(asked))));
    lines.extend(snapshot.side_chain.map(|side_chain| side_chain.sentence()));
    lines.extend(snapshot.why.iter().cloned());
    lines.extend(snapshot.what_now.iter().cloned());
    if let Some(found) = &snapshot.check.found {
        lines.push(String::new());
        lines.push(format!("Line check: {}", found.sentence));
        lines.extend(found.lines.iter().map(|(label, text)| format!("{label}: {text}")));
    }
    for take in &snapshot.takes {
        lines.push(String::new());
        lines.push(format!(
            "Take {}, {}, {} pass",
            take.name,
            duration(take.seconds),
            take.pass.name()
        ));
        if take.failed {
            lines.push("It failed its check.".into());
        }
        let [stereo, wedge] = loudness(take);
        lines.extend(stereo.map(|lufs| sets::loudness(lufs, wedge) + "."));
        lines.extend(channels::gaps(take.gaps));
        lines.extend(take.rows.iter().map(said));
    }
    if let Some([stereo, wedge]) = middle(&snapshot.takes) {
        lines.push(String::new());
        lines.push(sets::middle(&stereo, &wedge) + ".");
    }
    lines.join("\n") + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn silence_as_text_names_every_feed_and_claims_nothing() {
        let text = as_text(&Snapshot::default());
        // All feeds but the player's own, which is not set up.
        assert_eq!(text.matches(": no reading\n").count(), 12);
        assert!(text.starts_with("Play something."));
        assert!(text.contains("Correlation: no reading."));
    }
}
