//! The numbers that can be set: the name, range, text form and parsing of each.

use sumproof_core::dsp::numbers::{to_signed, to_single};
use sumproof_core::routing::feed::Side;
use sumproof_core::routing::line::{Line, limits};
use sumproof_core::score::outcome::{Limits, ranges};
use sumproof_wording::Name;

use crate::canvas::Sheet;
use crate::data::intent::{Control, Intent, Setting};
use crate::data::snapshot::Snapshot;
use sumproof_wording::numbers::{MINUS, signed};

/// The object a number belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spot {
    /// One of the player's lines: a parameter of the host.
    Line(Side),
    /// A line of the user's own feed.
    Own(Side),
    /// The limits between the outcomes.
    Limits,
}

/// A numeric setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Number {
    /// Gain of a line, dB.
    Gain,
    /// Delay of a line, ms.
    Delay,
    /// Transformer corner of a line, Hz.
    Corner,
    /// The dry of a feed that holds, at least, dB.
    Holds,
    /// The dry of a feed that doesn't drop out, at least, dB.
    DropsOut,
    /// Balance shift of a feed that holds, at least, dB.
    Drier,
    /// Balance shift of a feed that holds, at most, dB.
    Wetter,
    /// Tone change of a feed that holds, at most, dB.
    Tone,
}

impl Number {
    /// The name people read.
    pub fn name(self) -> &'static str {
        match self {
            Self::Gain => "gain",
            Self::Delay => "delay",
            Self::Corner => "transformer",
            Self::Holds => "holds down to a dry of",
            Self::DropsOut => "drops out below a dry of",
            Self::Drier => "holds down to a balance of",
            Self::Wetter => "holds up to a balance of",
            Self::Tone => "holds up to a tone change of",
        }
    }

    /// Its effect, in the player's words.
    pub fn tip(self) -> &'static str {
        match self {
            Self::Gain => {
                "How much louder or quieter this line arrives, in dB: a pad, a long cable, an uneven fader."
            }
            Self::Delay => "How late this line arrives, in milliseconds.",
            Self::Corner => {
                "Below this frequency a transformer on this line lets less and less through; none for no transformer."
            }
            Self::Holds => "How far the dry may be down in a feed before you would no longer say it holds.",
            Self::DropsOut => "How far the dry must be down in a feed before you would say it's gone.",
            Self::Drier => "How much drier than your stereo a feed may be and still hold.",
            Self::Wetter => "How much wetter than your stereo a feed may be and still hold.",
            Self::Tone => {
                "How uneven the tone may become, as an average over the bands, before a feed thins."
            }
        }
    }

    fn range(self) -> (f32, f32) {
        let (range, unit) = match self {
            Self::Gain => (limits::GAIN_DB, 1.0),
            Self::Delay => (limits::DELAY_S, 1000.0),
            Self::Corner => (limits::HIGH_PASS_HZ, 1.0),
            Self::Holds => (ranges::DRY_HOLDS_DB, 1.0),
            Self::DropsOut => (ranges::DRY_DROPS_OUT_DB, 1.0),
            Self::Drier => (ranges::DRIER_DB, 1.0),
            Self::Wetter => (ranges::WETTER_DB, 1.0),
            Self::Tone => (ranges::TONE_DB, 1.0),
        };
        (to_single(range.start() * unit), to_single(range.end() * unit))
    }

    /// A value clamped to the range.
    pub fn clamped(self, value: f32) -> f32 {
        let (least, most) = self.range();
        value.clamp(least, most)
    }

    /// Change per notch of the wheel or press of an arrow key; with Shift a tenth of it.
    pub fn step(self) -> f32 {
        match self {
            Self::Delay => 0.1,
            Self::Corner => 5.0,
            _ => 0.5,
        }
    }

    fn decimals(self) -> usize {
        match self {
            Self::Delay => 2,
            _ => 1,
        }
    }

    /// Rounded to the decimals shown, within range.
    pub fn rounded(self, value: f32) -> f32 {
        let ten = 10f32.powi(to_signed(self.decimals()));
        self.clamped((value * ten).round() / ten)
    }

    /// The default value.
    pub fn default_value(self) -> f32 {
        to_single(self.of_limits(&Limits::default()).unwrap_or(0.0))
    }

    fn of_limits(self, limits: &Limits) -> Option<f64> {
        Some(match self {
            Self::Gain | Self::Delay | Self::Corner => return None,
            Self::Holds => limits.dry_holds_db,
            Self::DropsOut => limits.dry_drops_out_db,
            Self::Drier => limits.drier_db,
            Self::Wetter => limits.wetter_db,
            Self::Tone => limits.tone_db,
        })
    }

    fn of_line(self, line: &Line) -> f64 {
        match self {
            Self::Delay => line.delay_s * 1000.0,
            Self::Corner => line.high_pass_hz[0],
            _ => line.gain_db,
        }
    }

    /// The value with its unit.
    pub fn text(self, value: f32) -> String {
        match self {
            Self::Delay => format!("{value:.2} ms"),
            Self::Corner if value < 0.05 => String::from("none"),
            Self::Corner => format!("{value:.0} Hz"),
            Self::Tone => format!("{value:.1} dB"),
            _ => format!("{} dB", signed(f64::from(value), 1)),
        }
    }

    /// The value without its unit, for typing.
    pub fn plain(self, value: f32) -> String {
        format!("{:.*}", self.decimals(), value)
    }

    /// Parses typed text: with or without a unit, a decimal comma or point. `None` if it is not a finite number.
    pub fn read(self, typed: &str) -> Option<f32> {
        let lower = typed.trim().to_lowercase().replace(MINUS, "-").replace(',', ".");
        if self == Self::Corner && (lower == "none" || lower == "no") {
            return Some(0.0);
        }
        let unit = match self {
            Self::Delay => "ms",
            Self::Corner => "hz",
            _ => "db",
        };
        let bare = lower.strip_suffix(unit).unwrap_or(&lower).trim();
        bare.parse::<f32>()
            .ok()
            .filter(|value| value.is_finite())
            .map(|value| self.rounded(value))
    }
}

