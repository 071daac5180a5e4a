//! The rig card: its contents, that it is one page whatever the texts, and that both forms have the same contents.

use proptest::prelude::*;
use sumproof_core::routing::boxes::{DeskInput, Kind, Whose};
use sumproof_core::routing::feed::FeedId;
use sumproof_core::routing::line::Polarity;
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::rig::Rig;
use sumproof_report::rig::card::{
    CardError, CardForm, FIRST, Paper, Preset, TakesError, card, presets_of_json,
};
use sumproof_report::rig::file::{CardTexts, RigFile, RigLine, lengths, parse};

fn with_boxes(left: Kind, right: Kind) -> RigFile {
    let line = |kind| RigLine {
        kind: Some(kind),
        ..RigLine::default()
    };
    RigFile {
        left: line(left),
        right: line(right),
        ..RigFile::default()
    }
}

/// The words of the HTML in reading order.
fn words(file: &RigFile, presets: &[Preset], paper: Paper) -> String {
    let made = card(file, presets, paper, CardForm::Html).expect("it fits");
    let page = String::from_utf8(made.bytes).expect("text");
    let body = page.split("<main").nth(1).expect("a page");
    let mut text = String::new();
    let mut inside = false;
    for c in body.split_once('>').expect("an open tag").1.chars() {
        match c {
            '<' => inside = true,
            '>' => inside = false,
            c if !inside => text.push(c),
            _ => {}
        }
    }
    text.split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .replace("&quot;", "\"")
        .replace("&amp;", "&")
}

fn preset(name: &str, outcomes: &[(FeedId, Outcome)]) -> Preset {
    Preset {
        name: name.into(),
        outcomes: outcomes.to_vec(),
        likely: Vec::new(),
    }
}

#[test]
fn the_first_line_is_the_one_that_saves_the_evening() {
    let text = words(&RigFile::default(), &[], Paper::A4);
    assert!(text.starts_with(FIRST), "{text}");
    assert_eq!(
        FIRST,
        "If the wedge is all reverb, press the polarity switch on one of my two channels."
    );
}

