//! The player's words for the rig card: those of a rig file's `[card]`, and the known figures of the outputs.

use core::ops::RangeInclusive;

use sumproof_core::routing::boxes::{Drive, Source, Whose, limits};
use sumproof_core::routing::feed::Side;

/// The player's words for the rig card. An empty field or `None` is a blank on the card, or 'ask me'.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CardWords {
    /// Who plays, at most [`CardWords::NAME`] characters.
    pub player: String,
    /// Name of the show, at most [`CardWords::SHORT`] characters.
    pub show: String,
    /// Its date, at most [`CardWords::SHORT`] characters.
    pub date: String,
    /// How to reach the player, at most [`CardWords::SHORT`] characters.
    pub contact: String,
    /// His position on stage, at most [`CardWords::SHORT`] characters.
    pub position: String,
    /// His monitor wish, at most [`CardWords::MONITOR`] characters.
    pub monitor: String,
    /// His instruments and processors, at most [`CardWords::RIG`] characters.
    pub rig: String,
    /// Name of the left line, at most [`CardWords::CARRIES`] characters.
    pub left: String,
    /// Name of the right line, at most [`CardWords::CARRIES`] characters.
    pub right: String,
    /// What plugs in at the desk, at most [`CardWords::SHORT`] characters.
    pub connector: String,
    /// Who brings the boxes.
    pub boxes: Option<Whose>,
    /// The line to use when there is room for only one.
    pub one_line: Option<Side>,
    /// Loud playing at an output with nothing connected, dBu rms, within [`limits::LEVEL_DBU`].
    pub level_dbu: Option<f64>,
    /// Highest peaks of the same playing, dBu, within [`CardWords::PEAK_DBU`].
    pub peak_dbu: Option<f64>,
    /// Impedance of each leg of an output, ohm, within [`limits::SOURCE_OHM`].
    pub impedance_ohm: Option<f64>,
    /// How the outputs drive their legs.
    pub drive: Option<Drive>,
    /// Further notes for the engineer, at most [`CardWords::NOTES`] of [`CardWords::NOTE`] characters.
    pub notes: Vec<String>,
    /// Presets to watch, at most [`CardWords::AT_RISKS`] of [`CardWords::AT_RISK`] characters.
    pub at_risk: Vec<String>,
}

impl CardWords {
    /// Longest player, characters.
    pub const NAME: usize = 60;
    /// Longest show, date, contact, position, connector, characters.
    pub const SHORT: usize = 30;
    /// Longest monitor wish, characters.
    pub const MONITOR: usize = 60;
    /// Longest rig, characters.
    pub const RIG: usize = 120;
    /// Longest name of a line, characters.
    pub const CARRIES: usize = 80;
    /// Longest note, characters.
    pub const NOTE: usize = 120;
    /// Most notes.
    pub const NOTES: usize = 4;
    /// Longest line about a preset at risk, characters.
    pub const AT_RISK: usize = 100;
    /// Most presets at risk.
    pub const AT_RISKS: usize = 128;
    /// Range of the peaks, dBu.
    pub const PEAK_DBU: RangeInclusive<f64> = -60.0..=36.0;

    /// The outputs with their known figures, and the defaults for the rest.
    #[must_use]
    pub fn source(&self) -> Source {
        let usual = Source::default();
        Source {
            level_dbu: self.level_dbu.unwrap_or(usual.level_dbu),
            peak_dbu: self.believed_peak_dbu(),
            impedance_ohm: self.impedance_ohm.unwrap_or(usual.impedance_ohm),
            drive: self.drive.unwrap_or(usual.drive),
        }
    }

    /// The peaks, dBu, where they are possible: `None` if they are below the level of the same playing.
    #[must_use]
    pub fn believed_peak_dbu(&self) -> Option<f64> {
        let level_dbu = self.level_dbu.unwrap_or(Source::default().level_dbu);
        self.peak_dbu.filter(|peak| *peak >= level_dbu)
    }

    /// The same with runs of white space made single, texts and lists cut to their limits, and numbers out of range
    /// removed.
    #[must_use]
    pub fn tidy(self) -> Self {
        let short = |text: &str| one_line(text, Self::SHORT);
        let number =
            |value: Option<f64>, range: RangeInclusive<f64>| value.filter(|value| range.contains(value));
        Self {
            player: one_line(&self.player, Self::NAME),
            show: short(&self.show),
            date: short(&self.date),
            contact: short(&self.contact),
            position: short(&self.position),
            monitor: one_line(&self.monitor, Self::MONITOR),
            rig: one_line(&self.rig, Self::RIG),
            left: one_line(&self.left, Self::CARRIES),
            right: one_line(&self.right, Self::CARRIES),
            connector: short(&self.connector),
            boxes: self.boxes,
            one_line: self.one_line,
            level_dbu: number(self.level_dbu, limits::LEVEL_DBU),
            peak_dbu: number(self.peak_dbu, Self::PEAK_DBU),
            impedance_ohm: number(self.impedance_ohm, limits::SOURCE_OHM),
            drive: self.drive,
            notes: lines(&self.notes, Self::NOTE, Self::NOTES),
            at_risk: lines(&self.at_risk, Self::AT_RISK, Self::AT_RISKS),
        }
    }

