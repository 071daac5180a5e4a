//! The sentences on a line check's findings.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

use sumproof_core::line_check::{
    Answer, Arrival, Estimate, Feeding, Findings, LineFinding, Mode, Notice, PairFinding, Pictures,
    Reception, Trust, Unknown,
};
use sumproof_core::routing::feed::Side;
use sumproof_core::routing::line::Polarity;
use sumproof_wording::line_check::sentence;

fn told<T>(value: T, trust: Trust) -> Answer<T> {
    Answer::Known(Estimate {
        value,
        trust,
        within: 0.0,
    })
}

fn sure<T>(value: T) -> Answer<T> {
    told(value, Trust::Sure)
}

/// Findings with both lines alike, and this reception.
fn alike(heard: Reception) -> Findings {
    let line = LineFinding {
        arrival: Arrival::Yes,
        clearness_db: Some(40.0),
        absolute: None,
    };
    Findings {
        mode: Mode::Stereo,
        sweep_s: 2.0,
        speed: 1.0,
        seconds: 60.0,
        rate_hz: 48_000.0,
        channels: 1,
        start_s: 1.0,
        drift_ppm: Some(0.0),
        lines: [line.clone(), line],
        pair: Some(PairFinding {
            polarity: sure(Polarity::Normal),
            delay_s: sure(0.0),
            level_db: sure(0.0),
            corners_hz: sure([0.0; 2]),
        }),
        feeding: Feeding {
            heard: sure(heard),
            feeds: Vec::new(),
            faulty: None,
        },
        noise_db: -60.0,
        distortion_db: -80.0,
        notices: Vec::new(),
        pictures: Pictures::default(),
    }
}

#[test]
fn what_is_alike_is_well() {
    assert_eq!(
        sentence(&alike(Reception::Sum)),
        "Both my lines arrive alike and are summed: all is well here."
    );
    assert_eq!(
        sentence(&alike(Reception::Apart)),
        "Both my lines arrive alike and apart: all is well here."
    );
}

#[test]
fn a_line_that_is_missing_is_named() {
    let mut found = alike(Reception::One(Side::Left));
    found.lines[1].arrival = Arrival::No { below_db: 40.0 };
    found.pair = None;
    let said = sentence(&found);
    assert!(
        said.contains("Only my left line") && said.contains("is my right line plugged in"),
        "{said}"
    );
    found.lines.swap(0, 1);
    assert!(sentence(&found).contains("Only my right line"));
    found.lines[0].arrival = Arrival::Unknown { below_db: 10.0 };
    assert!(sentence(&found).starts_with("I can't tell whether my left line"));
}

#[test]
fn faults_are_said_with_their_figures_and_doubtful_ones_are_not() {
    let mut found = alike(Reception::Sum);
    if let Some(pair) = &mut found.pair {
        pair.level_db = sure(-6.0);
        pair.delay_s = sure(0.001);
    }
    assert_eq!(
        sentence(&found),
        "My right line is 6.0 dB softer than the other, and my right line is 1.00 ms late: can you even that out at the \
         desk?"
    );
    if let Some(pair) = &mut found.pair {
        pair.level_db = Answer::Unknown(Unknown::Gain);
        pair.delay_s = told(0.001, Trust::Likely);
    }
    assert_eq!(
        sentence(&found),
        "My right line may be 1.00 ms late: can you even that out at the desk?"
    );
}

#[test]
fn lines_that_cancel_and_lines_that_arrive_by_different_ways() {
    assert!(
        sentence(&alike(Reception::Difference)).starts_with("My two lines cancel each other in this feed")
    );
    let mut found = alike(Reception::Sum);
    found.feeding.heard = Answer::Unknown(Unknown::Noise);
    assert!(sentence(&found).contains("can't be told"));
    found.feeding.heard = Answer::Unknown(Unknown::DifferentWays);
    assert!(sentence(&found).contains("by different ways"));
}

#[test]
fn nothing_is_asked_for_on_a_guess_and_well_is_only_what_is_told() {
    let mut found = alike(Reception::Difference);
    found.feeding.heard = told(Reception::Difference, Trust::Likely);
    let said = sentence(&found);
    assert!(!said.contains("flip") && said.contains("may cancel"), "{said}");
    let mut found = alike(Reception::Sum);
    found.notices.push(Notice::PerhapsMono);
    assert!(sentence(&found).contains("if the player keeps left and right apart"));
    found.notices = vec![Notice::Moved];
    assert!(sentence(&found).contains("the phone was moved"));
    found.notices.clear();
    for change in [
        |pair: &mut PairFinding| pair.delay_s = Answer::Unknown(Unknown::Clock),
        |pair: &mut PairFinding| pair.level_db = Answer::Unknown(Unknown::Gain),
        |pair: &mut PairFinding| pair.corners_hz = Answer::Unknown(Unknown::Noise),
    ] {
        let mut found = found.clone();
        change(found.pair.as_mut().unwrap());
        let said = sentence(&found);
        assert!(!said.contains("well") && said.contains("can't be told"), "{said}");
    }
    found.feeding.heard = told(Reception::Sum, Trust::Likely);
    assert!(sentence(&found).contains("all may be well"));
}
