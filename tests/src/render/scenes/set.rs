//! The set, and recording.

use egui::Key;
use sumproof_core::routing::feed::FeedId;
use sumproof_core::session::take::Pass;
use sumproof_views::{Hearing, MIN_SIZE, NameList, PedalTask, Pedals, Snapshot};

use super::{Scene, auditioning, comparing, named, recording};

const SHEET: &str = "the set: all takes in a table";
/// A set's presets in playing order, with each one's level against the sound it is made of, dB.
const PRESETS: [(&str, f64); 26] = [
    ("opening, clean", 0.0),
    ("verse crunch", 1.5),
    ("chorus wide", -2.1),
    ("lead, long echo", 3.2),
    (
        "bridge, reversed room and a very long name that can\u{2019}t fit",
        -0.7,
    ),
    ("slow song, tremolo", -3.0),
    ("slow song, chorus", 0.4),
    ("slide", 1.1),
    ("slide, second voice", 1.2),
    ("acoustic, plain", -4.8),
    ("acoustic, big room", -3.9),
    ("octave up", 2.2),
    ("fast one", 0.9),
    ("fast one, solo", 4.0),
    ("swell", -6.1),
    ("pad under voice", -5.2),
    ("last but one", 0.1),
    ("finale", 2.6),
    ("finale, solo", 4.4),
    ("encore, clean", -0.3),
    ("encore, two amps", 1.7),
    ("encore, solo", 3.9),
    ("spare, mono", 0.0),
    ("spare, thin", -1.0),
    ("spare, dry", 0.6),
    ("spare, dry again", 0.5),
];

pub fn all() -> Vec<Scene> {
    let smallest = [MIN_SIZE.0, MIN_SIZE.1];
    vec![
        Scene::new("set", set).clicked(&[SHEET]),
        Scene::new("set-paper", set)
            .clicked(&[SHEET, "sort by loudness in the wedge against"])
            .paper(),
        Scene::new("smallest-set", set)
            .sized(smallest)
            .clicked(&["page: set"]),
        Scene::new("smallest-set-paper", set)
            .sized(smallest)
            .clicked(&["page: set", "sort by the worst"])
            .paper(),
        Scene::new("largest-set", set)
            .sized([3840.0, 2160.0])
            .clicked(&[SHEET])
            .paper(),
        Scene {
            pixels_per_point: 2.0,
            ..Scene::new("double-set", set).clicked(&[SHEET, "sort by name"])
        },
        Scene::new("recording", taking),
        Scene::new("recording-paper", taking_while_heard).paper(),
        Scene::new("smallest-recording", taking).sized(smallest).paper(),
        Scene::new("passes-failed-in-the-strip", halves_that_failed),
        Scene::new("help", comparing).pressed(&[Key::F7]),
        Scene::new("smallest-help", comparing)
            .sized(smallest)
            .pressed(&[Key::F7])
            .paper(),
        Scene::new("pedals", learning)
            .clicked(&["names, and takes by phrase"])
            .paper(),
        Scene::new("smallest-pedals", learning)
            .sized(smallest)
            .clicked(&["page: takes", "names, and takes by phrase"]),
    ]
}

/// A set of two dozen presets.
fn set() -> Snapshot {
    let mut snapshot = comparing();
    let four = snapshot.takes.clone();
    snapshot.takes = PRESETS
        .iter()
        .zip(four.iter().cycle())
        .map(|(&(name, louder_db), take)| {
            let mut take = take.clone();
            take.name = name.into();
            take.loudness_lufs += louder_db;
            take
        })
        .collect();
    snapshot.takes[21].pass = Pass::Dry;
    snapshot.takes[21].failed = true;
    snapshot.deleted = Some("lead, first try".into());
    snapshot
}

/// The stand-alone program while a pedal is learnt, after a program change.
fn learning() -> Snapshot {
    let mut snapshot = named();
    let mut pedals = Pedals {
        learning: Some(PedalTask::TakePhrase),
        ..Pedals::default()
    };
    pedals.bound[0] = Some("controller 64, channel 1".into());
    pedals.bound[4] = Some("note 36, channel 10".into());
    snapshot.pedals = Some(pedals);
    snapshot.names.of_program = Some("Program 12".into());
    snapshot
}

/// During the recording of a take.
pub(super) fn taking() -> Snapshot {
    let mut snapshot = named();
    snapshot.settings.record = true;
    snapshot.reading.recording = true;
    snapshot.reading.take_s = 12.3;
    snapshot
}

fn taking_while_heard() -> Snapshot {
    let mut snapshot = auditioning();
    snapshot.settings.record = true;
    snapshot.reading.take_s = 72.0;
    snapshot.names = NameList {
        names: vec!["lead, long echo, and a name that is too long for half of the place".into()],
        ..NameList::default()
    };
    snapshot.hearing = Hearing::Feed(FeedId::WedgeLineFlipped);
    snapshot
}

fn halves_that_failed() -> Snapshot {
    let mut snapshot = recording();
    snapshot.settings.record = false;
    snapshot.reading.recording = false;
    for take in &mut snapshot.takes {
        take.failed = take.pass != Pass::Full;
    }
    snapshot
}
