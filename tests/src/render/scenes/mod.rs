//! The states the window is drawn in. Every reading in them is a real analysis of a synthetic preset.

mod afar;
mod check;
mod set;

use std::cell::RefCell;
use std::collections::HashMap;

use egui::Key;
use sumproof_core::routing::boxes::{Kind, Whose};
use sumproof_core::routing::feed::{FeedId, Side};
use sumproof_core::score::outcome::Outcome;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::recommend::recommend;
use sumproof_core::session::take::{Pass, Take};
use sumproof_signals::{Preset, PresetKind, PresetSpec, Stereo, demo_preset, render};
use sumproof_views::{
    Boxes, CardWords, DEFAULT_SIZE, Hearing, Look, MIN_SIZE, NameList, Notices, Passes, Snapshot,
    TakeSummary, Theme, line_through,
};

use super::stage::Stage;

const RATE_HZ: f64 = 48_000.0;
/// Readings per second.
const READINGS_HZ: f64 = 10.0;

/// A state, by name.
pub struct Scene {
    /// The picture's name.
    pub name: &'static str,
    /// Size of the window, logical pixels.
    pub size: [f32; 2],
    /// Real pixels per logical one.
    pub pixels_per_point: f32,
    /// Paper or night.
    pub theme: Theme,
    make: fn() -> Snapshot,
    /// What is clicked before the picture is taken, by accessible name.
    clicks: &'static [&'static str],
    /// The keys pressed after that.
    keys: &'static [Key],
}

impl Scene {
    const fn new(name: &'static str, make: fn() -> Snapshot) -> Self {
        Self {
            name,
            size: [DEFAULT_SIZE.0, DEFAULT_SIZE.1],
            pixels_per_point: 1.0,
            theme: Theme::Night,
            make,
            clicks: &[],
            keys: &[],
        }
    }

    const fn paper(self) -> Self {
        Self {
            theme: Theme::Paper,
            ..self
        }
    }

    const fn sized(self, size: [f32; 2]) -> Self {
        Self { size, ..self }
    }

    const fn clicked(self, clicks: &'static [&'static str]) -> Self {
        Self { clicks, ..self }
    }

    const fn pressed(self, keys: &'static [Key]) -> Self {
        Self { keys, ..self }
    }

    /// Whether it is the view for reading from two metres away.
    pub fn is_afar(&self) -> bool {
        self.keys.contains(&Key::F5)
    }

    /// The snapshot shown in it.
    pub fn snapshot(&self) -> Snapshot {
        (self.make)()
    }

    /// The window in this state.
    pub fn stage(&self) -> Stage {
        use egui_kittest::kittest::Queryable;
        let look = Look {
            theme: self.theme,
            zoom: 1.0,
        };
        let mut stage = Stage::new(self.snapshot(), look, self.size, self.pixels_per_point);
        for name in self.clicks {
            let exact = stage.harness.query_by_label(name);
            let begins = || {
                stage
                    .harness
                    .query_by(|node| node.label().is_some_and(|label| label.starts_with(name)))
                    .unwrap_or_else(|| panic!("{}: nothing is called '{name}'", self.name))
            };
            let node = exact.unwrap_or_else(begins);
            node.click();
            stage.harness.run();
        }
        for key in self.keys {
            stage.harness.key_press(*key);
            stage.harness.run();
        }
        if !self.clicks.is_empty() {
            // Moves the pointer away: no tooltip in the picture.
            stage.harness.remove_cursor();
            stage.harness.run();
        }
        stage
    }
}

