//! The rig file: what is accepted, what is refused and with which message, and that a written file reads back.

use proptest::prelude::*;
use sumproof_core::routing::boxes::{DeskInput, Drive, InUse, Kind, Source, Whose};
use sumproof_core::routing::feed::{Ending, Side, SumLaw};
use sumproof_core::routing::line::Polarity;
use sumproof_core::score::outcome::Limits;
use sumproof_core::score::rig::Rig;
use sumproof_report::rig::file::{CardTexts, OwnFeed, RigFile, RigLine, lengths, parse, to_toml};

fn refused(text: &str) -> String {
    let line = parse(text).expect_err("it is wrong").to_string();
    assert_eq!(line.lines().count(), 1, "{line}");
    line
}

/// The examples in the documentation are accepted.
#[test]
fn the_documented_examples_are_read() {
    let page = include_str!("../../../docs/rig-file.md");
    let blocks: Vec<&str> = page
        .split("```toml\n")
        .skip(1)
        .filter_map(|rest| rest.split("```").next())
        .collect();
    assert!(blocks.len() >= 2);
    for block in blocks {
        if let Err(error) = parse(block) {
            panic!("{error}\n{block}");
        }
    }
    for text in [
        include_str!("../../../examples/two-isolators.toml"),
        include_str!("../../../examples/uneven-boxes.toml"),
    ] {
        let file = parse(text).expect("an example of ours");
        assert!(!file.card.player.is_empty());
        assert_eq!(parse(&to_toml(&file)).as_ref(), Ok(&file));
    }
}

/// Every key is documented.
#[test]
fn every_key_is_documented() {
    let page = include_str!("../../../docs/rig-file.md");
    let known = |text: &str| {
        let line = refused(text);
        let known = line
            .split("known here: ")
            .nth(1)
            .expect("they are listed")
            .trim_end_matches(')');
        known.split(", ").map(str::to_string).collect::<Vec<_>>()
    };
    for section in ["", "[left]\n", "[source]\n", "[own]\n", "[limits]\n", "[card]\n"] {
        for key in known(&format!("{section}zzz = 1\n")) {
            assert!(
                page.contains(&format!("`{key}`")) || page.contains(&format!("`[{key}]`")),
                "{section}{key}"
            );
        }
    }
    for kind in Kind::ALL {
        assert!(page.contains(&format!("`{}`", kind.id())), "{}", kind.id());
    }
}

#[test]
fn an_empty_file_is_two_straight_lines() {
    let file = parse("").expect("nothing is wrong with it");
    assert_eq!(file, RigFile::default());
    assert_eq!(file.rig(), Rig::default());
    assert_eq!(file.own_name(), None);
}

#[test]
fn every_key_arrives() {
    let file = parse(
        r#"
sum = "unity"
[left]
polarity = "flipped"
gain_db = -3
delay_ms = 1.5
high_pass_hz = 30
unplugged = false
[right]
unplugged = true
[source]
level_dbu = 4
impedance_ohm = 100
drive = "symmetric"
[own]
name = "drum riser"
ending = "left"
low_pass_hz = 120
left.gain_db = -20.0
[limits]
dry_holds_db = -3.0
tone_db = 4
[card]
player = "A. Player"
one_line = "right"
notes = ["one", "", "two\n  lines"]
at_risk = ["Swell: all wet"]
"#,
    )
    .expect("all of it is known");
    let rig = file.rig();
    assert_eq!(rig.law, SumLaw::Unity);
    assert_eq!(rig.lines.left.polarity, Polarity::Flipped);
    assert_eq!(rig.lines.left.gain_db, -3.0);
    assert_eq!(rig.lines.left.delay_s, 0.0015);
    assert_eq!(rig.lines.left.high_pass_hz, [30.0, 0.0]);
    assert!(rig.lines.right.unplugged && !rig.lines.left.unplugged);
    assert_eq!(rig.own.ending, Ending::One(Side::Left));
    assert_eq!(rig.own.low_pass_hz, Some(120.0));
    assert_eq!(rig.own.left.gain_db, -20.0);
    assert_eq!(file.own_name(), Some("drum riser"));
    assert_eq!(rig.limits.dry_holds_db, -3.0);
    assert_eq!(rig.limits.tone_db, 4.0);
    assert_eq!(rig.limits.wetter_db, Limits::default().wetter_db);
    assert_eq!(file.source.drive, Drive::Symmetric);
    assert_eq!(file.source.impedance_ohm, 100.0);
    assert_eq!(file.card.one_line, Some(Side::Right));
    assert_eq!(file.card.notes, ["one", "two lines"]);
    assert_eq!(file.card.at_risk, ["Swell: all wet"]);
}