/// A number of one object.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// The object.
    pub spot: Spot,
    /// The setting.
    pub number: Number,
}

impl Place {
    /// Its name for a screen reader.
    pub fn name(self) -> String {
        match self.spot {
            Spot::Line(side) => format!("{} line {}", side.name(), self.number.name()),
            Spot::Own(side) => format!("own feed, {} line {}", side.name(), self.number.name()),
            Spot::Limits => format!("a feed {}", self.number.name()),
        }
    }

    /// Its present value.
    pub fn value(self, snapshot: &Snapshot) -> f32 {
        let number = self.number;
        match self.spot {
            Spot::Line(side) => {
                let line = snapshot.settings.line(side);
                match number {
                    Number::Delay => line.delay_ms,
                    Number::Corner => line.corner_hz,
                    _ => line.gain_db,
                }
            }
            Spot::Own(side) => to_single(number.of_line(snapshot.own.line(side))),
            Spot::Limits => to_single(number.of_limits(&snapshot.limits).unwrap_or(0.0)),
        }
    }

    /// The host's parameter, if there is one.
    fn control(self) -> Option<Control> {
        self.setting(0.0).map(|setting| setting.control())
    }

    fn setting(self, value: f32) -> Option<Setting> {
        let Spot::Line(side) = self.spot else { return None };
        Some(match self.number {
            Number::Delay => Setting::DelayMs(side, value),
            Number::Corner => Setting::CornerHz(side, value),
            _ => Setting::GainDb(side, value),
        })
    }

    /// Begins a gesture.
    pub fn begin(self, intents: &mut Vec<Intent>) {
        intents.extend(self.control().map(Intent::Begin));
    }

    /// Ends a gesture.
    pub fn end(self, intents: &mut Vec<Intent>) {
        intents.extend(self.control().map(Intent::End));
    }

