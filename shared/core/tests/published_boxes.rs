//! Boxes against values from outside, and against circuit theory.

use sumproof_core::routing::boxes::{
    Candidate, Coupling, DeskInput, Drive, Gig, InUse, Isolation, Kind, Mains, Offered, PairOfLines, Phantom,
    Source, Trouble, common_mode_rejection_db, corner_hz, dbu_of_volts, phase_lead_deg, rank, reflected_ohm,
    thermal_noise_dbu, turns_gain_db, volts_of_dbu,
};
use sumproof_core::routing::line::{Line, Polarity};

#[track_caller]
fn close(got: f64, want: f64, tolerance: f64) {
    assert!(
        (got - want).abs() <= tolerance,
        "got {got}, want {want} ± {tolerance}"
    );
}

fn source(impedance_ohm: f64) -> Source {
    Source {
        impedance_ohm,
        ..Source::default()
    }
}

/// Voltage ratio of n:1, the definition of a transformer; 10:1 and 12:1 are the two common step-down ratios.
#[test]
fn turns_before_losses() {
    for (ratio, db) in [(5.0, -13.98), (8.0, -18.06), (10.0, -20.0), (12.0, -21.58)] {
        close(turns_gain_db(ratio), db, 0.005);
    }
}

/// The whole divider approaches the bare ratio as the losses vanish.
#[test]
fn a_box_without_losses_is_its_ratio() {
    for ratio in [8.0, 10.0, 12.0] {
        let mut one = InUse::usual(Kind::PassiveDirectBox);
        one.turns_ratio = Some(ratio);
        one.load_ohm = Some(1e7);
        let bare = one.arrival(&source(1.0)).gain_db;
        close(bare, turns_gain_db(ratio), 0.002);
        one.load_ohm = None;
        let usual = one.arrival(&Source::default()).gain_db;
        // Real ones lose a little more: about a decibel (from memory).
        assert!(usual < bare && usual > bare - 1.5, "{ratio}:1 {usual} {bare}");
    }
}

/// A low-impedance source loses 15 to 20 dB in an ordinary direct box (common practice, no source): the ratios of 6:1
/// to 9:1.
#[test]
fn what_an_ordinary_direct_box_loses() {
    for ratio in [6.0, 8.0, 9.0] {
        let mut one = InUse::usual(Kind::PassiveDirectBox);
        one.turns_ratio = Some(ratio);
        let gain = one.arrival(&Source::default()).gain_db;
        assert!((-20.5..=-15.0).contains(&gain), "{ratio}:1 {gain}");
    }
}

/// n²·Z, the definition: 1.5 kohm behind 12:1 and 10:1.
#[test]
fn what_a_load_looks_like_from_the_primary() {
    assert_eq!(reflected_ohm(12.0, 1500.0), 216_000.0);
    assert_eq!(reflected_ohm(10.0, 1500.0), 150_000.0);
    for (ratio, impedance) in [(5.0, 25.0), (8.0, 64.0), (10.0, 100.0), (12.0, 144.0)] {
        assert_eq!(reflected_ohm(ratio, 1.0), impedance);
    }
}

/// First-order high-pass: fc = R/(2πL), and 5.7° at 100 Hz and 14.0° at 40 Hz for a corner of 10 Hz.
#[test]
fn the_low_end_of_a_transformer() {
    close(
        corner_hz(600.0, 600.0 / (core::f64::consts::TAU * 10.0)),
        10.0,
        1e-12,
    );
    close(phase_lead_deg(10.0, 100.0), 5.7, 0.05);
    close(phase_lead_deg(10.0, 40.0), 14.0, 0.05);
    // The built-in feed 'one line through a 12:1 transformer' has 30 Hz.
    let usual = InUse::usual(Kind::PassiveDirectBox).arrival(&Source::default());
    close(usual.high_pass_hz, 30.0, 2.0);
    // A higher source impedance gives a higher corner.
    let guitar = InUse::usual(Kind::PassiveDirectBox).arrival(&source(10_000.0));
    assert!(guitar.high_pass_hz > 4.0 * usual.high_pass_hz);
}

