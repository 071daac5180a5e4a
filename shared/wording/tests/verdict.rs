//! Tests of the verdict in words.

use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::scorer::FeedScore;
use sumproof_core::score::verdict::Verdict as Sure;
use sumproof_core::session::reading::Reading;
use sumproof_core::split::interval::{Interval, Known};
use sumproof_wording::scores::label;
use sumproof_wording::verdict::{Verdict, of_feeds};
use sumproof_wording::{Name, feeds};

fn score(dry_db: Option<f64>, wet_db: Option<f64>, dry_at_floor: bool) -> FeedScore {
    FeedScore {
        dry: dry_db.map(Interval::measured),
        wet: wet_db.map(Interval::measured),
        balance: None,
        wet_if_ordinary_db: None,
        dry_db,
        dry_at_floor,
        wet_db,
        total_db: -1.0,
        balance_shift_db: None,
        dry_against_mono_db: None,
        total_against_mono_db: None,
        makeup_db: 0.0,
        level_lu: 0.0,
        tone_db: None,
        colour: sumproof_core::score::colour::Colour::default(),
        dip: None,
    }
}

fn reading(rows: &[(FeedId, Outcome, FeedScore)]) -> Reading {
    let mut reading = Reading::default();
    for id in FeedId::ALL {
        let row = &mut reading.rows[id as usize];
        row.outcome = Some(Outcome::Holds);
        row.score = Some(score(Some(0.0), Some(-3.01), false));
    }
    for &(id, outcome, score) in rows {
        let row = &mut reading.rows[id as usize];
        (row.outcome, row.score) = (Some(outcome), Some(score));
    }
    reading
}

/// Sets the certainty of a feed's outcome, and the dry's interval.
fn doubt(reading: &mut Reading, id: FeedId, verdict: Sure<Outcome>, ends: (f64, f64, f64)) {
    let row = &mut reading.rows[id as usize];
    (row.verdict, row.outcome) = (Some(verdict), verdict.word());
    let (low, likely, high) = ends;
    if let Some(score) = &mut row.score {
        score.dry = Some(Interval::new(low, likely, high, Known::Bounded));
        score.dry_db = Some(likely);
        (score.wet, score.wet_db) = (None, None);
    }
}

fn said(reading: &Reading) -> String {
    Verdict::of(reading)
        .map(|verdict| verdict.sentence())
        .unwrap_or_default()
}

#[test]
fn an_ordinary_preset() {
    let text = said(&reading(&[
        (
            FeedId::WedgeLineFlipped,
            Outcome::DropsOut,
            score(Some(-21.0), Some(-3.0), true),
        ),
        (
            FeedId::LeftLineOnly,
            Outcome::Holds,
            score(Some(0.0), Some(0.0), false),
        ),
        (
            FeedId::RightLineOnly,
            Outcome::Holds,
            score(Some(0.0), Some(0.0), false),
        ),
    ]));
    assert_eq!(
        text,
        "The mono wedge holds: the dry untouched, the wet 3 dB down. With one line flipped it drops out: the dry \
         at least 20 dB down. If only one line fits, give either."
    );
}

#[test]
fn a_flipped_channel() {
    let text = said(&reading(&[
        (
            FeedId::MonoWedge,
            Outcome::DropsOut,
            score(Some(f64::NEG_INFINITY), Some(-3.0), false),
        ),
        (
            FeedId::WedgeLineFlipped,
            Outcome::DropsOut,
            score(Some(f64::NEG_INFINITY), Some(-3.0), false),
        ),
        (
            FeedId::LeftLineOnly,
            Outcome::Thins,
            score(Some(-5.0), None, false),
        ),
    ]));
    assert_eq!(
        text,
        "The mono wedge drops out: the dry gone, the wet 3 dB down. With one line flipped it still drops out: the \
         dry gone. If only one line fits, give the right line."
    );
}

#[test]
fn wet_only_speaks_of_the_sound() {
    let text = said(&reading(&[
        (FeedId::MonoWedge, Outcome::Holds, score(None, Some(-3.0), false)),
        (
            FeedId::LeftLineOnly,
            Outcome::DropsOut,
            score(None, Some(-30.0), false),
        ),
        (
            FeedId::RightLineOnly,
            Outcome::DropsOut,
            score(None, Some(-30.0), false),
        ),
    ]));
    assert!(
        text.starts_with("The mono wedge holds: the sound 1 dB down. "),
        "{text}"
    );
    assert!(text.ends_with("Neither line alone is enough."), "{text}");
}