#[test]
fn what_is_wrong_is_said_in_one_line() {
    assert_eq!(
        refused("[left]\ngain_db = 25\n"),
        "line 2: left.gain_db = 25 is out of range; give -40 to 20 dB"
    );
    assert_eq!(
        refused("[left]\ngian_db = 2\n"),
        "line 2: left.gian_db is not a key of a rig file; the nearest is left.gain_db (known here: box, turns_ratio, input, \
         load_ohm, phantom_power, polarity, gain_db, delay_ms, high_pass_hz, unplugged)"
    );
    assert_eq!(
        refused("\n\n[rihgt]\n"),
        "line 3: rihgt is not a key of a rig file; the nearest is right (known here: sum, left, right, source, own, \
         limits, card)"
    );
    assert_eq!(
        refused("[right]\npolarity = \"inverse\"\n"),
        "line 2: right.polarity = \"inverse\" is not known; give one of \"normal\", \"flipped\""
    );
    assert_eq!(
        refused("[right]\nunplugged = 1\n"),
        "line 2: right.unplugged = 1 is not true or false; write right.unplugged as in: unplugged = true"
    );
    assert_eq!(
        refused("[own]\nending = \"sum\"\n"),
        "line 1: own.name is missing; say what your own feed is called, as in: name = \"floor monitor at the club\""
    );
    assert_eq!(
        refused(&format!("[card]\nplayer = \"{}\"\n", "x".repeat(61))),
        "line 2: card.player has 61 characters; shorten it to 60 at the most"
    );
    assert_eq!(
        refused("[card]\nnotes = [\"a\",\"b\",\n\"c\",\"d\",\"e\"]\n"),
        "line 2: card.notes has 5 entries; shorten it to 4 at the most"
    );
    assert_eq!(
        refused("[card]\nnotes = [\"a\",\n3]\n"),
        "line 3: card.notes[1] = 3 is not a text; write card.notes[1] as in: notes[1] = \"…\""
    );
    assert_eq!(
        refused("[limits]\ndry_holds_db = -20.0\n"),
        "line 1: limits.dry_drops_out_db = -10 is above limits.dry_holds_db = -20; give it the same or less"
    );
    assert_eq!(
        refused("[left]\nbox = \"line-isolator\"\nturns_ratio = 8\n"),
        "line 3: left.turns_ratio belongs to a passive direct box only; leave it out, or write box = \
         \"passive-direct-box\""
    );
    assert!(refused("[left\n").starts_with("line 1: is not TOML ("));
    assert!(refused("sum = \"average\"\nsum = \"unity\"\n").starts_with("line 2: is not TOML ("));
}

#[test]
fn a_box_is_in_the_rig() {
    let file = parse(
        "[left]\nbox = \"passive-direct-box\"\n[right]\nbox = \"passive-direct-box\"\nturns_ratio = 10\ngain_db = \
         3\nhigh_pass_hz = 12\npolarity = \"flipped\"\n",
    )
    .expect("nothing is wrong with it");
    let rig = file.rig();
    let usual = InUse::usual(Kind::PassiveDirectBox).line(&Source::default());
    assert_eq!(rig.lines.left, usual);
    let ten = InUse {
        turns_ratio: Some(10.0),
        ..InUse::usual(Kind::PassiveDirectBox)
    };
    assert_eq!(
        rig.lines.right.gain_db,
        ten.line(&Source::default()).gain_db + 3.0
    );
    assert_eq!(rig.lines.right.high_pass_hz, [12.0, 0.0]);
    assert_eq!(rig.lines.right.polarity, Polarity::Flipped);
}

