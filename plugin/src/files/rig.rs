//! What the player has set up, as a rig file says it: for the rig card.

use sumproof_core::routing::boxes::Kind;
use sumproof_core::routing::feed::Side;
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_core::score::rig::Rig;
use sumproof_report::rig::file::{CardTexts, RigFile, RigLine};
use sumproof_views::{Boxes, OwnFeed, line_through};

/// The rig, the boxes and the user's own feed as a rig file. Names that the plugin doesn't know stay empty: the card has
/// blanks for them.
pub fn rig_file(rig: &Rig, boxes: Boxes, own: &OwnFeed) -> RigFile {
    let plain = Rig::default();
    RigFile {
        left: line(&rig.lines.left, boxes.on(Side::Left)),
        right: line(&rig.lines.right, boxes.on(Side::Right)),
        sum: rig.law,
        own: (own.feed != plain.own || !own.name.trim().is_empty()).then(|| {
            sumproof_report::rig::file::OwnFeed {
                name: String::from(own.name()),
                ending: own.feed.ending,
                low_pass_hz: own.feed.low_pass_hz,
                left: line(&own.feed.left, None),
                right: line(&own.feed.right, None),
            }
        }),
        limits: rig.limits,
        card: CardTexts::default(),
        ..RigFile::default()
    }
}

/// A line as it is set: what the box does is taken out of it again, because a rig file counts it by itself.
fn line(set: &Line, kind: Option<Kind>) -> RigLine {
    let by_box = line_through(kind);
    RigLine {
        kind,
        polarity: if set.polarity == by_box.polarity {
            Polarity::Normal
        } else {
            Polarity::Flipped
        },
        gain_db: set.gain_db - by_box.gain_db,
        delay_ms: 1000.0 * (set.delay_s - by_box.delay_s),
        high_pass_hz: Some(set.high_pass_hz[0]),
        unplugged: set.unplugged,
        ..RigLine::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
        rig.lines.right = line_through(Some(Kind::PassiveDirectBox));
        rig.lines.right.gain_db += 3.0;
        rig.limits.dry_holds_db = -3.0;
        let boxes = Boxes {
            left: Some(Kind::LineIsolator),
            right: Some(Kind::PassiveDirectBox),
        };
        let mut own = OwnFeed::default();
        let file = rig_file(&rig, boxes, &own);
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
        let file = rig_file(&rig, boxes, &own);
        assert_eq!((file.own_name(), file.rig().own), (Some("side fill"), rig.own));
    }
}