/// CMRR = 20·log10(Zcm/ΔZ): B. Whitlock, "Design of High-Performance Balanced Audio Interfaces", the argument that
/// impedances count and not the symmetry of the sound.
#[test]
fn rejection_is_a_matter_of_impedances() {
    close(common_mode_rejection_db(10_000.0, 10.0), 60.0, 0.01);
    close(common_mode_rejection_db(50_000.0, 10.0), 74.0, 0.03);
    close(common_mode_rejection_db(10e6, 10.0), 120.0, 0.01);
    close(common_mode_rejection_db(10_000.0, 1.0), 80.0, 0.01);
    let rejection = |kind: Kind| InUse::usual(kind).arrival(&source(500.0)).rejection;
    // 2 % of 500 ohm is 10 ohm. Single-ended with equal impedances: half the swing, 6 dB (definition).
    let cable = rejection(Kind::AdapterCable);
    close(cable.symmetric_db, 60.0, 0.01);
    close(cable.symmetric_db - cable.single_ended_db, 6.02, 0.005);
    // A transformer has two balanced legs of its own.
    let isolator = rejection(Kind::LineIsolator);
    close(isolator.symmetric_db, 120.0, 0.01);
    assert_eq!(isolator.symmetric_db, isolator.single_ended_db);
}

/// +4 dBu is 1.228 V; −10 dBV is 0.316 V and −7.78 dBu; 11.78 dB between the two (definitions).
#[test]
fn levels_are_voltages() {
    close(volts_of_dbu(4.0), 1.228, 0.0005);
    close(dbu_of_volts(0.316_228), -7.78, 0.005);
    close(4.0 - dbu_of_volts(0.316_228), 11.78, 0.005);
    // Data sheets print −130.9 or −131 dBu for 150 ohm over 20 kHz (from memory).
    close(thermal_noise_dbu(150.0), -130.95, 0.1);
}

/// Dividers, by hand.
#[test]
fn gain_is_the_dividers() {
    let db = |x: f64| 20.0 * x.log10();
    let cable = InUse::usual(Kind::AdapterCable).arrival(&source(250.0));
    close(cable.gain_db, db(1500.0 / 2000.0), 1e-9);
    let stage_box = InUse::usual(Kind::StageBoxLine).arrival(&source(250.0));
    close(stage_box.gain_db, db(10_000.0 / 10_500.0), 1e-9);
    let isolator = InUse::usual(Kind::LineIsolator).arrival(&source(250.0));
    close(
        isolator.gain_db,
        db(10_000.0 / (500.0 + 50.0 + 50.0 + 10_000.0)),
        1e-9,
    );
    close(isolator.output_ohm, 600.0, 1e-9);
    let passive = InUse::usual(Kind::PassiveDirectBox).arrival(&source(250.0));
    let behind = 144.0 * 1650.0;
    close(
        passive.gain_db,
        db(behind / (2250.0 + behind) / 12.0 * 1500.0 / 1650.0),
        1e-9,
    );
    close(passive.output_ohm, 2250.0 / 144.0 + 150.0, 1e-9);
    close(passive.level_dbu, passive.gain_db, 1e-9);
    close(passive.preamp_gain_db, 4.0 - passive.gain_db, 1e-9);
    // The tip alone of a symmetric output has half its swing.
    let symmetric = Source {
        drive: Drive::Symmetric,
        ..source(250.0)
    };
    let half = InUse::usual(Kind::PassiveDirectBox).arrival(&symmetric);
    close(half.gain_db - passive.gain_db, -6.02, 0.001);
    assert_eq!(
        InUse::usual(Kind::LineIsolator).arrival(&symmetric).gain_db,
        isolator.gain_db
    );
}

/// The line a box makes is the line the feeds are computed with.
#[test]
fn a_box_is_a_line() {
    for kind in Kind::ALL {
        let one = InUse::usual(kind);
        let (arrival, line) = (one.arrival(&Source::default()), one.line(&Source::default()));
        assert_eq!(line.gain_db, arrival.gain_db);
        assert_eq!(line.high_pass_hz, [arrival.high_pass_hz, 0.0]);
        assert_eq!(line.delay_s, arrival.delay_s);
        assert_eq!(line.polarity, Polarity::Normal);
        assert_eq!(line, line.clamped(), "{}", kind.id());
        assert_eq!(Kind::from_id(kind.id()), Some(kind));
    }
}