/// All of them.
pub fn scenes() -> Vec<Scene> {
    let smallest = [MIN_SIZE.0, MIN_SIZE.1];
    let mut all = set::all();
    all.extend(afar::all());
    all.extend([
        Scene::new("first-run", Snapshot::default),
        Scene::new("first-run-paper", Snapshot::default).paper(),
        Scene::new("first-run-heard", chosen_before_a_sound),
        Scene::new("silence", silence),
        Scene::new("good", good),
        Scene::new("good-paper", good).paper(),
        Scene::new("flipped", flipped),
        Scene::new("late", late).paper(),
        Scene::new("wide", wide),
        Scene::new("one-line-unplugged", unplugged).paper(),
        Scene::new("auditioning", auditioning),
        Scene::new("auditioning-paper", auditioning).paper(),
        Scene::new("audition-held-back", held_back),
        Scene::new("comparing", comparing).clicked(&["take clean arpeggio", "take wide pad"]),
        Scene::new("two-pass-recording", recording)
            .clicked(&["how dry and wet are told apart"])
            .paper(),
        Scene::new("two-pass-failed", failed).clicked(&["how dry and wet are told apart"]),
        Scene::new("boxes", boxed).clicked(&["left line box"]),
        Scene::new("own-feed", own_feed)
            .clicked(&["your own feed, and the limits"])
            .paper(),
        Scene::new("card", carded).clicked(&["what stands on the rig card"]),
        Scene::new("card-paper", Snapshot::default)
            .clicked(&["what stands on the rig card"])
            .paper(),
        Scene {
            pixels_per_point: 2.0,
            ..Scene::new("double-card", carded).clicked(&["what stands on the rig card"])
        },
        Scene::new("all-of-why", good).clicked(&["all of why"]),
        Scene::new("last-phrase", last_phrase).paper(),
        Scene::new("comparing-names", named).clicked(&["names, and takes by phrase"]),
        Scene::new("overflow", overflow),
        Scene::new("smallest", good).sized(smallest),
        Scene::new("smallest-lines", unplugged)
            .sized(smallest)
            .clicked(&["page: lines"]),
        Scene::new("smallest-curves", auditioning)
            .sized(smallest)
            .clicked(&["page: curves"])
            .paper(),
        Scene::new("smallest-correlation", good)
            .sized(smallest)
            .clicked(&["page: correlation"]),
        Scene::new("smallest-takes", comparing)
            .sized(smallest)
            .clicked(&["page: takes", "take clean arpeggio"])
            .paper(),
        Scene::new("smallest-names", named)
            .sized(smallest)
            .clicked(&["page: takes", "names, and takes by phrase"])
            .paper(),
        Scene::new("smallest-setup", good)
            .sized(smallest)
            .clicked(&["page: setup"]),
        Scene::new("smallest-card", carded)
            .sized(smallest)
            .clicked(&["page: setup", "what stands on the rig card"]),
        Scene::new("smallest-card-paper", carded)
            .sized(smallest)
            .clicked(&["page: setup", "what stands on the rig card", "rig card, contact"])
            .pressed(&[Key::Tab; 22])
            .paper(),
        Scene::new("smallest-notice", told).sized(smallest),
        Scene::new("smallest-boxes", boxed)
            .sized(smallest)
            .clicked(&["page: boxes"]),
        Scene::new("smallest-dry-and-wet", failed)
            .sized(smallest)
            .clicked(&["page: dry and wet"]),
        Scene::new("smallest-own-feed", own_feed)
            .sized(smallest)
            .clicked(&["page: own feed"])
            .paper(),
        Scene::new("largest", good).sized([3840.0, 2160.0]).paper(),
        Scene {
            pixels_per_point: 2.0,
            ..Scene::new("double", auditioning)
        },
    ]);
    all.extend(check::all());
    all
}

thread_local! {
    /// Rendering and analysing a preset takes longer than drawing it; several scenes show the same.
    static HEARD: RefCell<HashMap<&'static str, Snapshot>> = RefCell::new(HashMap::new());
}

fn cached(name: &'static str, make: impl FnOnce() -> Snapshot) -> Snapshot {
    if let Some(snapshot) = HEARD.with_borrow(|heard| heard.get(name).cloned()) {
        return snapshot;
    }
    let snapshot = make();
    HEARD.with_borrow_mut(|heard| heard.insert(name, snapshot.clone()));
    snapshot
}