#[test]
fn the_report_begins_as_the_window_does_and_names_what_does_not_hold() {
    let mut reading = reading(&[
        (
            FeedId::WedgeLineFlipped,
            Outcome::DropsOut,
            score(Some(-20.0), Some(-3.0), true),
        ),
        (
            FeedId::LeftLineOnly,
            Outcome::Thins,
            score(Some(-5.0), Some(0.0), false),
        ),
    ]);
    reading.rows[FeedId::WedgeLineFlipped as usize].worse = Some(Side::Left);
    let labels: Vec<String> = reading.rows.iter().map(|row| label(row, row.id.name())).collect();
    let rows: Vec<_> = reading
        .rows
        .iter()
        .zip(labels.iter().map(String::as_str))
        .filter(|(row, _)| row.id != FeedId::Own)
        .collect();
    let report = of_feeds(&rows);
    assert_eq!(
        report,
        "The mono wedge holds: the dry untouched, the wet 3 dB down. Drops out in: mono wedge, left line flipped (dry at \
         least 20 dB down). Thins in: left line only (dry -5.0 dB, tone no reading). Holds in 10 of 12 feeds."
    );
    let first = |text: &str| text.split(". ").next().unwrap_or_default().to_owned();
    assert_eq!(first(&said(&reading)), first(&report));
    let wedge = [(reading.row(FeedId::MonoWedge), feeds::name(FeedId::MonoWedge))];
    assert!(of_feeds(&wedge).ends_with("Holds in the one feed asked for."));
}

#[test]
fn what_is_only_likely_is_said_so_and_what_cannot_be_told_too() {
    let likely = |word, other| Sure::Likely { word, other };
    let mut reading = reading(&[]);
    let wedge = likely(Outcome::Holds, Outcome::Thins);
    doubt(&mut reading, FeedId::MonoWedge, wedge, (-4.6, -2.0, -1.0));
    doubt(
        &mut reading,
        FeedId::WedgeLineFlipped,
        Sure::CannotTell,
        (f64::NEG_INFINITY, -9.0, -2.0),
    );
    doubt(
        &mut reading,
        FeedId::LeftLineOnly,
        Sure::CannotTell,
        (-12.0, -3.0, 2.0),
    );
    doubt(
        &mut reading,
        FeedId::RightLineOnly,
        Sure::CannotTell,
        (-12.0, -3.0, 2.0),
    );
    assert_eq!(
        said(&reading),
        "The mono wedge probably holds, or it thins: the dry about 2 dB down. With one line flipped it can't be told. Whether \
         one line alone is enough can't be told."
    );
    doubt(
        &mut reading,
        FeedId::MonoWedge,
        Sure::CannotTell,
        (-12.0, -3.0, 2.0),
    );
    let thins = likely(Outcome::Thins, Outcome::Holds);
    doubt(&mut reading, FeedId::WedgeLineFlipped, thins, (-6.0, -5.0, 0.2));
    let holds = likely(Outcome::Holds, Outcome::Thins);
    doubt(&mut reading, FeedId::RightLineOnly, holds, (0.4, 1.8, 2.6));
    assert_eq!(
        said(&reading),
        "Whether the mono wedge holds can't be told. With one line flipped it probably thins, or it holds: the dry about 5 dB \
         down. If only one line fits, give the right line: it probably holds."
    );
}

#[test]
fn the_report_counts_only_what_plainly_holds() {
    let mut reading = reading(&[]);
    let holds = Sure::Likely {
        word: Outcome::Holds,
        other: Outcome::Thins,
    };
    doubt(&mut reading, FeedId::RightLineOnly, holds, (-4.0, -1.0, 0.0));
    doubt(
        &mut reading,
        FeedId::WedgeLineLate,
        Sure::CannotTell,
        (-12.0, -3.0, 2.0),
    );
    let names: Vec<_> = reading
        .rows
        .iter()
        .map(|row| (row, feeds::name(row.id)))
        .collect();
    let report = of_feeds(&names);
    assert!(
        report.ends_with(
            "Can't be told in: mono wedge, one line late 1 ms (dry between 12 dB down and 2 dB up). Holds in 11 of 13 feeds, \
             probably in 1 more."
        ),
        "{report}"
    );
}