/// The definition of a transformer: it blocks direct current, and phantom power, equal on both ends of the winding,
/// drives none.
#[test]
fn what_stops_where() {
    for kind in Kind::ALL {
        let spec = kind.spec();
        let transformer = matches!(spec.coupling, Coupling::Transformer { .. });
        assert_eq!(
            spec.isolation == Isolation::Transformer,
            transformer,
            "{}",
            kind.id()
        );
        if transformer {
            assert!(spec.blocks_dc && spec.blocks_phantom && spec.phantom == Phantom::Harmless);
        }
        if spec.coupling == Coupling::Wire {
            assert!(!spec.blocks_dc && !spec.blocks_phantom && spec.phantom == Phantom::MustBeOff);
        }
        assert_eq!(spec.phantom == Phantom::Needed, kind == Kind::ActiveDirectBox);
    }
}

/// Noise: never below the resistance's own, worse at lower levels, and inaudible in the usual input for all six kinds.
#[test]
fn noise_has_a_floor() {
    for kind in Kind::ALL {
        let arrival = InUse::usual(kind).arrival(&Source::default());
        assert!(arrival.input_noise_dbu > thermal_noise_dbu(arrival.output_ohm.min(150.0)) - 3.0);
        assert!(
            arrival.over_noise_db() > 80.0,
            "{} {}",
            kind.id(),
            arrival.over_noise_db()
        );
        let quiet = Source {
            level_dbu: -30.0,
            ..Source::default()
        };
        let softer = InUse::usual(kind).arrival(&quiet);
        assert!(softer.over_noise_db() < arrival.over_noise_db());
        close(softer.preamp_gain_db - arrival.preamp_gain_db, 30.0, 1e-9);
    }
    // At full gain the mic preamp's own noise remains: −127 dBu with 150 ohm.
    let far = Source {
        level_dbu: -60.0,
        impedance_ohm: 75.0,
        ..Source::default()
    };
    let mic = InUse {
        load_ohm: Some(1e7),
        ..InUse::usual(Kind::AdapterCable)
    };
    close(mic.arrival(&far).input_noise_dbu, -127.0, 0.05);
}

/// One leg through a first-order high-pass, the other flat: |(1+H)/2| (algebra), and |(1−H)/2| with one flipped.
#[test]
fn one_transformer_in_the_sum() {
    let low_e = 82.406_889_228_217_48;
    for (of_corner, straight_db, flipped_db) in [
        (0.1, -5.89, -6.06),
        (1.0, -2.04, -9.03),
        (2.0, -0.71, -13.01),
        (10.0, -0.03, -26.06),
    ] {
        let mut right = Line {
            high_pass_hz: [low_e / of_corner, 0.0],
            ..Line::STRAIGHT
        };
        close(
            PairOfLines::new(&Line::STRAIGHT, &right).low_e_db,
            straight_db,
            0.006,
        );
        right.polarity = Polarity::Flipped;
        close(
            PairOfLines::new(&Line::STRAIGHT, &right).low_e_db,
            flipped_db,
            0.006,
        );
    }
    let phase = PairOfLines::new(
        &Line {
            high_pass_hz: [low_e, 0.0],
            ..Line::STRAIGHT
        },
        &Line::STRAIGHT,
    );
    close(phase.low_e_phase_deg, 45.0, 1e-9);
}

/// A comb's nulls are at (2k+1)/2τ, or at k/τ with one line flipped.
#[test]
fn a_late_line() {
    let mut late = Line {
        delay_s: 0.001,
        ..Line::STRAIGHT
    };
    let pair = PairOfLines::new(&Line::STRAIGHT, &late);
    assert_eq!(pair.first_notch_hz, Some(500.0));
    assert!(!pair.alike());
    late.polarity = Polarity::Flipped;
    assert_eq!(
        PairOfLines::new(&Line::STRAIGHT, &late).first_notch_hz,
        Some(1000.0)
    );
    late.unplugged = true;
    let dead = PairOfLines::new(&Line::STRAIGHT, &late);
    assert_eq!((dead.first_notch_hz, dead.right_late_s), (None, 0.0));
    assert_eq!(dead.level_difference_db, f64::INFINITY);
    assert!(PairOfLines::new(&Line::STRAIGHT, &Line::STRAIGHT).alike());
}

