//! The player's setup as a rig file, for the rig card and the command.

use sumproof_core::routing::boxes::{Drive, Kind, Source};
use sumproof_core::routing::feed::Side;
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_core::score::rig::Rig;
use sumproof_report::rig::file::{self, CardTexts, PEAK_DBU, RigFile, RigLine, lengths};
use sumproof_views::{Boxes, CardWords, OwnFeed, line_through};

// The window's length limits are the rig file's.
const _: () = assert!(
    CardWords::NAME == lengths::NAME
        && CardWords::SHORT == lengths::SHORT
        && CardWords::MONITOR == lengths::MONITOR
        && CardWords::RIG == lengths::RIG
        && CardWords::CARRIES == lengths::CARRIES
        && CardWords::NOTE == lengths::NOTE
        && CardWords::NOTES == lengths::NOTES
        && CardWords::AT_RISK == lengths::AT_RISK
        && CardWords::AT_RISKS == lengths::AT_RISKS
);
const _: () = assert!(
    *CardWords::PEAK_DBU.start() == *PEAK_DBU.start() && *CardWords::PEAK_DBU.end() == *PEAK_DBU.end()
);

/// The rig, the boxes, the user's own feed and the words for the card as a rig file. What the user left empty stays
/// empty: the card has blanks for it.
pub fn rig_file(rig: &Rig, boxes: Boxes, own: &OwnFeed, words: &CardWords) -> RigFile {
    let plain = Rig::default();
    let source = words.source();
    RigFile {
        left: line(&rig.lines.left, boxes.on(Side::Left), &source),
        right: line(&rig.lines.right, boxes.on(Side::Right), &source),
        sum: rig.law,
        source,
        level_known: words.level_dbu.is_some(),
        own: (own.feed != plain.own || !own.name.trim().is_empty()).then(|| file::OwnFeed {
            name: String::from(own.name()),
            ending: own.feed.ending,
            low_pass_hz: own.feed.low_pass_hz,
            left: line(&own.feed.left, None, &source),
            right: line(&own.feed.right, None, &source),
        }),
        limits: rig.limits,
        card: texts(words),
    }
}

fn texts(words: &CardWords) -> CardTexts {
    let words = words.clone();
    CardTexts {
        player: words.player,
        rig: words.rig,
        show: words.show,
        date: words.date,
        contact: words.contact,
        position: words.position,
        monitor: words.monitor,
        connector: words.connector,
        boxes: words.boxes,
        left: words.left,
        right: words.right,
        one_line: words.one_line,
        notes: words.notes,
        at_risk: words.at_risk,
    }
}

/// The card's words and the outputs from a rig file. A value equal to the default may not have been in the file: it is
/// left unset.
pub fn card_words(file: &RigFile) -> CardWords {
    let (texts, usual) = (file.card.clone(), Source::default());
    CardWords {
        player: texts.player,
        show: texts.show,
        date: texts.date,
        contact: texts.contact,
        position: texts.position,
        monitor: texts.monitor,
        rig: texts.rig,
        left: texts.left,
        right: texts.right,
        connector: texts.connector,
        boxes: texts.boxes,
        one_line: texts.one_line,
        level_dbu: file.level_known.then_some(file.source.level_dbu),
        peak_dbu: file.source.peak_dbu,
        impedance_ohm: Some(file.source.impedance_ohm).filter(|ohm| *ohm != usual.impedance_ohm),
        drive: Some(file.source.drive).filter(|drive: &Drive| *drive != usual.drive),
        notes: texts.notes,
        at_risk: texts.at_risk,
    }
}

/// A line as set, without the part that comes from its box: a rig file adds the box's own effect.
fn line(set: &Line, kind: Option<Kind>, source: &Source) -> RigLine {
    let by_box = line_through(kind, source);
    RigLine {
        kind,
        polarity: if set.polarity == by_box.polarity {
            Polarity::Normal
        } else {
            Polarity::Flipped
        },
        gain_db: set.gain_db - by_box.gain_db,
        delay_ms: 1000.0 * (set.delay_s - by_box.delay_s),
        // A parameter holds tenths; a difference below that counts as the box's own corner.
        high_pass_hz: ((set.high_pass_hz[0] - by_box.high_pass_hz[0]).abs() >= 0.06)
            .then_some(set.high_pass_hz[0]),
        unplugged: set.unplugged,
        ..RigLine::default()
    }
}

