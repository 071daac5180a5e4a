//! Every state of the window against its stored picture (tolerance: `render::golden`).

use sumproof_tests::render::{compare_with_golden, scenes};

#[test]
fn every_state_looks_as_it_did() {
    let mut wrong = Vec::new();
    for scene in scenes() {
        let outcome = scene
            .stage()
            .picture()
            .and_then(|picture| compare_with_golden(scene.name, &picture));
        wrong.extend(outcome.err());
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The comparison must be able to distinguish the states.
#[test]
fn states_differ_by_more_than_the_tolerance() {
    let all = scenes();
    let picture = |name: &str| {
        let scene = all.iter().find(|scene| scene.name == name).expect(name);
        scene.stage().picture().expect(name)
    };
    let good = picture("good");
    for other in ["flipped", "wide", "auditioning", "overflow", "audition-held-back"] {
        let difference = sumproof_tests::render::difference(&good, &picture(other));
        assert!(
            !difference.within,
            "{other} differs in only {:.4} of its pixels",
            difference.share
        );
    }
}
