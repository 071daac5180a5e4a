//! Parses a rig file from TOML.

use sumproof_core::routing::boxes::{DeskInput, Drive, Kind, Source, Whose, limits as box_limits};
use sumproof_core::routing::feed::{Ending, Side, SumLaw};
use sumproof_core::routing::line::{Polarity, limits as line_limits};
use sumproof_core::score::outcome::{Limits, ranges};

use super::reader::{Section, document};
use super::{CardTexts, DELAY_MS, LOW_PASS_HZ, OwnFeed, PEAK_DBU, RigFile, RigFileError, RigLine, lengths};

const TOP: [&str; 7] = ["sum", "left", "right", "source", "own", "limits", "card"];
const LINE: [&str; 10] = [
    "box",
    "turns_ratio",
    "input",
    "load_ohm",
    "phantom_power",
    "polarity",
    "gain_db",
    "delay_ms",
    "high_pass_hz",
    "unplugged",
];
const SOURCE: [&str; 4] = ["level_dbu", "peak_dbu", "impedance_ohm", "drive"];
const OWN: [&str; 6] = ["name", "ending", "sum", "low_pass_hz", "left", "right"];
/// The keys of `[limits]`.
pub const LIMITS: [&str; 7] = [
    "dry_holds_db",
    "dry_drops_out_db",
    "drier_db",
    "wetter_db",
    "tone_db",
    "partials_db",
    "effect_gone_db",
];
const CARD: [&str; 14] = [
    "player",
    "show",
    "date",
    "contact",
    "position",
    "monitor",
    "connector",
    "boxes",
    "rig",
    "left",
    "right",
    "one_line",
    "notes",
    "at_risk",
];
pub(super) const WHOSE: [(&str, Whose); 2] = [("mine", Whose::Mine), ("yours", Whose::Yours)];

pub(super) const SUM: [(&str, SumLaw); 3] = [
    ("average", SumLaw::Average),
    ("minus-3-db", SumLaw::Minus3Db),
    ("unity", SumLaw::Unity),
];
pub(super) const POLARITY: [(&str, Polarity); 2] =
    [("normal", Polarity::Normal), ("flipped", Polarity::Flipped)];
pub(super) const INPUT: [(&str, DeskInput); 2] = [("mic", DeskInput::Mic), ("line", DeskInput::Line)];
const SIDE: [(&str, Side); 2] = [("left", Side::Left), ("right", Side::Right)];

/// The ending of a feed, before its sum law is known.
#[derive(Clone, Copy, PartialEq, Eq)]
enum End {
    Stereo,
    Sum,
    One(Side),
    Difference,
}

const ENDING: [(&str, End); 5] = [
    ("stereo", End::Stereo),
    ("sum", End::Sum),
    ("left", End::One(Side::Left)),
    ("right", End::One(Side::Right)),
    ("difference", End::Difference),
];

/// Parses a rig file. An empty one is two straight lines.
///
/// ```
/// let rig = sumproof_report::rig::file::parse("[right]\ngain_db = -20\n").expect("a rig file");
/// assert_eq!(rig.rig().lines.right.gain_db, -20.0);
/// ```
///
/// # Errors
/// The first error in the text, as one line.
pub fn parse(text: &str) -> Result<RigFile, RigFileError> {
    let document = document(text)?;
    let top = Section::top(text, document.get_ref(), &TOP)?;
    let sum = top
        .choice("sum", &SUM)?
        .map_or(SumLaw::default(), |found| found.value);
    let (source, level_known) = source(&top)?;
    Ok(RigFile {
        level_known,
        left: line(&top, "left", &source)?,
        right: line(&top, "right", &source)?,
        sum,
        source,
        own: own(&top, sum, &source)?,
        limits: limits(&top)?,
        card: card(&top)?,
    })
}

/// The outputs, and whether their level is in the file.
fn source(top: &Section<'_>) -> Result<(Source, bool), RigFileError> {
    let default = Source::default();
    let Some(section) = top.section("source", &SOURCE)? else {
        return Ok((default, false));
    };
    let drives = [
        (Drive::SingleEnded.id(), Drive::SingleEnded),
        (Drive::Symmetric.id(), Drive::Symmetric),
    ];
    let level = section.number("level_dbu", box_limits::LEVEL_DBU, " dBu")?;
    let peak = section.number("peak_dbu", PEAK_DBU, " dBu")?;
    let source = Source {
        level_dbu: level.as_ref().map_or(default.level_dbu, |found| found.value),
        peak_dbu: peak.as_ref().map(|found| found.value),
        impedance_ohm: section
            .number("impedance_ohm", box_limits::SOURCE_OHM, " ohm")?
            .map_or(default.impedance_ohm, |found| found.value),
        drive: section
            .choice("drive", &drives)?
            .map_or(default.drive, |found| found.value),
    };
    if let Some(found) = peak.as_ref().filter(|found| found.value < source.level_dbu) {
        return Err(RigFileError::Beside {
            line: found.line,
            key: section.full("peak_dbu"),
            why: format!(
                "= {} is below the level of loud playing ({} dBu rms); peaks are above it",
                found.value, source.level_dbu
            ),
        });
    }
    Ok((source, level.is_some()))
}

