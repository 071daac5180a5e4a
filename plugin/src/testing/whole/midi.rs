//! MIDI in a whole instance: programs name takes, and pedals do what was learnt.

use sumproof_core::routing::feed::FeedId;
use sumproof_views::PedalTask;

use super::{Instance, RATE_HZ, noise, set};
use crate::bridge::pedals::Pedal;
use crate::parameters::settings::Settings;
use crate::state::names::Names;

const FOOT: Pedal = Pedal::Controller {
    channel: 0,
    number: 64,
};

impl Instance {
    fn phrase_and_rest(&mut self) {
        let [left, right] = noise((5.0 * RATE_HZ) as usize);
        self.play(&left, &right, 512, false);
        self.pause(2.0);
    }

    fn pause(&mut self, seconds: f64) {
        let silence = vec![0.0; (seconds * RATE_HZ) as usize];
        self.play(&silence, &silence, 512, false);
        self.analysis.catch_up();
    }

    fn take_names(&self) -> Vec<String> {
        self.takes().into_iter().map(|take| take.name).collect()
    }

    /// Down and up again.
    fn step_on(&mut self, pedal: Pedal) {
        self.audio.pedal(pedal, true);
        self.pause(0.05);
        self.audio.pedal(pedal, false);
        self.pause(0.05);
    }

    fn learns(&mut self, task: PedalTask, pedal: Pedal) {
        self.shared.pedals.learn(Some(task as usize));
        self.step_on(pedal);
        assert_eq!(self.shared.pedals.of(task as usize), Some(pedal));
    }
}

#[test]
fn a_program_change_names_the_takes_to_come() {
    let mut instance = Instance::active(true);
    set(&instance.host().takes_by_phrase, true);
    let names = Names::new(["clean", "crunch", "lead"]);
    instance.analysis.lock().set_names(names);
    for program in [2, 0, 11] {
        instance.audio.program(program);
        instance.phrase_and_rest();
    }
    // The same preset again; then one that the player chose by hand.
    instance.phrase_and_rest();
    instance.analysis.lock().skip_name();
    instance.phrase_and_rest();
    assert_eq!(
        instance.take_names(),
        ["lead", "clean", "Program 12", "Program 12", "Take 1"]
    );
}

#[test]
fn a_program_that_comes_while_bypassed_is_not_lost() {
    let mut instance = Instance::active(true);
    set(&instance.host().takes_by_phrase, true);
    set(&instance.host().bypass, true);
    instance.audio.program(4);
    instance.pause(0.5);
    set(&instance.host().bypass, false);
    instance.phrase_and_rest();
    assert_eq!(instance.take_names(), ["Program 5"]);
}

#[test]
fn in_a_daw_no_pedal_is_heard() {
    let mut instance = Instance::active(true);
    instance
        .shared
        .pedals
        .bind(PedalTask::Straight as usize, Some(FOOT));
    instance.step_on(FOOT);
    assert!(!Settings::read(instance.host()).straight);
}

#[test]
fn pedals_do_what_they_learnt() {
    let mut instance = Instance::active(true);
    instance.shared.pedals.switch_on();
    let note = |number| Pedal::Note { channel: 0, number };
    instance.learns(PedalTask::Record, FOOT);
    for (number, task) in PedalTask::ALL.into_iter().enumerate().skip(1) {
        instance.learns(task, note(number as u8));
    }
    // Learning alone does nothing.
    let before = Settings::read(instance.host());
    assert!(!before.record && !before.straight && !before.audition);
    assert!(instance.takes().is_empty());

    instance.audio.pedal(FOOT, true);
    instance.phrase_and_rest();
    instance.audio.pedal(FOOT, false);
    assert!(
        Settings::read(instance.host()).record,
        "it goes on when the foot is lifted"
    );
    instance.step_on(FOOT);
    assert!(!Settings::read(instance.host()).record);
    assert_eq!(instance.take_names(), ["Take 1"]);

    instance.phrase_and_rest();
    instance.step_on(note(PedalTask::TakePhrase as u8));
    assert_eq!(instance.take_names(), ["Take 1", "Take 2"]);

    instance.analysis.lock().set_names(Names::new(["a", "b"]));
    instance.step_on(note(PedalTask::NextName as u8));
    assert_eq!(instance.analysis.lock().names().next(), 1);

    instance.step_on(note(PedalTask::Straight as u8));
    instance.step_on(note(PedalTask::Audition as u8));
    instance.step_on(note(PedalTask::Feed as u8));
    let after = Settings::read(instance.host());
    assert!(after.straight && after.audition);
    assert_eq!(after.feed, FeedId::LeftLineOnly);
    // Through all built-in feeds, without the player's own.
    for _ in 0..FeedId::ALL.len() - 1 {
        instance.step_on(note(PedalTask::Feed as u8));
        assert_ne!(Settings::read(instance.host()).feed, FeedId::Own);
    }
    assert_eq!(Settings::read(instance.host()).feed, FeedId::LeftLineOnly);
}
