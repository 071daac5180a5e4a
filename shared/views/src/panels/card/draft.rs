//! The form's texts while they are typed: numbers are texts too, and are parsed when their field is left.

use core::ops::RangeInclusive;

use sumproof_core::routing::boxes::limits;

use crate::data::card::CardWords;

/// A field for a number that may be left empty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Number {
    Level,
    Peak,
    Impedance,
}

impl Number {
    pub(super) const ALL: [Self; 3] = [Self::Level, Self::Peak, Self::Impedance];
    /// Longest text, characters.
    pub(super) const LONGEST: usize = 12;

    pub(super) fn label(self) -> &'static str {
        match self {
            Self::Level => "loud, dBu rms",
            Self::Peak => "peaks, dBu",
            Self::Impedance => "output, ohm",
        }
    }

    pub(super) fn tip(self) -> &'static str {
        match self {
            Self::Level => {
                "The level of loud playing at an output of yours, rms, nothing connected: read it off your processor\u{2019}s output \
                 meter and its manual. The card gives what arrives at the desk."
            }
            Self::Peak => "Its highest peaks. The card judges the pad by them.",
            Self::Impedance => {
                "The impedance of an output of yours, from its manual: what a DI makes of your lines depends on it. Empty: 220."
            }
        }
    }

    fn range(self) -> RangeInclusive<f64> {
        match self {
            Self::Level => limits::LEVEL_DBU,
            Self::Peak => CardWords::PEAK_DBU,
            Self::Impedance => limits::SOURCE_OHM,
        }
    }
}

/// The contents of the fields.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Draft {
    /// The texts and choices; numbers, notes and presets at risk are in the other fields.
    pub words: CardWords,
    /// One line each.
    pub notes: [String; CardWords::NOTES],
    /// One line per preset.
    pub at_risk: String,
    numbers: [String; 3],
    /// The owner's words when this was last drawn.
    of: CardWords,
}

impl Draft {
    pub(super) fn new(words: &CardWords) -> Self {
        let mut notes = words.notes.iter().cloned();
        Self {
            notes: core::array::from_fn(|_| notes.next().unwrap_or_default()),
            at_risk: words.at_risk.join("\n"),
            numbers: [words.level_dbu, words.peak_dbu, words.impedance_ohm].map(shown),
            words: words.clone(),
            of: words.clone(),
        }
    }

    /// Whether the owner's words are those this draft was made from, or those it now contains.
    pub(super) fn is_of(&self, words: &CardWords) -> bool {
        self.of == *words || self.words() == *words
    }

    /// The owner has these words now.
    pub(super) fn seen(&mut self, words: &CardWords) {
        self.of.clone_from(words);
    }

    pub(super) fn number_mut(&mut self, number: Number) -> &mut String {
        &mut self.numbers[number as usize]
    }

    /// The number typed there, if it is in range; `None` for an empty field.
    ///
    /// # Errors
    /// A line that says what is wanted.
    fn number(&self, number: Number) -> Result<Option<f64>, String> {
        let typed = self.numbers[number as usize].trim();
        if typed.is_empty() {
            return Ok(None);
        }
        let plain = typed.replace('\u{2212}', "-").replace(',', ".");
        let bare = plain.trim_end_matches(|c: char| c.is_alphabetic() || c == ' ');
        let range = number.range();
        match bare.parse::<f64>() {
            Ok(value) if range.contains(&value) => Ok(Some(value)),
            _ => {
                let (least, most) = (shown(Some(*range.start())), shown(Some(*range.end())));
                Err(format!("wants {least} to {most}"))
            }
        }
    }

    /// Why the number typed there is not used.
    pub(super) fn wrong(&self, number: Number) -> Option<String> {
        let unbelieved = self.words.peak_dbu.is_some() && self.words.believed_peak_dbu().is_none();
        match self.number(number) {
            Err(why) => Some(why),
            Ok(Some(_)) if number == Number::Peak && unbelieved => Some(
                match self.words.level_dbu {
                    Some(_) => "below the rms level",
                    None => "say the level, too",
                }
                .into(),
            ),
            Ok(_) => None,
        }
    }

    /// Parses the number fields; one that isn't a number in range becomes `None`.
    pub(super) fn take_numbers(&mut self) {
        self.words.level_dbu = self.number(Number::Level).unwrap_or_default();
        self.words.peak_dbu = self.number(Number::Peak).unwrap_or_default();
        self.words.impedance_ohm = self.number(Number::Impedance).unwrap_or_default();
    }

    /// Cuts lines about presets at their longest length.
    pub(super) fn cut_risks(&mut self) {
        let long = |line: &str| line.chars().count() > CardWords::AT_RISK;
        if self.at_risk.split('\n').any(long) {
            let cut = self
                .at_risk
                .split('\n')
                .map(|line| line.chars().take(CardWords::AT_RISK));
            self.at_risk = cut.map(String::from_iter).collect::<Vec<String>>().join("\n");
        }
    }

    /// The words it contains.
    pub(super) fn words(&self) -> CardWords {
        CardWords {
            notes: self.notes.to_vec(),
            at_risk: self.at_risk.lines().map(String::from).collect(),
            ..self.words.clone()
        }
        .tidy()
    }
}

/// A number in the form in which it is typed.
fn shown(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| format!("{value}").replace('-', "\u{2212}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_is_what_it_says() {
        let words = CardWords {
            player: String::from("second guitar"),
            level_dbu: Some(-4.5),
            notes: vec![String::from("a"), String::from("b")],
            at_risk: vec![String::from("swell"), String::from("slap")],
            ..CardWords::default()
        };
        let mut draft = Draft::new(&words);
        assert!(draft.is_of(&words));
        assert_eq!(draft.words(), words);
        draft.number_mut(Number::Peak).push_str(" +8,5 dBu");
        draft.take_numbers();
        assert_eq!(draft.words().peak_dbu, Some(8.5));
        draft.notes[0].clear();
        assert_eq!(draft.words().notes, ["b"]);
        draft.at_risk = format!("{}\n\nslap", "x".repeat(150));
        draft.cut_risks();
        assert_eq!(
            draft.words().at_risk,
            [String::from("x").repeat(100), "slap".into()]
        );
    }

    #[test]
    fn what_is_no_number_is_said_and_left_empty() {
        let mut draft = Draft::new(&CardWords::default());
        for (number, typed, why) in [
            (Number::Level, "loud", "wants \u{2212}60 to 24"),
            (Number::Level, "99", "wants \u{2212}60 to 24"),
            (Number::Impedance, "0", "wants 1 to 100000"),
            (Number::Impedance, "inf", "wants 1 to 100000"),
        ] {
            *draft.number_mut(number) = typed.into();
            draft.take_numbers();
            assert_eq!(draft.wrong(number).as_deref(), Some(why), "{typed}");
            assert_eq!(
                (draft.words().level_dbu, draft.words().impedance_ohm),
                (None, None)
            );
        }
        *draft.number_mut(Number::Level) = "4 dBu".into();
        *draft.number_mut(Number::Peak) = "\u{2212}3".into();
        draft.take_numbers();
        assert_eq!(draft.wrong(Number::Level), None);
        assert_eq!(draft.wrong(Number::Peak).as_deref(), Some("below the rms level"));
    }
}
