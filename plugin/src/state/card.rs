//! The words for the rig card as a state holds them: the keys of the rig file.

use serde::{Deserialize, Serialize};
use sumproof_core::routing::boxes::{Drive, Whose};
use sumproof_core::routing::feed::Side;
use sumproof_views::CardWords;

/// See the module. Empty fields are left out.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct StoredCard {
    #[serde(skip_serializing_if = "String::is_empty")]
    player: String,
    #[serde(skip_serializing_if = "String::is_empty")]
    show: String,
    #[serde(skip_serializing_if = "String::is_empty")]
    date: String,
    #[serde(skip_serializing_if = "String::is_empty")]
    contact: String,
    #[serde(skip_serializing_if = "String::is_empty")]
    position: String,
    #[serde(skip_serializing_if = "String::is_empty")]
    monitor: String,
    #[serde(skip_serializing_if = "String::is_empty")]
    connector: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    boxes: Option<Whose>,
    #[serde(skip_serializing_if = "String::is_empty")]
    rig: String,
    #[serde(skip_serializing_if = "String::is_empty")]
    left: String,
    #[serde(skip_serializing_if = "String::is_empty")]
    right: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    one_line: Option<Side>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    notes: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    at_risk: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    level_dbu: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    peak_dbu: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    impedance_ohm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    drive: Option<Drive>,
}

impl From<&CardWords> for StoredCard {
    fn from(words: &CardWords) -> Self {
        let words = words.clone();
        Self {
            player: words.player,
            show: words.show,
            date: words.date,
            contact: words.contact,
            position: words.position,
            monitor: words.monitor,
            connector: words.connector,
            boxes: words.boxes,
            rig: words.rig,
            left: words.left,
            right: words.right,
            one_line: words.one_line,
            notes: words.notes,
            at_risk: words.at_risk,
            level_dbu: words.level_dbu,
            peak_dbu: words.peak_dbu,
            impedance_ohm: words.impedance_ohm,
            drive: words.drive,
        }
    }
}

impl From<StoredCard> for CardWords {
    fn from(stored: StoredCard) -> Self {
        Self {
            player: stored.player,
            show: stored.show,
            date: stored.date,
            contact: stored.contact,
            position: stored.position,
            monitor: stored.monitor,
            connector: stored.connector,
            boxes: stored.boxes,
            rig: stored.rig,
            left: stored.left,
            right: stored.right,
            one_line: stored.one_line,
            notes: stored.notes,
            at_risk: stored.at_risk,
            level_dbu: stored.level_dbu,
            peak_dbu: stored.peak_dbu,
            impedance_ohm: stored.impedance_ohm,
            drive: stored.drive,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_comes_back_through_text() {
        let words = crate::files::rig::testing::every_word();
        let text = serde_json::to_string(&StoredCard::from(&words)).expect("plain values");
        let back: StoredCard = serde_json::from_str(&text).expect("what was written");
        assert_eq!(CardWords::from(back), words);
        assert_eq!(
            serde_json::to_string(&StoredCard::from(&CardWords::default()))
                .ok()
                .as_deref(),
            Some("{}")
        );
    }
}
