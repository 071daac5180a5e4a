//! The stand-alone program: it opens its window without a sound device, draws letters, and ends on request.
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use sumproof_tests::host::editor::pictures_on_the_screen;
use sumproof_tests::host::setup::{display_to_ourselves, standalone};

/// The running program, killed when the test ends in any way.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn it_opens_its_window_without_a_sound_device() {
    let _display = display_to_ourselves();
    let program = Command::new(standalone())
        .args(["--backend", "dummy", "--period-size", "256"])
        .stdin(Stdio::null())
        .spawn()
        .unwrap();
    let mut running = Running(program);
    let mut drawn = None;
    for _ in 0..300 {
        assert_eq!(running.0.try_wait().unwrap(), None, "it ended by itself");
        std::thread::sleep(Duration::from_millis(100));
        let pictures = pictures_on_the_screen().unwrap();
        // Antialiased letters alone have dozens of shades.
        drawn = pictures.into_iter().find(|picture| picture.colours() > 16);
        if drawn.is_some() {
            break;
        }
    }
    let picture = drawn.expect("no window with letters in it");
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join("window-standalone.png");
    picture.write_png(&path).unwrap();
    assert!(
        picture.width >= 640 && picture.height >= 420,
        "{}x{}: smaller than the smallest window",
        picture.width,
        picture.height
    );
    // It keeps running in silence.
    std::thread::sleep(Duration::from_millis(500));
    assert_eq!(running.0.try_wait().unwrap(), None, "it ended by itself");
    // It ends on request, with its window open or not.
    let told = Command::new("kill")
        .args(["-TERM", &running.0.id().to_string()])
        .status()
        .unwrap();
    assert!(told.success());
    let ended = (0..600).find_map(|_| {
        std::thread::sleep(Duration::from_millis(50));
        running.0.try_wait().unwrap()
    });
    let ended = ended.expect("it was told to end and goes on");
    // As in a shell: 128 plus SIGTERM's number.
    assert_eq!(ended.code(), Some(128 + 15));
}

#[test]
fn without_a_display_it_says_so_and_ends() {
    let output = Command::new(standalone())
        .args(["--backend", "dummy"])
        .env_remove("DISPLAY")
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("DISPLAY"), "{said}");
    // Its help works without a display.
    let help = Command::new(standalone())
        .arg("--help")
        .env_remove("DISPLAY")
        .output()
        .unwrap();
    let help = String::from_utf8_lossy(&help.stdout).into_owned();
    assert!(help.contains("--backend") && help.contains("jack"), "{help}");
}
