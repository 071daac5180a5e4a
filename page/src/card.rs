//! The rig card, as `sumproof card` makes it.

use sumproof_fonts::latin;
use sumproof_report::rig::card::{CardForm, Paper, TakesError, Typeface, card_in, presets_of_json};

use crate::ask::{Answer, Text};
use crate::session::{named, rig_of};

/// The cuts in this module: the whole ones would be four times as large, compressed.
const CUTS: Typeface = Typeface {
    regular: latin::REGULAR,
    semibold: latin::SEMIBOLD,
    italic: latin::ITALIC,
};

/// The card of a rig with the presets at risk in `takes`.
pub(crate) fn answer(rig: &Text, takes: &[Text], letter: bool, pdf: bool) -> Answer {
    let paper = if letter { Paper::Letter } else { Paper::A4 };
    let form = if pdf { CardForm::Pdf } else { CardForm::Screen };
    made(rig, takes, paper, form).unwrap_or_else(Answer::refused)
}

fn made(rig: &Text, takes: &[Text], paper: Paper, form: CardForm) -> Result<Answer, String> {
    let file = rig_of(rig)?;
    let mut presets = Vec::new();
    for text in takes {
        let read = presets_of_json(&text.text, &file.rig());
        presets.extend(read.map_err(|error| named(&text.name, &refusal(&error)))?);
    }
    let card =
        card_in(CUTS, &file, &presets, paper, form).map_err(|error| named(&rig.name, &error.to_string()))?;
    let answer = Answer {
        notes: card.notices(),
        ..Answer::default()
    };
    Ok(if form == CardForm::Pdf {
        Answer {
            bytes: card.bytes,
            ..answer
        }
    } else {
        Answer {
            html: Some(String::from_utf8_lossy(&card.bytes).into_owned()),
            ..answer
        }
    })
}

/// The command's words name the command that writes such a file.
fn refusal(error: &TakesError) -> String {
    match error {
        TakesError::NotTakes(why) => {
            format!("is not the JSON of judged presets ({why}); save it again where they were judged")
        }
        other => other.to_string(),
    }
}