/// Plays a sound into a monitor and fills the snapshot as the plugin would.
fn play(sound: &Stereo, monitor: &mut Monitor, snapshot: &mut Snapshot) {
    let base = Rig {
        own: snapshot.own.feed,
        limits: snapshot.limits,
        ..Rig::default()
    };
    monitor.set_rig(&snapshot.settings.rig(&base));
    let step = (RATE_HZ / READINGS_HZ) as usize;
    let single = |channel: &[f64]| channel.iter().map(|&x| x as f32).collect::<Vec<f32>>();
    for (left, right) in sound.left.chunks(step).zip(sound.right.chunks(step)) {
        monitor.push(&single(left), &single(right));
        monitor.read(snapshot.settings.feed, &mut snapshot.reading);
        let correlation = snapshot.reading.correlation.map(|c| c as f32);
        snapshot
            .history
            .push(1.0 / READINGS_HZ, &snapshot.reading, correlation);
    }
    take_recommendations(monitor, snapshot);
}

/// Diagnosis, advice and margin, as in the plugin.
fn take_recommendations(monitor: &Monitor, snapshot: &mut Snapshot) {
    let reading = &snapshot.reading;
    snapshot.why = sumproof_wording::diagnosis::sentences(&reading.diagnosis);
    if reading.wet_over_dry_db.is_none() {
        return;
    }
    let (advice, margin) = recommend(monitor, reading);
    snapshot.what_now = advice.iter().map(sumproof_wording::advice::sentence).collect();
    snapshot.margin = margin.as_ref().map(sumproof_views::Margin::from);
}

fn heard(preset: &Preset, change: impl FnOnce(&mut Snapshot)) -> Snapshot {
    let mut snapshot = Snapshot::default();
    change(&mut snapshot);
    // The last chord rings out; a reading during playing shows more.
    let mut sound = preset.full();
    let len = sound.len() * 4 / 5;
    sound.left.truncate(len);
    sound.right.truncate(len);
    play(&sound, &mut Monitor::new(RATE_HZ), &mut snapshot);
    snapshot
}

fn preset(kind: PresetKind) -> Preset {
    render(&PresetSpec {
        seconds: 12.0,
        ..PresetSpec::new(kind)
    })
}

fn good() -> Snapshot {
    cached("good", || heard(&demo_preset(RATE_HZ), |_| {}))
}

fn flipped() -> Snapshot {
    cached("flipped", || heard(&preset(PresetKind::FlippedChannel), |_| {}))
}

fn late() -> Snapshot {
    cached("late", || heard(&preset(PresetKind::LateChannel12Ms), |_| {}))
}

fn wide() -> Snapshot {
    cached("wide", || heard(&preset(PresetKind::DoubleTracked), |_| {}))
}

fn unplugged() -> Snapshot {
    cached("unplugged", || {
        heard(&demo_preset(RATE_HZ), |snapshot| {
            snapshot.settings.right.unplugged = true;
            snapshot.settings.left.gain_db = -6.0;
            snapshot.settings.left.corner_hz = 30.0;
        })
    })
}

fn auditioning() -> Snapshot {
    let mut snapshot = cached("auditioning", || {
        heard(&demo_preset(RATE_HZ), |snapshot| {
            snapshot.settings.feed = FeedId::WedgeLineFlipped;
            snapshot.settings.audition = true;
        })
    });
    snapshot.hearing = Hearing::Feed(snapshot.settings.feed);
    snapshot
}

fn chosen_before_a_sound() -> Snapshot {
    let mut snapshot = Snapshot::default();
    snapshot.settings.feed = FeedId::MonoWedge;
    snapshot.settings.audition = true;
    snapshot.hearing = Hearing::Feed(FeedId::MonoWedge);
    snapshot
}

fn held_back() -> Snapshot {
    Snapshot {
        hearing: Hearing::HeldBack,
        ..auditioning()
    }
}

fn overflow() -> Snapshot {
    Snapshot {
        notices: Notices {
            lost_frames: 21_600,
            ..Notices::default()
        },
        ..good()
    }
}

fn silence() -> Snapshot {
    cached("silence", || {
        let mut snapshot = Snapshot::default();
        let mut monitor = Monitor::new(RATE_HZ);
        play(&demo_preset(RATE_HZ).full(), &mut monitor, &mut snapshot);
        play(
            &Stereo::silence(8 * RATE_HZ as usize),
            &mut monitor,
            &mut snapshot,
        );
        snapshot
    })
}