/// Words for tests, here and in other modules.
#[cfg(test)]
pub(crate) mod testing {
    use super::*;
    use sumproof_core::routing::boxes::Whose;

    /// Words with every field set.
    pub(crate) fn every_word() -> CardWords {
        let text = String::from;
        CardWords {
            player: text("second guitar, stage left"),
            show: text("harbour fair"),
            date: text("12 June"),
            contact: text("at the merch table"),
            position: text("stage left, by the drums"),
            monitor: text("my guitar and the vocal"),
            rig: text("floor board, two outputs"),
            left: text("gtr 2 L"),
            right: text("gtr 2 R"),
            connector: text("XLR at the stage box"),
            boxes: Some(Whose::Mine),
            one_line: Some(Side::Right),
            level_dbu: Some(3.0),
            peak_dbu: Some(13.5),
            impedance_ohm: Some(600.0),
            drive: Some(Drive::Symmetric),
            notes: vec![text("tuner mutes both lines"), text("no gate")],
            at_risk: vec![text("swell: gone when flipped")],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::testing::every_word;
    use super::*;

    #[test]
    fn the_words_come_back_out_of_the_file_they_went_into() {
        let words = every_word();
        let boxes = Boxes {
            left: Some(Kind::PassiveDirectBox),
            right: Some(Kind::LineIsolator),
        };
        let mut rig = Rig::default();
        rig.lines.left = line_through(boxes.left, &words.source());
        rig.lines.right = line_through(boxes.right, &words.source());
        let made = rig_file(&rig, boxes, &OwnFeed::default(), &words);
        assert_eq!((made.left.gain_db, made.right.gain_db), (0.0, 0.0));
        let read = file::parse(&file::to_toml(&made)).expect("a rig file");
        assert_eq!(read, made);
        assert_eq!(card_words(&read), words);
        assert_eq!(card_words(&RigFile::default()), CardWords::default());
    }

    #[test]
    fn nothing_said_is_no_number() {
        let words = CardWords {
            peak_dbu: Some(-9.0),
            ..CardWords::default()
        };
        let made = rig_file(&Rig::default(), Boxes::default(), &OwnFeed::default(), &words);
        assert!(!made.level_known && made.source.peak_dbu.is_none());
        assert_eq!(made.card, CardTexts::default());
        assert!(file::parse(&file::to_toml(&made)).is_ok());
    }

    #[test]
    fn a_rig_comes_out_of_its_file_as_it_was() {
        let mut rig = Rig::default();
        rig.lines.left = Line {
            polarity: Polarity::Flipped,
            gain_db: -6.5,
            delay_s: 0.001,
            high_pass_hz: [20.0, 0.0],
            unplugged: false,
        };
        rig.lines.right = line_through(Some(Kind::PassiveDirectBox), &Source::default());
        rig.lines.right.gain_db += 3.0;
        rig.limits.dry_holds_db = -3.0;
        let boxes = Boxes {
            left: Some(Kind::LineIsolator),
            right: Some(Kind::PassiveDirectBox),
        };
        let mut own = OwnFeed::default();
        let file = rig_file(&rig, boxes, &own, &CardWords::default());
        assert_eq!(file.own, None);
        let back = file.rig();
        for (back, set) in [
            (back.lines.left, rig.lines.left),
            (back.lines.right, rig.lines.right),
        ] {
            assert!((back.gain_db - set.gain_db).abs() < 1e-9, "{back:?}, not {set:?}");
            assert!(
                (back.delay_s - set.delay_s).abs() < 1e-12,
                "{back:?}, not {set:?}"
            );
            assert_eq!(
                (back.polarity, back.high_pass_hz, back.unplugged),
                (set.polarity, set.high_pass_hz, set.unplugged)
            );
        }
        assert_eq!((back.law, back.limits), (rig.law, rig.limits));
        assert_eq!(file.right.kind, Some(Kind::PassiveDirectBox));
        own.name = String::from("side fill");
        let file = rig_file(&rig, boxes, &own, &CardWords::default());
        assert_eq!((file.own_name(), file.rig().own), (Some("side fill"), rig.own));
    }
}