#[test]
fn a_box_and_more_must_stay_in_range_together() {
    assert_eq!(
        refused("[left]\nbox = \"passive-direct-box\"\ngain_db = -30.0\n"),
        "line 3: left.gain_db = -30 and the box's -22.5 dB make -52.5 dB together; give -17.5 to 20.0 dB with this box"
    );
    assert_eq!(
        refused("\n[right]\nbox = \"wireless\"\ndelay_ms = 29\n"),
        "line 2: right.delay_ms = 29 and the box's 3.0 ms are more than 30 ms together; give 0 to 27.0 ms with this box"
    );
    assert_eq!(
        refused("[source]\nimpedance_ohm = 10000\n[left]\nbox = \"line-isolator\"\n"),
        "line 3: left.box with an output of 10000 ohm has a corner of 213 Hz, more than 200 Hz; take another box, or give the \
         corner its data sheet says as high_pass_hz"
    );
    assert_eq!(
        refused("[left]\ninput = \"mic\"\n"),
        "line 2: left.input says nothing without a box; add box, or leave it out"
    );
}

#[test]
fn a_number_that_is_none_is_out_of_range() {
    for wild in ["nan", "inf", "-inf", "1e999", "99999999999999999999999"] {
        let line = refused(&format!("[left]\ndelay_ms = {wild}\n"));
        assert!(
            line.ends_with("is out of range; give 0 to 30 ms") || line.contains("is not TOML"),
            "{line}"
        );
    }
}

fn texts(longest: usize) -> impl Strategy<Value = String> {
    // Runs of white space are made single when a file is read.
    prop::collection::vec("[\\PC&&[^\\s]]{1,12}", 0..4).prop_map(move |words| {
        let text: String = words.join(" ").chars().take(longest).collect();
        text.trim_end().to_string()
    })
}

fn some_line() -> impl Strategy<Value = RigLine> {
    (
        prop::option::of(prop::sample::select(&Kind::ALL[..])),
        prop::option::of(1.0..=20.0),
        prop::option::of(600.0..=100_000.0),
        prop::option::of(any::<bool>()),
        prop::option::of(any::<bool>()),
        any::<bool>(),
        // In range even with the greatest loss of a box, 34 dB.
        -5.0..=10.0,
        0.0..=20.0,
        prop::option::of(0.0..=200.0),
        any::<bool>(),
    )
        .prop_map(
            |(kind, ratio, load, phantom, mic, flipped, gain_db, delay_ms, high_pass_hz, unplugged)| {
                RigLine {
                    kind,
                    turns_ratio: ratio.filter(|_| kind == Some(Kind::PassiveDirectBox)),
                    input: mic
                        .filter(|_| kind.is_some())
                        .map(|mic| if mic { DeskInput::Mic } else { DeskInput::Line }),
                    load_ohm: load.filter(|_| kind.is_some()),
                    phantom_power: phantom.filter(|_| kind.is_some()),
                    polarity: if flipped {
                        Polarity::Flipped
                    } else {
                        Polarity::Normal
                    },
                    gain_db,
                    delay_ms,
                    high_pass_hz,
                    unplugged,
                }
            },
        )
}