/// The player has stopped: the last phrase stays, with its worst outcomes where these were worse.
fn last_phrase() -> Snapshot {
    cached("last phrase", || {
        let mut snapshot = Snapshot::default();
        let mut monitor = Monitor::new(RATE_HZ);
        play(
            &preset(PresetKind::StereoChorus).full(),
            &mut monitor,
            &mut snapshot,
        );
        play(
            &Stereo::silence(3 * RATE_HZ as usize),
            &mut monitor,
            &mut snapshot,
        );
        snapshot.settings.left.flipped = true;
        monitor.set_rig(&snapshot.settings.rig(&Rig::default()));
        monitor.read(snapshot.settings.feed, &mut snapshot.reading);
        snapshot.reading.worst[FeedId::WedgeLineLate as usize] = Some(Outcome::DropsOut);
        snapshot
    })
}

/// Before a set is played.
fn named() -> Snapshot {
    let mut snapshot = comparing();
    snapshot.settings.takes_by_phrase = true;
    snapshot.names = NameList {
        names: [
            "clean arpeggio",
            "crunch",
            "wide pad",
            "lead, long echo",
            "last song",
        ]
        .map(String::from)
        .to_vec(),
        next: 2,
        of_program: None,
    };
    snapshot
}

fn take_of(sound: &Stereo, name: &str, pass: Pass) -> Option<Take> {
    let mut monitor = Monitor::new(RATE_HZ);
    let single = |channel: &[f64]| channel.iter().map(|&x| x as f32).collect::<Vec<f32>>();
    monitor.start_take();
    monitor.push(&single(&sound.left), &single(&sound.right));
    monitor.finish_take(name.into(), pass)
}

fn summary(take: &Take, rig: &Rig) -> TakeSummary {
    TakeSummary {
        name: take.name.clone(),
        pass: take.pass,
        seconds: take.seconds(),
        invalid_frames: take.invalid_frames,
        kind: take.kind,
        gaps: take.gaps,
        method: take.method(),
        wet_over_dry_db: take.split.wet_over_dry_db(),
        correlation: take.sums.correlation(),
        loudness_lufs: take.ungated_lufs(),
        failed: false,
        rows: take.rows(rig, 40.0),
    }
}

fn comparing() -> Snapshot {
    cached("comparing", || {
        let mut snapshot = good();
        let rig = Rig::default();
        snapshot.takes = [
            ("clean arpeggio", demo_preset(RATE_HZ)),
            ("crunch, late right", preset(PresetKind::LateChannel12Ms)),
            ("wide pad", preset(PresetKind::DoubleTracked)),
            ("two amplifiers", preset(PresetKind::TwoAmplifiers)),
        ]
        .iter()
        .filter_map(|(name, preset)| take_of(&preset.full(), name, Pass::Full))
        .map(|take| summary(&take, &rig))
        .collect();
        snapshot.deleted = Some("lead, first try".into());
        snapshot.can_export = true;
        snapshot
    })
}

fn boxed() -> Snapshot {
    cached("boxed", || {
        heard(&demo_preset(RATE_HZ), |snapshot| {
            snapshot.boxes = Boxes {
                left: Some(Kind::PassiveDirectBox),
                right: Some(Kind::LineIsolator),
            };
            for side in Side::BOTH {
                let made = line_through(snapshot.boxes.on(side), &snapshot.card.source());
                let line = match side {
                    Side::Left => &mut snapshot.settings.left,
                    Side::Right => &mut snapshot.settings.right,
                };
                line.gain_db = (made.gain_db * 10.0).round() as f32 / 10.0;
                line.corner_hz = (made.high_pass_hz[0] * 10.0).round() as f32 / 10.0;
            }
        })
    })
}

fn own_feed() -> Snapshot {
    cached("own feed", || {
        heard(&demo_preset(RATE_HZ), |snapshot| {
            snapshot.own.name = "side fill, right late".into();
            snapshot.own.feed.right.delay_s = 0.003;
            snapshot.own.feed.right.gain_db = -6.0;
            snapshot.limits.dry_holds_db = -3.0;
        })
    })
}