#[test]
fn everything_the_engineer_needs_is_there() {
    let mut file = with_boxes(Kind::AdapterCable, Kind::ActiveDirectBox);
    file.right.polarity = Polarity::Flipped;
    file.level_known = true;
    file.card = CardTexts {
        player: "Guitar & voice".into(),
        rig: "rack".into(),
        left: "clean".into(),
        notes: vec!["Bring <two> \"D\" cells".into()],
        ..CardTexts::default()
    };
    let text = words(&file, &[], Paper::Letter);
    for part in [
        "Guitar & voice",
        "rack",
        "Player: Guitar & voice Show: __________ Date: __________",
        "I send: stereo, two channels, pan hard left and right. If you have one channel: either line, centred.",
        "channel at the desk __________ __________",
        "name clean __________",
        "DI mine or yours ______: adapter cable, into a mic input mine or yours ______: active direct box, into a mic input",
        "pad YES (peaks taken as 12 dB over rms)",
        "48 V NO: it would reach my outputs YES, after plugging",
        "loud playing, at the desk −2 dBu rms, ____ dBu peak −1 dBu rms, ____ dBu peak",
        "low-end roll-off none 5 Hz",
        "polarity pin 2 hot FLIPPED (pin 3 hot): press the switch on this one",
        "ground joined to yours, not isolated",
        "Monitor wish: __________ Stage position: __________ Contact: __________",
        "The lines are not alike",
        "30 seconds at the sound check",
        "If only one line fits",
        "what must not happen, and how it sounds",
        "on again after that, for the right box only",
        "Never lift a mains protective earth. A ground lift is for the audio shield only.",
        "call the venue's electrician. Local rules apply.",
        "48 V off before anything is plugged",
        "A ground loop; normal with separate supplies",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
    // The player's own words are escaped, never markup.
    let page = card(&file, &[], Paper::A4, CardForm::Html)
        .expect("it fits")
        .bytes;
    let page = String::from_utf8(page).expect("text");
    assert!(page.contains("Bring &lt;two&gt; &quot;D&quot; cells"));
    assert!(!page.contains("http"), "it needs no network");
    // A line that isn't plugged is not offered.
    file.left.unplugged = true;
    let text = words(&file, &[], Paper::A4);
    assert!(text.contains("Take the right line") && text.contains("loud playing, at the desk not plugged"));
    // If the boxes are unknown, the card says so.
    let nothing = words(&RigFile::default(), &[], Paper::A4);
    assert!(
        nothing.contains("DI ask me pad ask me 48 V ask me ground ask me polarity ask me"),
        "{nothing}"
    );
    // And it has no number that the player did not enter.
    assert!(
        nothing.contains("loud playing, at the desk ____ dBu rms, ____ dBu peak"),
        "{nothing}"
    );
    assert!(
        !nothing.contains("0 dBu") && !nothing.contains("lost"),
        "{nothing}"
    );
}

#[test]
fn a_pad_is_judged_by_peaks() {
    let mut file = with_boxes(Kind::LineIsolator, Kind::LineIsolator);
    for side in [&mut file.left, &mut file.right] {
        side.input = Some(DeskInput::Mic);
    }
    assert!(words(&file, &[], Paper::A4).contains("pad watch the peaks; ask me"));
    // −2.7 dBu rms into a microphone input.
    (file.source.level_dbu, file.level_known) = (-2.0, true);
    assert!(words(&file, &[], Paper::A4).contains("pad YES"));
    file.source.peak_dbu = Some(-1.0);
    assert!(words(&file, &[], Paper::A4).contains("pad no"));
    file.source.peak_dbu = Some(9.0);
    assert!(words(&file, &[], Paper::A4).contains("pad YES"));
}

/// For a transformer the source impedance sets the low-end roll-off; a corner from a data sheet is used as it is.
#[test]
fn a_passive_direct_box_says_what_it_is_driven_from() {
    let mut file = with_boxes(Kind::PassiveDirectBox, Kind::PassiveDirectBox);
    assert!(words(&file, &[], Paper::A4).contains("low-end roll-off 29 Hz, driven from 220 ohm"));
    file.left.high_pass_hz = Some(18.0);
    assert!(words(&file, &[], Paper::A4).contains("low-end roll-off 18 Hz 29 Hz, driven from 220 ohm"));
}

/// Without any words: blanks and 'ask me', no number but those of the steps.
#[test]
fn what_nobody_said_is_a_blank() {
    let text = words(&RigFile::default(), &[], Paper::A4);
    for part in [
        "name __________ __________",
        "pad ask me",
        "48 V ask me",
        "loud playing, at the desk ____ dBu rms, ____ dBu peak",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
    assert!(!text.contains("roll-off") && !text.contains("0 dBu"), "{text}");
    // Peaks alone may be known.
    let mut file = with_boxes(Kind::StageBoxLine, Kind::StageBoxLine);
    file.source.peak_dbu = Some(9.4);
    assert!(words(&file, &[], Paper::A4).contains("loud playing, at the desk ____ dBu rms, +9 dBu peak"));
}

#[test]
fn presets_at_risk_come_worst_first() {
    use Outcome::{DropsOut, Holds, Thins};
    let presets = [
        preset(
            "Fine",
            &[
                (FeedId::MonoWedge, Holds),
                (FeedId::LeftLineOnly, Holds),
                (FeedId::WedgeLineFlipped, DropsOut),
            ],
        ),
        preset(
            "Thin",
            &[
                (FeedId::MonoWedge, Holds),
                (FeedId::LeftLineOnly, Thins),
                (FeedId::RightLineOnly, Thins),
            ],
        ),
        preset(
            "Gone",
            &[
                (FeedId::MonoWedge, DropsOut),
                (FeedId::RightLineOnly, Holds),
                (FeedId::WedgeLineFlipped, Holds),
            ],
        ),
    ];
    let mut file = with_boxes(Kind::LineIsolator, Kind::LineIsolator);
    file.card.at_risk = vec!["Solo: loud".into()];
    let text = words(&file, &presets, Paper::A4);
    let at = |part: &str| text.find(part).unwrap_or_else(|| panic!("{part}\n{text}"));
    // A fault takes the dry out of nearly every preset, so that is counted and not listed.
    assert!(at("One line flipped: 1 of 2 drops out.") < at("Solo: loud"));
    assert!(at("Solo: loud") < at("Gone drops out: mono wedge"));
    assert!(at("Gone drops out: mono wedge") < at("Thin thins: either line alone"));
    assert!(!text.contains("Fine "));
    // The left holds one, the right holds one: either; and the player's choice overrides both.
    assert!(text.contains("Take either line and pan it to the centre."));
    assert!(text.contains("1 of my 3 presets hold on the left one, 1 on the right one."));
    file.card.one_line = Some(sumproof_core::routing::feed::Side::Right);
    assert!(words(&file, &presets, Paper::A4).contains("Take the right line and pan it to the centre."));
}

#[test]
fn what_is_only_probable_is_marked_and_counted_in() {
    let feeds = [
        (FeedId::MonoWedge, Outcome::Thins),
        (FeedId::LeftLineOnly, Outcome::Thins),
        (FeedId::RightLineOnly, Outcome::Thins),
        (FeedId::WedgeLineFlipped, Outcome::DropsOut),
    ];
    let said = |likely: &[FeedId]| {
        let presets = [Preset {
            likely: likely.to_vec(),
            ..preset("Wide", &feeds)
        }];
        words(
            &with_boxes(Kind::LineIsolator, Kind::LineIsolator),
            &presets,
            Paper::A4,
        )
    };
    let plain = said(&[]);
    assert!(plain.contains("Wide thins: mono wedge, either line alone") && !plain.contains("probable"));
    assert!(
        said(&[FeedId::LeftLineOnly]).contains("Wide thins: mono wedge, left line alone?, right line alone")
    );
    let all = said(&feeds.map(|(feed, _)| feed));
    assert!(
        all.contains("Wide thins?: mono wedge, either line alone"),
        "{all}"
    );
    assert!(
        all.contains("1 of 1 drops out; probable ones are counted in."),
        "{all}"
    );
}

/// The longest texts everywhere, in ordinary words or in the widest letter.
fn long(word: &str) -> RigFile {
    let text = |length: usize| -> String {
        let mut text = String::new();
        while text.chars().count() < length {
            text.push_str(word);
            text.push(' ');
        }
        text.chars().take(length).collect::<String>().trim_end().into()
    };
    let mut file = with_boxes(Kind::PassiveDirectBox, Kind::AdapterCable);
    file.left.delay_ms = 3.0;
    file.right.polarity = Polarity::Flipped;
    file.card = CardTexts {
        player: text(lengths::NAME),
        show: text(lengths::SHORT),
        date: text(lengths::SHORT),
        contact: text(lengths::SHORT),
        position: text(lengths::SHORT),
        monitor: text(lengths::MONITOR),
        connector: text(lengths::SHORT),
        boxes: Some(Whose::Yours),
        rig: text(lengths::RIG),
        left: text(lengths::CARRIES),
        right: text(lengths::CARRIES),
        one_line: None,
        notes: vec![text(lengths::NOTE); lengths::NOTES],
        at_risk: vec![text(lengths::AT_RISK); lengths::AT_RISKS],
    };
    file
}

#[test]
fn long_texts_shrink_or_are_refused_and_never_take_a_second_page() {
    for paper in Paper::ALL {
        // As long as the rig file allows, in words of usual width: it fits, smaller.
        let file = long("sounding board with two loops");
        let made = card(&file, &[], paper, CardForm::Html).expect("it fits");
        assert!(made.scale < 1.0 && made.scale >= 0.8, "{}", made.scale);
        assert!(made.unnamed > 0);
        let pdf = card(&file, &[], paper, CardForm::Pdf).expect("it fits");
        assert_eq!((pdf.scale, pdf.unnamed), (made.scale, made.unnamed));
        assert_eq!(pages(&pdf.bytes), 1);
        // The widest letter throughout: if it doesn't fit it is refused, with advice.
        match card(&long("WWWWWWWW"), &[], paper, CardForm::Pdf) {
            Ok(made) => assert_eq!(pages(&made.bytes), 1),
            Err(CardError::TooLong { over_mm, .. }) => {
                assert!(over_mm > 0.0);
            }
            Err(other) => panic!("{other}"),
        }
        // Short texts: larger than usual, and every preset is named.
        let short = card(
            &with_boxes(Kind::LineIsolator, Kind::LineIsolator),
            &[],
            paper,
            CardForm::Pdf,
        )
        .expect("it fits");
        assert!(short.scale > 1.0, "{}", short.scale);
        assert_eq!((pages(&short.bytes), short.unnamed), (1, 0));
    }
    let refused = CardError::TooLong {
        over_mm: 12.3,
        paper: "A4",
    };
    assert_eq!(
        refused.to_string(),
        "the card is 12 mm too long for one A4 page; shorten card.notes, card.rig, card.left or card.right"
    );
}

/// Number of pages of a PDF, from its page tree.
fn pages(pdf: &[u8]) -> usize {
    assert!(pdf.starts_with(b"%PDF-"));
    let text = String::from_utf8_lossy(pdf);
    let tree = text
        .split("/Type /Pages")
        .nth(1)
        .or_else(|| text.split("/Type/Pages").nth(1))
        .expect("a page tree");
    let count = tree.split("/Count").nth(1).expect("a count");
    count
        .trim_start()
        .split(|c: char| !c.is_ascii_digit())
        .next()
        .and_then(|n| n.parse().ok())
        .expect("a number")
}

#[test]
fn every_line_stands_on_the_paper() {
    for paper in Paper::ALL {
        let (width, height) = paper.points();
        for file in [RigFile::default(), long("many words")] {
            let page = card(&file, &[], paper, CardForm::Html).expect("it fits").bytes;
            let page = String::from_utf8(page).expect("text");
            let places: Vec<[f64; 3]> = page
                .split("style=\"left:")
                .skip(1)
                .map(|rest| {
                    let mut numbers = rest
                        .split(['p', ':', ';'])
                        .filter_map(|part| part.parse::<f64>().ok());
                    core::array::from_fn(|_| numbers.next().expect("left, top, size"))
                })
                .collect();
            assert!(places.len() > 40);
            for [left, top, size] in places {
                assert!(left >= 36.0 && left < width - 36.0, "{left}");
                assert!(top >= 36.0 && top + size <= height - 34.0, "{top} {size}");
                assert!(size >= 8.9, "{size}");
            }
        }
    }
}

#[test]
fn the_same_rig_gives_the_same_bytes() {
    for form in [CardForm::Html, CardForm::Pdf] {
        let file = long("the same");
        assert_eq!(
            card(&file, &[], Paper::A4, form),
            card(&file, &[], Paper::A4, form)
        );
    }
}

#[test]
fn what_the_typeface_lacks_is_told() {
    let mut file = RigFile::default();
    file.card.player = "Ján 音".into();
    let made = card(&file, &[], Paper::A4, CardForm::Html).expect("it fits");
    assert_eq!(made.missing_characters, 1);
    assert!(words(&file, &[], Paper::A4).contains("Ján ?"));
}

#[test]
fn takes_are_read_from_the_json_of_check() {
    let rig = Rig::default();
    let json = r#"{"schema": 1, "takes": [
        {"name": "A", "pass": "full", "feeds": [{"id": "mono-wedge", "outcome": "thins"}, {"id": "from-the-future", "outcome": null}]},
        {"name": "B", "pass": "dry", "feeds": [{"id": "mono-wedge", "outcome": "holds"}]}]}"#;
    let presets = presets_of_json(json, &rig).expect("it is one");
    assert_eq!(presets, [preset("A", &[(FeedId::MonoWedge, Outcome::Thins)])]);
    let refused = |text: &str| presets_of_json(text, &rig).expect_err("it is none").to_string();
    assert!(refused("[1,\n2").starts_with("is not what `sumproof check --format json` writes ("));
    assert_eq!(refused("[1,\n2").lines().count(), 1);
    assert!(refused(r#"{"schema": 99, "takes": []}"#).contains("has schema 99"));
    assert_eq!(
        presets_of_json(r#"{"schema": 1, "takes": []}"#, &rig),
        Err(TakesError::Empty)
    );
}

#[test]
fn the_examples_make_cards() {
    for text in [
        include_str!("../../../examples/two-isolators.toml"),
        include_str!("../../../examples/uneven-boxes.toml"),
    ] {
        let file = parse(text).expect("an example of ours");
        for paper in Paper::ALL {
            let made = card(&file, &[], paper, CardForm::Pdf).expect("it fits");
            assert!(made.scale >= 0.9, "{}", made.scale);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 24, ..ProptestConfig::default() })]

    /// Whatever the player writes, in any script: one page, or one line that gives the excess length.
    #[test]
    fn any_texts_make_one_page(
        player in "\\PC{0,60}",
        rig in "\\PC{0,120}",
        left in "\\PC{0,80}",
        notes in prop::collection::vec("\\PC{0,120}", 0..4),
        at_risk in prop::collection::vec("[a-zA-Z ]{0,100}", 0..30),
        letter in any::<bool>(),
    ) {
        let mut file = with_boxes(Kind::Wireless, Kind::PassiveDirectBox);
        file.card = CardTexts { player, rig, left, notes, at_risk, ..CardTexts::default() };
        let paper = if letter { Paper::Letter } else { Paper::A4 };
        match card(&file, &[], paper, CardForm::Pdf) {
            Ok(made) => {
                prop_assert_eq!(pages(&made.bytes), 1);
                prop_assert!(made.unnamed <= file.card.at_risk.len());
            }
            Err(error) => prop_assert!(matches!(error, CardError::TooLong { .. }), "{}", error),
        }
    }
}