fn ranked(gig: &Gig) -> Vec<(Kind, Vec<Trouble>)> {
    let source = Source::default();
    let candidates = Kind::ALL.map(|kind| Candidate::usual(kind, &source, gig));
    rank(&candidates, &source, gig)
        .into_iter()
        .map(|choice| (choice.candidate.left.kind, choice.troubles))
        .collect()
}

/// Common practice, no source: isolate where the supplies differ, keep phantom power off outputs, a line input beats a
/// mic one.
#[test]
fn which_to_take() {
    let separate = Gig {
        mains: Mains::Separate,
        ..Gig::default()
    };
    let order = ranked(&separate);
    assert_eq!(order[0].0, Kind::LineIsolator);
    for (kind, troubles) in &order {
        assert_eq!(
            troubles.contains(&Trouble::Hum),
            !kind.spec().isolation.isolates(),
            "{}",
            kind.id()
        );
    }
    // All on one supply, line inputs: no box is needed.
    let easy = Gig {
        mains: Mains::Same,
        offered: Offered::LineOnly,
        phantom: Some(false),
    };
    assert!(matches!(
        ranked(&easy)[0].0,
        Kind::StageBoxLine | Kind::AdapterCable | Kind::LineIsolator
    ));
    // Phantom power on at mic inputs: never a bare cable; an active box is fine.
    let phantom = Gig {
        mains: Mains::Same,
        offered: Offered::MicOnly,
        phantom: Some(true),
    };
    let order = ranked(&phantom);
    let place = |kind: Kind| {
        order
            .iter()
            .position(|(other, _)| *other == kind)
            .expect("all are ranked")
    };
    assert!(place(Kind::AdapterCable) >= 4 && place(Kind::StageBoxLine) >= 4);
    assert!(
        order[place(Kind::ActiveDirectBox)]
            .1
            .iter()
            .all(|trouble| { !matches!(trouble, Trouble::PhantomMissing | Trouble::PhantomToAsk) })
    );
    // Without phantom power the active box ranks last.
    let none = Gig {
        phantom: Some(false),
        ..Gig::default()
    };
    assert_eq!(
        ranked(&none).last().map(|(kind, _)| *kind),
        Some(Kind::ActiveDirectBox)
    );
}

/// Two different boxes are worse than either pair of equal ones: differences between the lines do harm when they are
/// added.
#[test]
fn a_mixed_pair_is_the_worst() {
    let (source, gig) = (Source::default(), Gig::default());
    let (left, right) = (
        InUse::usual(Kind::PassiveDirectBox),
        InUse::usual(Kind::LineIsolator),
    );
    let mixed = Candidate {
        left,
        right,
        lines: [left.line(&source), right.line(&source)],
    };
    let choices = rank(
        &[
            mixed,
            Candidate::usual(left.kind, &source, &gig),
            Candidate::usual(right.kind, &source, &gig),
        ],
        &source,
        &gig,
    );
    assert_eq!(choices[2].candidate, mixed);
    assert!(choices[2].troubles.contains(&Trouble::LinesDiffer));
    close(choices[2].pair.level_difference_db, -22.2, 0.5);
    // A direct box in a line input is too quiet.
    let quiet = Candidate::usual(
        Kind::PassiveDirectBox,
        &source,
        &Gig {
            offered: Offered::LineOnly,
            ..gig
        },
    );
    assert_eq!(quiet.left.spec().input, DeskInput::Line);
    let judged = rank(&[quiet], &source, &gig);
    assert!(
        judged[0]
            .troubles
            .iter()
            .any(|trouble| matches!(trouble, Trouble::TooQuiet { .. }))
    );
}
