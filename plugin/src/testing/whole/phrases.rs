//! Phrases in a whole instance: readings stand, and takes are made without the mouse.

use sumproof_core::session::take::Take;
use sumproof_signals::{PresetKind, PresetSpec, render};
use sumproof_views::{Integration, Snapshot};

use super::{Instance, RATE_HZ, choose, set};
use crate::parameters::choices::Choice;
use crate::state::names::Names;

fn preset(kind: PresetKind, seconds: f64) -> [Vec<f32>; 2] {
    let full = render(&PresetSpec {
        seconds,
        ..PresetSpec::new(kind)
    })
    .full();
    [full.left, full.right].map(|channel| channel.iter().map(|&x| x as f32).collect())
}

impl Instance {
    fn perform(&mut self, [left, right]: &[Vec<f32>; 2]) {
        self.play(left, right, 512, false);
        self.analysis.catch_up();
    }

    fn rest(&mut self, seconds: f64) {
        let silence = vec![0.0; (seconds * RATE_HZ) as usize];
        self.perform(&[silence.clone(), silence]);
    }

    fn names(&self) -> Vec<String> {
        self.takes().into_iter().map(|take| take.name).collect()
    }

    fn read_out(&mut self) -> Snapshot {
        self.analysis.lock().show_now();
        let mut snapshot = Snapshot::default();
        let shared = std::sync::Arc::clone(&self.shared);
        let host = std::sync::Arc::clone(&self.params.host);
        self.published.read().fill(&host, &shared, &mut snapshot);
        snapshot
    }
}

#[test]
fn every_phrase_becomes_a_take_with_the_next_name() {
    let mut instance = Instance::active(true);
    set(&instance.host().takes_by_phrase, true);
    instance
        .analysis
        .lock()
        .set_names(Names::new(["clean", "crunch", "lead"]));
    let kinds = [
        PresetKind::EqualDry,
        PresetKind::FlippedChannel,
        PresetKind::DoubleTracked,
        PresetKind::MonoReverb,
    ];
    for kind in kinds {
        instance.perform(&preset(kind, 6.0));
        instance.rest(2.0);
    }
    // Too short to be a take by itself.
    instance.perform(&preset(PresetKind::EqualDry, 2.0).map(|channel| channel[..96_000].to_vec()));
    instance.rest(2.0);
    assert_eq!(instance.names(), ["clean", "crunch", "lead", "Take 1"]);
    // A take of the phrase has the same figures as a take of the file.
    for (take, kind) in instance.takes().iter().zip(kinds) {
        let of_file = take_of(&preset(kind, 6.0));
        let total = |take: &Take| {
            let rows = take.rows(&Default::default(), 0.0);
            rows.map(|row| row.score.map(|score| (score.total_db, score.level_lu)))
        };
        for (phrase, file) in total(take).into_iter().zip(total(&of_file)) {
            let ((total, level), (total_of_file, level_of_file)) =
                (phrase.expect("it sounds"), file.expect("it sounds"));
            let near = |a: f64, b: f64| a == b || (a - b).abs() < 0.1;
            assert!(near(total, total_of_file), "{kind:?}: {total} {total_of_file}");
            assert!(near(level, level_of_file), "{kind:?}: {level} {level_of_file}");
        }
    }
}

fn take_of([left, right]: &[Vec<f32>; 2]) -> Take {
    use sumproof_core::session::monitor::Monitor;
    use sumproof_core::session::take::Pass;
    let mut monitor = Monitor::for_takes(RATE_HZ);
    monitor.start_take();
    monitor.push(left, right);
    monitor.finish_take("file".into(), Pass::Full).expect("frames")
}

/// Twelve presets, one after the other with two seconds between them, and names given in advance: the takes equal those
/// of files with the same sound, and the window's text says so of each.
#[test]
fn a_whole_set_goes_by_without_the_mouse() {
    const SET: [&str; 12] = [
        "opening", "verse", "chorus", "bridge", "solo", "slow one", "slide", "octaves", "fast one", "swell",
        "finale", "encore",
    ];
    let kinds = PresetKind::ALL.iter().cycle().take(SET.len());
    let mut instance = Instance::active(true);
    set(&instance.host().takes_by_phrase, true);
    instance.analysis.lock().set_names(Names::new(SET));
    let sounds: Vec<[Vec<f32>; 2]> = kinds.map(|kind| preset(*kind, 5.0)).collect();
    for sound in &sounds {
        instance.perform(sound);
        instance.rest(2.0);
    }
    while instance.analysis.lock().phrases_worked_on() > 0 {
        instance.rest(0.01);
    }
    assert_eq!(instance.names(), SET);
    for (take, sound) in instance.takes().iter().zip(&sounds) {
        let of_file = take_of(sound);
        for (phrase, file) in totals(take).into_iter().zip(totals(&of_file)) {
            assert!(
                phrase == file || (phrase - file).abs() < 0.1,
                "{}: {phrase} {file}",
                take.name
            );
        }
        // A phrase ends where the quiet begins, a file where it ends: the total energy is the same, however long.
        let whole = |take: &Take| take.ungated_lufs() + 10.0 * take.seconds().log10();
        let loudness = [whole(take), whole(&of_file)];
        assert!(
            (loudness[0] - loudness[1]).abs() < 0.1,
            "{}: {loudness:?}",
            take.name
        );
    }
    let mut snapshot = instance.read_out();
    while snapshot.takes.len() < SET.len() {
        instance.analysis.look();
        snapshot = instance.read_out();
    }
    let text = sumproof_views::as_text(&snapshot);
    for name in SET {
        assert!(text.contains(&format!("Take {name}, ")), "{name}");
    }
    assert_eq!(text.matches(" LUFS in stereo, ").count(), SET.len() + 1, "{text}");
    assert!(text.contains("middle of the set: "), "{text}");
}