    /// Sets a new value within a gesture, rounded and clamped to its range.
    pub fn put(self, sheet: &mut Sheet<'_>, value: f32) {
        let value = self.number.rounded(value);
        if let Some(setting) = self.setting(value) {
            sheet.intents.push(Intent::Set(setting));
            return;
        }
        let snapshot = sheet.snapshot;
        // A value shown with one decimal is stored with one decimal.
        let exact = (f64::from(value) * 1000.0).round() / 1000.0;
        sheet.intents.push(match self.spot {
            Spot::Own(side) => {
                let mut own = snapshot.own.clone();
                let line = own.line_mut(side);
                match self.number {
                    Number::Delay => line.delay_s = exact / 1000.0,
                    Number::Corner => line.high_pass_hz[0] = exact,
                    _ => line.gain_db = exact,
                }
                Intent::OwnFeed(own)
            }
            Spot::Line(_) | Spot::Limits => {
                let mut limits = snapshot.limits;
                match self.number {
                    Number::Holds => {
                        limits.dry_holds_db = exact;
                        // The limit of dropping out is never above that of holding: it moves along.
                        limits.dry_drops_out_db = limits.dry_drops_out_db.min(exact);
                    }
                    Number::DropsOut => {
                        limits.dry_drops_out_db = exact;
                        limits.dry_holds_db = limits.dry_holds_db.max(exact);
                    }
                    Number::Drier => limits.drier_db = exact,
                    Number::Wetter => limits.wetter_db = exact,
                    _ => limits.tone_db = exact,
                }
                Intent::Limits(limits.clamped())
            }
        });
    }

    /// Sets a new value in a gesture of its own.
    pub fn set(self, sheet: &mut Sheet<'_>, value: f32) {
        self.begin(sheet.intents);
        self.put(sheet, value);
        self.end(sheet.intents);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_players_type_is_read() {
        assert_eq!(Number::Gain.read("-6"), Some(-6.0));
        assert_eq!(Number::Gain.read(" \u{2212}6,55 dB "), Some(-6.6));
        assert_eq!(Number::Gain.read("99"), Some(20.0));
        assert_eq!(Number::Delay.read("0.44ms"), Some(0.44));
        assert_eq!(Number::Delay.read("-3"), Some(0.0));
        assert_eq!(Number::Corner.read("none"), Some(0.0));
        assert_eq!(Number::Holds.read("-5,5 dB"), Some(-5.5));
        for typed in ["nan", "inf", "1e40", "", "loud", "1.2.3"] {
            assert_eq!(Number::Gain.read(typed), None, "{typed}");
        }
    }

    #[test]
    fn what_is_shown_is_read_back() {
        for number in [
            Number::Gain,
            Number::Delay,
            Number::Corner,
            Number::Wetter,
            Number::Tone,
        ] {
            for value in [0.0, 1.0, 12.0] {
                assert_eq!(
                    number.read(&number.text(value)),
                    Some(value),
                    "{number:?} {value}"
                );
            }
        }
    }

    #[test]
    fn the_limits_stay_in_order_whichever_is_moved() {
        let snapshot = Snapshot::default();
        let moved = |number, value| {
            let mut intents = Vec::new();
            let mut sheet = Sheet {
                style: crate::style::Style {
                    colours: crate::style::Colours::NIGHT,
                    theme: crate::data::look::Theme::Night,
                    scale: 1.0,
                    compact: false,
                },
                snapshot: &snapshot,
                intents: &mut intents,
            };
            let spot = Spot::Limits;
            Place { spot, number }.set(&mut sheet, value);
            match intents.as_slice() {
                [Intent::Limits(limits)] => (limits.dry_holds_db, limits.dry_drops_out_db),
                other => panic!("{other:?}"),
            }
        };
        assert_eq!(moved(Number::Holds, -12.0), (-12.0, -12.0));
        assert_eq!(moved(Number::DropsOut, -3.0), (-3.0, -3.0));
        assert_eq!(moved(Number::DropsOut, -99.0), (-4.5, -60.0));
    }
}