fn line(parent: &Section<'_>, side: &str, source: &Source) -> Result<RigLine, RigFileError> {
    let Some(section) = parent.section(side, &LINE)? else {
        return Ok(RigLine::default());
    };
    let kinds = Kind::ALL.map(|kind| (kind.id(), kind));
    let kind = section.choice("box", &kinds)?.map(|found| found.value);
    let turns_ratio = section.number("turns_ratio", box_limits::TURNS_RATIO, " to 1")?;
    if let Some(found) = &turns_ratio
        && kind != Some(Kind::PassiveDirectBox)
    {
        return Err(RigFileError::Beside {
            line: found.line,
            key: section.full("turns_ratio"),
            why: format!(
                "belongs to a passive direct box only; leave it out, or write box = \"{}\"",
                Kind::PassiveDirectBox.id()
            ),
        });
    }
    let input = section.choice("input", &INPUT)?;
    let load_ohm = section.number("load_ohm", box_limits::LOAD_OHM, " ohm")?;
    let phantom_power = section.flag("phantom_power")?;
    for (key, at) in [
        ("input", input.as_ref().map(|found| found.line)),
        ("load_ohm", load_ohm.as_ref().map(|found| found.line)),
        ("phantom_power", phantom_power.as_ref().map(|found| found.line)),
    ] {
        if let Some(line) = at
            && kind.is_none()
        {
            return Err(RigFileError::Beside {
                line,
                key: section.full(key),
                why: "says nothing without a box; add box, or leave it out".into(),
            });
        }
    }
    let gain = section.number("gain_db", line_limits::GAIN_DB, " dB")?;
    let rig_line = RigLine {
        kind,
        turns_ratio: turns_ratio.map(|found| found.value),
        input: input.map(|found| found.value),
        load_ohm: load_ohm.map(|found| found.value),
        phantom_power: phantom_power.map(|found| found.value),
        polarity: section
            .choice("polarity", &POLARITY)?
            .map_or(Polarity::Normal, |found| found.value),
        gain_db: gain.as_ref().map_or(0.0, |found| found.value),
        delay_ms: section
            .number("delay_ms", DELAY_MS, " ms")?
            .map_or(0.0, |found| found.value),
        high_pass_hz: section
            .number("high_pass_hz", line_limits::HIGH_PASS_HZ, " Hz (0: none)")?
            .map(|found| found.value),
        unplugged: section.flag("unplugged")?.is_some_and(|found| found.value),
    };
    within(&section, &rig_line, gain.map(|found| found.line), source)?;
    Ok(rig_line)
}

/// Checks a line as a whole: values that are in range by themselves may be out of it together with a box.
fn within(
    section: &Section<'_>,
    rig_line: &RigLine,
    line: Option<usize>,
    source: &Source,
) -> Result<(), RigFileError> {
    let whole = rig_line.line(source);
    let beside = |line: Option<usize>, key: &str, why: String| RigFileError::Beside {
        line: line.unwrap_or_else(|| section.line()),
        key: section.full(key),
        why,
    };
    if !line_limits::GAIN_DB.contains(&whole.gain_db) {
        let (low, high) = (line_limits::GAIN_DB.start(), line_limits::GAIN_DB.end());
        let of_box = whole.gain_db - rig_line.gain_db;
        return Err(beside(
            line,
            "gain_db",
            format!(
                "= {} and the box's {of_box:+.1} dB make {:+.1} dB together; give {:.1} to {:.1} dB with this box",
                rig_line.gain_db,
                whole.gain_db,
                (low - of_box).max(*low),
                (high - of_box).min(*high)
            ),
        ));
    }
    if !line_limits::DELAY_S.contains(&whole.delay_s) {
        let of_box = 1000.0 * whole.delay_s - rig_line.delay_ms;
        return Err(beside(
            None,
            "delay_ms",
            format!(
                "= {} and the box's {of_box:.1} ms are more than {} ms together; give 0 to {:.1} ms with this box",
                rig_line.delay_ms,
                DELAY_MS.end(),
                DELAY_MS.end() - of_box
            ),
        ));
    }
    let corner_hz = whole.high_pass_hz[0];
    if !line_limits::HIGH_PASS_HZ.contains(&corner_hz) {
        return Err(beside(
            None,
            "box",
            format!(
                "with an output of {} ohm has a corner of {corner_hz:.0} Hz, more than {} Hz; take another box, or give \
                 the corner its data sheet says as high_pass_hz",
                source.impedance_ohm,
                line_limits::HIGH_PASS_HZ.end()
            ),
        ));
    }
    Ok(())
}