/// Total change of each feed of a take, dB.
fn totals(take: &Take) -> Vec<f64> {
    let rows = take.rows(&Default::default(), 0.0);
    let score = |row: sumproof_core::score::board::Row| row.score.expect("it sounds").total_db;
    rows.map(score).to_vec()
}

#[test]
fn a_phrase_is_a_take_at_once_and_a_better_one_soon_whatever_was_changed_meanwhile() {
    let mut instance = Instance::active(true);
    let sound = preset(PresetKind::DoubleTracked, 12.0);
    instance.perform(&sound);
    instance.rest(2.0);
    let (first, work) = {
        let mut engine = instance.analysis.lock();
        engine.take_phrase();
        let take = engine.takes().iter().next().expect("it is stored").clone();
        assert!(engine.takes_mut().rename(0, "mine"));
        assert!(
            engine
                .takes_mut()
                .set_kind(0, sumproof_core::split::kind::PresetKind::TwoTakes)
        );
        (take, engine.phrases_worked_on())
    };
    assert_eq!(work, 1);
    while instance.analysis.lock().phrases_worked_on() > 0 {
        instance.rest(0.01);
    }
    let [better] = &instance.takes()[..] else {
        panic!("one take")
    };
    assert_eq!(better.name, "mine");
    assert_eq!(better.kind, sumproof_core::split::kind::PresetKind::TwoTakes);
    assert_eq!(first.sums.frames, better.sums.frames);
    for (first, better) in totals(&first).into_iter().zip(totals(better)) {
        assert!(
            first == better || (first - better).abs() < 0.3,
            "{first} {better}"
        );
    }
}

#[test]
fn a_project_that_is_left_keeps_its_phrases() {
    let mut instance = Instance::active(true);
    instance.perform(&preset(PresetKind::EqualDry, 12.0));
    instance.rest(2.0);
    let other = Instance::active(true).saved();
    instance.analysis.lock().take_phrase();
    // Saved at once, the state holds the take. Loaded at once, pending work has no effect on the new project.
    let saved = instance.saved();
    instance.load(&other);
    instance.rest(0.5);
    assert!(instance.takes().is_empty());
    instance.load(&saved);
    assert_eq!(instance.names(), ["Take 1"]);
}

#[test]
fn the_last_phrase_is_taken_after_the_fact_and_once() {
    let mut instance = Instance::active(true);
    instance.perform(&preset(PresetKind::EqualDry, 5.0));
    instance.rest(4.0);
    assert!(instance.takes().is_empty());
    set(&instance.host().take_phrase, true);
    instance.rest(0.1);
    assert_eq!(instance.names(), ["Take 1"]);
    // A pedal switches off and on again: the same phrase is a take already.
    set(&instance.host().take_phrase, false);
    instance.rest(0.1);
    set(&instance.host().take_phrase, true);
    instance.rest(0.1);
    assert_eq!(instance.names(), ["Take 1"]);
    instance.perform(&preset(PresetKind::FlippedChannel, 5.0));
    instance.analysis.lock().take_phrase();
    instance.rest(0.1);
    assert_eq!(instance.names().len(), 2);
}

#[test]
fn a_pedal_leaves_a_name_out() {
    let mut instance = Instance::active(true);
    instance.analysis.lock().set_names(Names::new(["a", "b", "c"]));
    instance.rest(0.1);
    set(&instance.host().next_name, true);
    instance.rest(0.1);
    instance.rest(0.1);
    instance.perform(&preset(PresetKind::EqualDry, 5.0));
    instance.analysis.lock().take_phrase();
    instance.rest(0.1);
    assert_eq!(instance.names(), ["b"]);
    // The list and its position belong to the project.
    let saved = instance.saved();
    let other = Instance::active(true);
    other.load(&saved);
    assert_eq!(other.analysis.lock().names(), instance.analysis.lock().names());
    assert_eq!(other.analysis.lock().names().next(), 2);
}

#[test]
fn lines_held_straight_are_straight_for_everything_and_stay_as_they_are_set() {
    let mut instance = Instance::active(true);
    choose(
        &instance.host().left.polarity,
        Choice(sumproof_core::routing::line::Polarity::Flipped),
    );
    instance.perform(&preset(PresetKind::EqualDry, 5.0));
    let wedge = |snapshot: &Snapshot| {
        let row = snapshot
            .reading
            .row(sumproof_core::routing::feed::FeedId::MonoWedge);
        row.score.and_then(|score| score.dry_db)
    };
    assert!(wedge(&instance.read_out()).is_some_and(|db| db < -15.0));
    set(&instance.host().straight, true);
    instance.rest(0.1);
    let shown = instance.read_out();
    assert!(wedge(&shown).is_some_and(|db| db > -0.5));
    assert!(shown.settings.straight && shown.settings.left.flipped);
}

#[test]
fn what_was_read_stands_when_the_player_stops() {
    for integration in [Integration::Phrase, Integration::Long] {
        let mut instance = Instance::active(true);
        choose(&instance.host().integration, Choice(integration));
        let window = instance.shared.open_window();
        instance.perform(&preset(PresetKind::StereoChorus, 8.0));
        instance.rest(2.5);
        let before = instance.read_out();
        assert!(!before.reading.phrase.playing && before.reading.phrase.seconds > 6.0);
        instance.rest(60.0);
        let after = instance.read_out();
        let told = |snapshot: &Snapshot| {
            let text = sumproof_views::as_text(snapshot);
            text.lines()
                .filter(|line| !line.starts_with("Correlation"))
                .collect::<Vec<_>>()
                .join("\n")
        };
        assert_eq!(told(&before), told(&after));
        drop(window);
    }
}