/// Fields of the rig card filled in, with impossible peaks.
fn carded() -> Snapshot {
    Snapshot {
        can_export: true,
        card: CardWords {
            player: "second guitar".into(),
            show: "harbour fair".into(),
            contact: "at the merch table".into(),
            position: "stage left, by the drums".into(),
            monitor: "my guitar and the vocal, nothing else, from the left wedge".into(),
            left: "gtr 2 L".into(),
            right: "gtr 2 R".into(),
            connector: "XLR".into(),
            boxes: Some(Whose::Mine),
            level_dbu: Some(-4.5),
            peak_dbu: Some(-9.0),
            notes: vec!["The tuner mutes both lines.".into()],
            at_risk: vec![
                "swell: gone with a line flipped".into(),
                "slap: thin in the wedge".into(),
            ],
            ..CardWords::default()
        },
        ..good()
    }
}

/// A notice longer than a line.
fn told() -> Snapshot {
    let mut snapshot = good();
    snapshot.notices.message = Some(
        "\u{2018}dry\u{2019} and \u{2018}wet\u{2019} don\u{2019}t make up \u{2018}clean arpeggio\u{2019}: the part was not \
         repeated the same way (at 400 to 630 Hz; -14 dB is left over): loop it, and record the passes again."
            .into(),
    );
    snapshot
}

/// Two passes that were not played identically.
fn failed() -> Snapshot {
    let mut snapshot = good();
    snapshot.passes = Passes {
        full: Some("clean arpeggio".into()),
        said: Some(
            "\u{2018}clean dry\u{2019} and \u{2018}clean wet\u{2019} don\u{2019}t make up \u{2018}clean \
             arpeggio\u{2019}: the part was not repeated the same way."
                .into(),
        ),
        failing: vec![[355.0, 447.0], [447.0, 562.0], [1122.0, 1413.0]],
        ..Passes::default()
    };
    snapshot
}

/// One reading a frame while the demo plays, for `frames` frames of a sixtieth of a second, after it has played for a
/// while.
pub fn playing(frames: usize) -> Vec<Snapshot> {
    const FRAMES_HZ: f64 = 60.0;
    let sound = demo_preset(RATE_HZ).full();
    let step = (RATE_HZ / FRAMES_HZ) as usize;
    let single = |channel: &[f64]| channel.iter().map(|&x| x as f32).collect::<Vec<f32>>();
    let mut snapshot = good();
    let mut monitor = Monitor::new(RATE_HZ);
    let mut all = Vec::with_capacity(frames);
    let mut heard = 0;
    for (left, right) in sound.left.chunks(step).zip(sound.right.chunks(step)).cycle() {
        monitor.push(&single(left), &single(right));
        heard += 1;
        if heard < 120 {
            continue;
        }
        monitor.read(snapshot.settings.feed, &mut snapshot.reading);
        let correlation = snapshot.reading.correlation.map(|c| c as f32);
        snapshot
            .history
            .push(1.0 / FRAMES_HZ, &snapshot.reading, correlation);
        all.push(snapshot.clone());
        if all.len() == frames {
            break;
        }
    }
    all
}

fn recording() -> Snapshot {
    cached("recording", || {
        let demo = demo_preset(RATE_HZ);
        let mut snapshot = Snapshot::default();
        let rig = Rig::default();
        snapshot.takes = [
            ("clean arpeggio", demo.full(), Pass::Full),
            ("clean arpeggio", demo.dry.clone(), Pass::Dry),
        ]
        .iter()
        .filter_map(|(name, sound, pass)| take_of(sound, name, *pass))
        .map(|take| summary(&take, &rig))
        .collect();
        snapshot.settings.record = true;
        snapshot.settings.pass = Pass::Wet;
        snapshot.passes.dry = Some("clean arpeggio".into());
        snapshot.passes.full = snapshot.passes.dry.clone();
        let mut monitor = Monitor::new(RATE_HZ);
        monitor.start_take();
        play(&demo.wet, &mut monitor, &mut snapshot);
        snapshot
    })
}
