//! Tests of names and short texts.

use sumproof_core::explain::diagnosis::Cause;
use sumproof_core::routing::boxes::{Kind, Merit, Source, Trouble};
use sumproof_core::routing::feed::Side;
use sumproof_core::session::take::Pass;
use sumproof_core::split::Method;
use sumproof_wording::{Name, boxes};

fn all_differ<T: Copy>(all: &[T], say: impl Fn(T) -> String) {
    for (index, &one) in all.iter().enumerate() {
        let said = say(one);
        assert!(!said.trim().is_empty());
        assert!(
            all[..index].iter().all(|&other| say(other) != said),
            "{said} twice"
        );
    }
}

#[test]
fn no_two_things_are_called_the_same() {
    all_differ(&Cause::ALL, |cause| cause.name().into());
    all_differ(&Kind::ALL, |kind| kind.name().into());
    all_differ(&Side::BOTH, |side| side.name().into());
    all_differ(&Pass::ALL, |pass| pass.name().into());
    all_differ(
        &[Method::Estimated, Method::TwoPass, Method::SideChain],
        |method| method.name().into(),
    );
}

#[test]
fn every_trouble_and_merit_of_a_box_has_words_of_its_own() {
    all_differ(
        &[
            Merit::Isolates,
            Merit::BlocksPhantom,
            Merit::NoSupply,
            Merit::Alike,
            Merit::FullLowEnd,
            Merit::LineLevel,
        ],
        |merit| boxes::merit(merit).into(),
    );
    all_differ(
        &[
            Trouble::PhantomOnOutputs,
            Trouble::PhantomUnknown,
            Trouble::PhantomMissing,
            Trouble::PhantomToAsk,
            Trouble::Hum,
            Trouble::HumPossible,
            Trouble::LinesDiffer,
            Trouble::Flipped,
            Trouble::Unplugged,
            Trouble::TooQuiet { level_dbu: -20.0 },
            Trouble::NeedsPad {
                peaks: Source::default().peaks(),
            },
            Trouble::Noise { over_noise_db: 60.0 },
            Trouble::LowEnd { corner_hz: 30.0 },
            Trouble::Late { delay_s: 0.003 },
            Trouble::Radio,
        ],
        boxes::trouble,
    );
    // A first-order high-pass at 82.4 Hz takes 3 dB off an E of 82.4 Hz.
    assert_eq!(
        boxes::trouble(Trouble::LowEnd { corner_hz: 82.407 }),
        "rolls the low end off at 82 Hz: 3.0 dB off the low E"
    );
}
