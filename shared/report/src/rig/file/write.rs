//! Writes a rig file as TOML.

use sumproof_core::routing::boxes::Source;
use sumproof_core::routing::feed::Ending;
use sumproof_core::routing::line::Polarity;
use sumproof_core::score::outcome::Limits;
use toml::Value;

use super::parse::{INPUT, POLARITY, SUM, WHOSE};
use super::{CardTexts, RigFile, RigLine};

/// The text of a rig file, which [`super::parse`] reads back unchanged. Keys at their defaults are left out of every
/// section but `[left]` and `[right]`, which show all keys of a line.
#[must_use]
pub fn to_toml(file: &RigFile) -> String {
    let mut out = Out::default();
    out.text("sum", word(&SUM, file.sum));
    out.line("left", &file.left);
    out.line("right", &file.right);
    if file.source != Source::default() || file.level_known {
        out.section("source");
        if file.level_known {
            out.number("level_dbu", file.source.level_dbu);
        }
        if let Some(peak) = file.source.peak_dbu {
            out.number("peak_dbu", peak);
        }
        out.number("impedance_ohm", file.source.impedance_ohm);
        out.text("drive", file.source.drive.id());
    }
    if let Some(own) = &file.own {
        out.section("own");
        out.text("name", &own.name);
        out.text(
            "ending",
            match own.ending {
                Ending::Stereo => "stereo",
                Ending::Sum(_) => "sum",
                Ending::One(side) => side.id(),
                Ending::Difference => "difference",
            },
        );
        if let Ending::Sum(law) = own.ending {
            out.text("sum", word(&SUM, law));
        }
        if let Some(hz) = own.low_pass_hz {
            out.number("low_pass_hz", hz);
        }
        out.line("own.left", &own.left);
        out.line("own.right", &own.right);
    }
    out.limits(&file.limits);
    out.card(&file.card);
    out.0
}

fn word<T: PartialEq>(choices: &[(&'static str, T)], value: T) -> &'static str {
    choices
        .iter()
        .find(|(_, choice)| *choice == value)
        .map_or("", |(word, _)| word)
}

#[derive(Default)]
struct Out(String);

impl Out {
    fn section(&mut self, name: &str) {
        self.0.push_str(&format!("\n[{name}]\n"));
    }

    fn value(&mut self, key: &str, value: &Value) {
        self.0.push_str(&format!("{key} = {value}\n"));
    }

    fn number(&mut self, key: &str, number: f64) {
        self.value(key, &Value::Float(number));
    }

    fn text(&mut self, key: &str, text: &str) {
        self.value(key, &Value::String(text.into()));
    }

    fn flag(&mut self, key: &str, flag: bool) {
        self.value(key, &Value::Boolean(flag));
    }

    fn texts(&mut self, key: &str, texts: &[String]) {
        self.0.push_str(&format!("{key} = [\n"));
        for text in texts {
            self.0
                .push_str(&format!("    {},\n", Value::String(text.clone())));
        }
        self.0.push_str("]\n");
    }

    fn line(&mut self, name: &str, line: &RigLine) {
        self.section(name);
        if let Some(kind) = line.kind {
            self.text("box", kind.id());
        }
        if let Some(ratio) = line.turns_ratio {
            self.number("turns_ratio", ratio);
        }
        if let Some(input) = line.input {
            self.text("input", word(&INPUT, input));
        }
        if let Some(ohm) = line.load_ohm {
            self.number("load_ohm", ohm);
        }
        if let Some(wanted) = line.phantom_power {
            self.flag("phantom_power", wanted);
        }
        self.text("polarity", word::<Polarity>(&POLARITY, line.polarity));
        self.number("gain_db", line.gain_db);
        self.number("delay_ms", line.delay_ms);
        if let Some(hz) = line.high_pass_hz {
            self.number("high_pass_hz", hz);
        }
        self.flag("unplugged", line.unplugged);
    }

    fn limits(&mut self, limits: &Limits) {
        if *limits == Limits::default() {
            return;
        }
        self.section("limits");
        self.number("dry_holds_db", limits.dry_holds_db);
        self.number("dry_drops_out_db", limits.dry_drops_out_db);
        self.number("drier_db", limits.drier_db);
        self.number("wetter_db", limits.wetter_db);
        self.number("tone_db", limits.tone_db);
        self.number("partials_db", limits.partials_db);
        self.number("effect_gone_db", limits.effect_gone_db);
    }

    fn card(&mut self, card: &CardTexts) {
        if *card == CardTexts::default() {
            return;
        }
        self.section("card");
        for (key, text) in [
            ("player", &card.player),
            ("show", &card.show),
            ("date", &card.date),
            ("contact", &card.contact),
            ("position", &card.position),
            ("monitor", &card.monitor),
            ("connector", &card.connector),
            ("rig", &card.rig),
            ("left", &card.left),
            ("right", &card.right),
        ] {
            if !text.is_empty() {
                self.text(key, text);
            }
        }
        if let Some(whose) = card.boxes {
            self.text("boxes", word(&WHOSE, whose));
        }
        if let Some(side) = card.one_line {
            self.text("one_line", side.id());
        }
        if !card.notes.is_empty() {
            self.texts("notes", &card.notes);
        }
        if !card.at_risk.is_empty() {
            self.texts("at_risk", &card.at_risk);
        }
    }
}