    /// The fields of `newer`; where one is empty, that of `self`.
    #[must_use]
    pub fn filled_from(self, newer: Self) -> Self {
        let text = |new: String, old: String| if new.is_empty() { old } else { new };
        let texts = |new: Vec<String>, old: Vec<String>| if new.is_empty() { old } else { new };
        Self {
            player: text(newer.player, self.player),
            show: text(newer.show, self.show),
            date: text(newer.date, self.date),
            contact: text(newer.contact, self.contact),
            position: text(newer.position, self.position),
            monitor: text(newer.monitor, self.monitor),
            rig: text(newer.rig, self.rig),
            left: text(newer.left, self.left),
            right: text(newer.right, self.right),
            connector: text(newer.connector, self.connector),
            boxes: newer.boxes.or(self.boxes),
            one_line: newer.one_line.or(self.one_line),
            level_dbu: newer.level_dbu.or(self.level_dbu),
            peak_dbu: newer.peak_dbu.or(self.peak_dbu),
            impedance_ohm: newer.impedance_ohm.or(self.impedance_ohm),
            drive: newer.drive.or(self.drive),
            notes: texts(newer.notes, self.notes),
            at_risk: texts(newer.at_risk, self.at_risk),
        }
    }
}

/// A text on one line, its white space made single, cut to `longest` characters.
fn one_line(text: &str, longest: usize) -> String {
    let words = text.split(|c: char| c.is_whitespace() || c.is_control());
    let single = words
        .filter(|word| !word.is_empty())
        .collect::<Vec<_>>()
        .join(" ");
    let cut: String = single.chars().take(longest).collect();
    String::from(cut.trim_end())
}

/// The lines that are not empty, each on one line.
fn lines(texts: &[String], longest: usize, most: usize) -> Vec<String> {
    let tidy = texts.iter().map(|text| one_line(text, longest));
    tidy.filter(|text| !text.is_empty()).take(most).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_comes_from_outside_is_made_to_fit() {
        let wild = CardWords {
            player: format!(" A\tguitarist\n{}", "x".repeat(100)),
            level_dbu: Some(f64::NAN),
            peak_dbu: Some(99.0),
            impedance_ohm: Some(100.0),
            notes: vec![String::from(" \n"); 3]
                .into_iter()
                .chain((0..9).map(|n| format!("note {n}")))
                .collect(),
            at_risk: vec![String::from("y"); 200],
            ..CardWords::default()
        };
        let tame = wild.tidy();
        assert!(tame.player.starts_with("A guitarist x"), "{}", tame.player);
        assert_eq!(tame.player.chars().count(), CardWords::NAME);
        assert_eq!(
            (tame.level_dbu, tame.peak_dbu, tame.impedance_ohm),
            (None, None, Some(100.0))
        );
        assert_eq!(tame.notes, ["note 0", "note 1", "note 2", "note 3"]);
        assert_eq!(tame.at_risk.len(), CardWords::AT_RISKS);
        assert_eq!(tame.clone().tidy(), tame);
    }

    #[test]
    fn a_file_that_says_less_takes_nothing_away() {
        let here = CardWords {
            player: String::from("second guitar"),
            show: String::from("spring"),
            level_dbu: Some(-4.0),
            ..CardWords::default()
        };
        let newer = CardWords {
            show: String::from("autumn"),
            boxes: Some(Whose::Mine),
            ..CardWords::default()
        };
        let now = here.filled_from(newer);
        assert_eq!(
            (now.player.as_str(), now.show.as_str()),
            ("second guitar", "autumn")
        );
        assert_eq!((now.level_dbu, now.boxes), (Some(-4.0), Some(Whose::Mine)));
    }

    #[test]
    fn peaks_below_their_own_level_are_not_believed() {
        let mut words = CardWords {
            level_dbu: Some(4.0),
            peak_dbu: Some(1.0),
            ..CardWords::default()
        };
        assert_eq!(words.believed_peak_dbu(), None);
        words.peak_dbu = Some(14.0);
        assert_eq!(words.believed_peak_dbu(), Some(14.0));
    }
}
