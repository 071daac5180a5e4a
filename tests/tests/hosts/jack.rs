//! The stand-alone program on a JACK server without a sound card: its ports, the sound through it, its audition and its
//! readings, at a rate other than the program's default.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use egui_kittest::kittest::Queryable;
use serde_json::Value;
use sumproof_host::Stereo;
use sumproof_host::editor::pictures_on_the_screen;
use sumproof_host::hands::Key;
use sumproof_host::screen::Screen;
use sumproof_host::setup::{display_to_ourselves, standalone};
use sumproof_tests::render::{Stage, scenes};
use sumproof_views::{Look, PedalTask, Pedals};

use crate::jack_server::{Player, Server};

/// Not 48 kHz, the program's default.
const RATE_HZ: u32 = 44_100;
/// The right channel is the left one, this much later: 10 ms.
const LATE_FRAMES: usize = 441;
/// Level of the left channel over the right one, linear: unequal, so no sum cancels.
const LEFT_OVER_RIGHT: f32 = 2.0;

/// The running program, killed when the test ends in any way.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Four seconds of noise that loops seamlessly.
fn noise() -> Stereo {
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    let left: Vec<f32> = (0..4 * RATE_HZ)
        .map(|_| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 40) as f32 / (1 << 24) as f32 * 0.4 - 0.2
        })
        .collect();
    let right = (0..left.len())
        .map(|at| left[(at + left.len() - LATE_FRAMES) % left.len()] / LEFT_OVER_RIGHT)
        .collect();
    Stereo::new(f64::from(RATE_HZ), left, right)
}

/// Whether these frames are a part of the sound played, bit for bit.
fn is_part_of(heard: &[[f32; 2]], played: &Stereo) -> bool {
    let length = played.len_samples();
    let frame = |at: usize| [played.left[at % length], played.right[at % length]];
    (0..length).any(|start| {
        heard
            .iter()
            .enumerate()
            .all(|(at, &heard)| heard == frame(start + at))
    })
}

