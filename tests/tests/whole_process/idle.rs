//! The analysis thread sleeps when it isn't needed: at most four wake-ups a second while nothing is played, and while
//! the window is closed and no feed is auditioned.
use std::time::{Duration, Instant};
use sumproof_tests::host::setup::plugin;
use sumproof_tests::host::{Play, Stereo};

/// How often the plugin's own threads of this process have gone to sleep, by the kernel's count.
fn sleeps() -> u64 {
    let tasks = std::fs::read_dir("/proc/self/task").unwrap();
    let counts = tasks.filter_map(|task| {
        let path = task.unwrap().path();
        let name = std::fs::read_to_string(path.join("comm")).ok()?;
        let status = std::fs::read_to_string(path.join("status")).ok()?;
        let line = status
            .lines()
            .find_map(|line| line.strip_prefix("voluntary_ctxt_switches:"))?;
        (name.trim() == "sumproof").then(|| line.trim().parse::<u64>().unwrap())
    });
    counts.sum()
}

/// Checks the number of sleeps in a few seconds, once the thread has slowed down, against its limit: on a busy machine
/// a thread wakes less often, never more often.
fn counted(what: &str) {
    std::thread::sleep(Duration::from_secs(1));
    let (begin, before) = (Instant::now(), sleeps());
    assert!(before > 0, "{what}: there is such a thread");
    std::thread::sleep(Duration::from_secs(3));
    let (woken, most) = (sleeps() - before, 4.0 * begin.elapsed().as_secs_f64() + 1.0);
    assert!(
        woken as f64 <= most,
        "{what}: {woken} wake-ups, of at most {most:.0}"
    );
    assert!(woken > 0, "{what}: it looks now and then");
    println!(
        "{what}: {woken} wake-ups in {:.1} s",
        begin.elapsed().as_secs_f64()
    );
}

#[test]
fn an_idle_plugin_wakes_at_most_four_times_a_second() {
    let _turn = crate::turn();
    let mut plugin = plugin().unwrap();
    let tone = |n: usize| (n as f32 * 0.05).sin() * 0.3;
    let audio = Stereo::new(
        48_000.0,
        (0..48_000).map(tone).collect(),
        (0..48_000).map(tone).collect(),
    );
    plugin.play(&audio, &Play::default()).unwrap();
    counted("nothing is played");
    let running = plugin.start_realtime(audio, Play::default()).unwrap();
    counted("played, no window, no feed heard");
    plugin.stop_realtime(running).unwrap();
}