fn own(top: &Section<'_>, law: SumLaw, source: &Source) -> Result<Option<OwnFeed>, RigFileError> {
    let Some(section) = top.section("own", &OWN)? else {
        return Ok(None);
    };
    let end = section
        .choice("ending", &ENDING)?
        .map_or(End::Sum, |found| found.value);
    let own_law = section.choice("sum", &SUM)?;
    if let Some(found) = &own_law
        && end != End::Sum
    {
        return Err(RigFileError::Beside {
            line: found.line,
            key: section.full("sum"),
            why: "belongs to ending = \"sum\" only; leave it out, or change the ending".into(),
        });
    }
    let law = own_law.map_or(law, |found| found.value);
    let ending = match end {
        End::Stereo => Ending::Stereo,
        End::Sum => Ending::Sum(law),
        End::One(side) => Ending::One(side),
        End::Difference => Ending::Difference,
    };
    let name = section.text("name", lengths::NAME)?.unwrap_or_default();
    if name.is_empty() {
        return Err(RigFileError::Beside {
            line: section.line(),
            key: section.full("name"),
            why: "is missing; say what your own feed is called, as in: name = \"floor monitor at the club\""
                .into(),
        });
    }
    Ok(Some(OwnFeed {
        name,
        ending,
        low_pass_hz: section
            .number("low_pass_hz", LOW_PASS_HZ, " Hz")?
            .map(|found| found.value),
        left: line(&section, "left", source)?,
        right: line(&section, "right", source)?,
    }))
}

fn limits(top: &Section<'_>) -> Result<Limits, RigFileError> {
    let default = Limits::default();
    let Some(section) = top.section("limits", &LIMITS)? else {
        return Ok(default);
    };
    let number = |key, range, default| -> Result<f64, RigFileError> {
        Ok(section
            .number(key, range, " dB")?
            .map_or(default, |found| found.value))
    };
    let limits = Limits {
        dry_holds_db: number("dry_holds_db", ranges::DRY_HOLDS_DB, default.dry_holds_db)?,
        dry_drops_out_db: number(
            "dry_drops_out_db",
            ranges::DRY_DROPS_OUT_DB,
            default.dry_drops_out_db,
        )?,
        drier_db: number("drier_db", ranges::DRIER_DB, default.drier_db)?,
        wetter_db: number("wetter_db", ranges::WETTER_DB, default.wetter_db)?,
        tone_db: number("tone_db", ranges::TONE_DB, default.tone_db)?,
        partials_db: number("partials_db", ranges::PARTIALS_DB, default.partials_db)?,
        effect_gone_db: number("effect_gone_db", ranges::EFFECT_GONE_DB, default.effect_gone_db)?,
    };
    for (key, value, above, bound) in [
        (
            "dry_drops_out_db",
            limits.dry_drops_out_db,
            "dry_holds_db",
            limits.dry_holds_db,
        ),
        (
            "effect_gone_db",
            limits.effect_gone_db,
            "drier_db",
            limits.drier_db,
        ),
    ] {
        if value > bound {
            return Err(RigFileError::Beside {
                line: section.line(),
                key: section.full(key),
                why: format!("= {value} is above limits.{above} = {bound}; give it the same or less"),
            });
        }
    }
    Ok(limits)
}

fn card(top: &Section<'_>) -> Result<CardTexts, RigFileError> {
    let Some(section) = top.section("card", &CARD)? else {
        return Ok(CardTexts::default());
    };
    let text = |key, longest| -> Result<String, RigFileError> {
        Ok(section.text(key, longest)?.unwrap_or_default())
    };
    Ok(CardTexts {
        player: text("player", lengths::NAME)?,
        show: text("show", lengths::SHORT)?,
        date: text("date", lengths::SHORT)?,
        contact: text("contact", lengths::SHORT)?,
        position: text("position", lengths::SHORT)?,
        monitor: text("monitor", lengths::MONITOR)?,
        connector: text("connector", lengths::SHORT)?,
        boxes: section.choice("boxes", &WHOSE)?.map(|found| found.value),
        rig: text("rig", lengths::RIG)?,
        left: text("left", lengths::CARRIES)?,
        right: text("right", lengths::CARRIES)?,
        one_line: section.choice("one_line", &SIDE)?.map(|found| found.value),
        notes: section.texts("notes", lengths::NOTES, lengths::NOTE)?,
        at_risk: section.texts("at_risk", lengths::AT_RISKS, lengths::AT_RISK)?,
    })
}