/// Waits for a condition. Not a timed assertion: a busy machine may take long, up to a limit.
fn until(what: &str, mut holds: impl FnMut() -> bool) {
    for _ in 0..600 {
        if holds() {
            return;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    panic!("{what} did not come true");
}

/// The window's size, once it shows letters.
fn window_size() -> [f32; 2] {
    let mut size = None;
    until("a window with letters in it", || {
        size = pictures_on_the_screen()
            .unwrap()
            .iter()
            .find(|picture| picture.colours() > 16)
            .map(|picture| [picture.width as f32, picture.height as f32]);
        size.is_some()
    });
    size.unwrap()
}

/// The scene of a window with takes.
const WITH_TAKES: &str = "comparing";
/// The scene of a window without takes.
const WITHOUT_TAKES: &str = "good";

/// The positions of widgets in a window of that size, after clicks on these names.
fn places(
    size: [f32; 2],
    scene: &str,
    clicked: &[&str],
    pedals: Pedals,
) -> impl Fn(&str) -> (f32, f32) + use<> {
    let scene = scenes().into_iter().find(|found| found.name == scene).unwrap();
    let mut snapshot = scene.snapshot();
    snapshot.pedals = Some(pedals);
    let mut stage = Stage::new(snapshot, Look::default(), size, 1.0);
    for name in clicked {
        stage.harness.get_by_label(name).click();
        stage.harness.run();
    }
    move |name| {
        let node = stage
            .harness
            .get_by(|node| node.label().is_some_and(|label| label.starts_with(name)));
        let at = node.rect().center();
        (at.x, at.y)
    }
}

/// The only file of takes in a folder, once it is there.
fn takes_in(folder: &Path) -> Option<Value> {
    let text = std::fs::read_to_string(folder.join("takes.json")).ok()?;
    serde_json::from_str(&text).ok()
}

fn start(folder: &Path) -> Running {
    let program = Command::new(standalone())
        .args(["--backend", "jack"])
        .env("SUMPROOF_FOLDER", folder)
        .stdin(Stdio::null())
        .spawn()
        .unwrap();
    Running(program)
}

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    folder
}

#[test]
fn it_passes_on_makes_audible_and_reads_what_comes_over_jack() {
    let _display = display_to_ourselves();
    let _server = Server::start(RATE_HZ, 1024);
    let played = noise();
    let player = Player::start(played.clone());
    let folder = folder("jack");
    let mut running = start(&folder);
    let screen = Screen::open().unwrap();

    // Its ports exist before anything is connected.
    let mut ports = (Vec::new(), Vec::new());
    until("two ports in and two out", || {
        assert_eq!(running.0.try_wait().unwrap(), None, "it ended by itself");
        ports = player.ports_of("sumproof");
        (ports.0.len(), ports.1.len()) == (2, 2)
    });
    until("the ports are connected", || player.connect(&ports.0, &ports.1));
    let place = places(window_size(), WITH_TAKES, &[], Pedals::default());

    // Sound passes bit for bit.
    until("the sound comes back to the last bit", || {
        is_part_of(&player.listen(4096), &played)
    });

    // A take of it is recorded and exported: its readings are right only if the rate is the server's. A click that
    // comes before the window is ready is lost; the next round repeats it, with another stretch as the take.
    until("a take of it is in a file", || {
        for seconds in [6, 1] {
            screen.click(place("record a take")).unwrap();
            player.listen(seconds * RATE_HZ as usize);
        }
        screen.click(place("export all takes and the rig card")).unwrap();
        std::thread::sleep(Duration::from_millis(1000));
        takes_in(&folder).is_some()
    });
    let take = &takes_in(&folder).unwrap()["takes"][0];
    assert_eq!(take["rate_hz"], f64::from(RATE_HZ), "{}", take["rate_hz"]);
    let late_ms = take["channel_delay"]["right_late_ms"].as_f64().unwrap();
    assert!((late_ms - 10.0).abs() < 0.02, "10 ms read as {late_ms} ms");
    let level_db = take["broadband"]["level_difference_db"].as_f64().unwrap();
    let wanted_db = 20.0 * f64::from(LEFT_OVER_RIGHT).log10();
    assert!(
        (level_db - wanted_db).abs() < 0.05,
        "{wanted_db} dB read as {level_db} dB"
    );

    // A key makes the mono wedge audible, another stereo again.
    screen.key(Key::Character('2')).unwrap();
    until("2 makes the mono wedge audible", || {
        let heard = player.listen(4096);
        heard.iter().all(|[left, right]| left == right) && heard.iter().any(|&[left, _]| left != 0.0)
    });
    screen.key(Key::Character('0')).unwrap();
    until("0 returns to stereo", || {
        is_part_of(&player.listen(4096), &played)
    });
    assert_eq!(running.0.try_wait().unwrap(), None, "it ended by itself");
}

/// Steps on a pedal: down, and up again after a while.
fn step_on(player: &Player, number: u8) {
    player.send([0xB0, number, 127]);
    player.listen(RATE_HZ as usize / 4);
    player.send([0xB0, number, 0]);
    player.listen(RATE_HZ as usize / 4);
}

#[test]
fn pedals_are_learnt_and_programs_name_takes_over_jack() {
    const FIRST_PEDAL: u8 = 20;
    let _display = display_to_ourselves();
    let _server = Server::start(RATE_HZ, 1024);
    let player = Player::start(noise());
    let folder = folder("jack-midi");
    let mut running = start(&folder);
    let screen = Screen::open().unwrap();
    until("its MIDI input is connected", || {
        assert_eq!(running.0.try_wait().unwrap(), None, "it ended by itself");
        player.connect_midi("sumproof:midi_input")
    });
    until("its sound is connected", || {
        let ports = player.ports_of("sumproof");
        (ports.0.len(), ports.1.len()) == (2, 2) && player.connect(&ports.0, &ports.1)
    });
    let size = window_size();
    let place = places(size, WITH_TAKES, &[], Pedals::default());

    // Learns the pedal of every task with the pointer. A click that comes before the window is ready is lost, and its
    // round is repeated.
    let pedals = || {
        let text = std::fs::read_to_string(folder.join("pedals.json")).unwrap_or_default();
        serde_json::from_str::<Value>(&text).unwrap_or_default()["pedals"].clone()
    };
    let names = "names, and takes by phrase";
    screen
        .click(places(size, WITHOUT_TAKES, &[], Pedals::default())(names))
        .unwrap();
    // Bound pedals take up space on the sheet.
    let mut bound = Pedals::default();
    for (task, number) in [PedalTask::Record, PedalTask::TakePhrase]
        .into_iter()
        .zip(FIRST_PEDAL..)
    {
        let sheet = places(size, WITHOUT_TAKES, &[names], bound.clone());
        until("a pedal is learnt", || {
            screen
                .click(sheet(&format!("pedal for {}", task.name())))
                .unwrap();
            std::thread::sleep(Duration::from_millis(500));
            step_on(&player, number);
            pedals()[task.id()]["controller"]["number"] == number
        });
        bound.bound[task as usize] = Some(format!("controller {number}, channel 1"));
    }
    screen.key(Key::Escape).unwrap();

    // Presets are chosen by program change, takes by pedal: no pointer from here on.
    let wanted = [7, 0, 127];
    for program in wanted {
        player.send([0xC0, program, 0]);
        step_on(&player, FIRST_PEDAL);
        player.listen(4 * RATE_HZ as usize);
        step_on(&player, FIRST_PEDAL);
    }
    player.send([0xC3, 41, 0]);
    step_on(&player, FIRST_PEDAL + 1);
    until("the takes are in a file", || {
        screen.click(place("export all takes and the rig card")).unwrap();
        std::thread::sleep(Duration::from_millis(1000));
        takes_in(&folder).is_some()
    });
    let takes = takes_in(&folder).unwrap();
    let names: Vec<&str> = takes["takes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|take| take["name"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["Program 8", "Program 1", "Program 128", "Program 42"]);
    assert_eq!(running.0.try_wait().unwrap(), None, "it ended by itself");
}