fn some_own() -> impl Strategy<Value = OwnFeed> {
    let endings = vec![
        Ending::Stereo,
        Ending::Sum(SumLaw::Average),
        Ending::Sum(SumLaw::Minus3Db),
        Ending::Sum(SumLaw::Unity),
        Ending::One(Side::Left),
        Ending::One(Side::Right),
        Ending::Difference,
    ];
    (
        texts(lengths::NAME - 1),
        prop::sample::select(endings),
        prop::option::of(20.0..=1000.0),
        some_line(),
        some_line(),
    )
        .prop_map(|(name, ending, low_pass_hz, left, right)| OwnFeed {
            name: format!("x{name}"),
            ending,
            low_pass_hz,
            left,
            right,
        })
}

fn some_card() -> impl Strategy<Value = CardTexts> {
    let list = |longest, most| {
        prop::collection::vec(texts(longest), 0..most)
            .prop_map(|texts| texts.into_iter().filter(|text| !text.is_empty()).collect())
    };
    (
        texts(lengths::NAME),
        [
            texts(lengths::SHORT),
            texts(lengths::SHORT),
            texts(lengths::SHORT),
            texts(lengths::SHORT),
            texts(lengths::SHORT),
            texts(lengths::MONITOR),
        ],
        prop::option::of(prop::sample::select(&[Whose::Mine, Whose::Yours][..])),
        texts(lengths::RIG),
        texts(lengths::CARRIES),
        texts(lengths::CARRIES),
        prop::option::of(prop::sample::select(&Side::BOTH[..])),
        list(lengths::NOTE, lengths::NOTES),
        list(lengths::AT_RISK, 9),
    )
        .prop_map(
            |(player, shorts, boxes, rig, left, right, one_line, notes, at_risk)| {
                let [show, date, contact, position, connector, monitor] = shorts;
                CardTexts {
                    player,
                    show,
                    date,
                    contact,
                    position,
                    monitor,
                    connector,
                    boxes,
                    rig,
                    left,
                    right,
                    one_line,
                    notes,
                    at_risk,
                }
            },
        )
}

fn some_file() -> impl Strategy<Value = RigFile> {
    let source =
        (-60.0..=24.0, 1.0..=1000.0, any::<bool>()).prop_map(|(level_dbu, impedance_ohm, both)| Source {
            level_dbu,
            peak_dbu: both.then_some(24.0 + impedance_ohm / 100.0),
            impedance_ohm,
            drive: if both {
                Drive::Symmetric
            } else {
                Drive::SingleEnded
            },
        });
    let limits = (-40.0..=-5.0, -60.0..=-40.0, -40.0..=0.0, 0.0..=40.0, 0.0..=30.0).prop_map(
        |(dry_holds_db, dry_drops_out_db, drier_db, wetter_db, tone_db)| Limits {
            dry_holds_db,
            dry_drops_out_db,
            drier_db,
            wetter_db,
            tone_db,
            // Limits derived from those drawn above.
            partials_db: tone_db,
            effect_gone_db: drier_db - 1.0,
        },
    );
    (
        some_line(),
        some_line(),
        prop::sample::select(&SumLaw::ALL[..]),
        source,
        prop::option::of(some_own()),
        limits,
        some_card(),
    )
        .prop_map(|(left, right, sum, source, own, limits, card)| RigFile {
            left,
            right,
            sum,
            source,
            // Every level drawn counts as entered.
            level_known: true,
            own,
            limits,
            card,
        })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// A written file reads back unchanged, and nothing in it needs clamping.
    #[test]
    fn what_was_written_reads_back(file in some_file()) {
        let text = to_toml(&file);
        let back = parse(&text).map_err(|error| TestCaseError::fail(format!("{error}\n{text}")))?;
        prop_assert_eq!(&back, &file);
        prop_assert_eq!(back.rig().clamped(), back.rig());
    }

    /// Any text, however odd, is either accepted or refused with one line.
    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,80}|(\\[(left|own|card)\\]\n|[a-z_]{1,9} = [0-9a-z\".+-]{1,8}\n){0,6}") {
        if let Err(error) = parse(&text) {
            let line = error.to_string();
            prop_assert_eq!(line.lines().count(), 1, "{}", line);
        }
    }
}
