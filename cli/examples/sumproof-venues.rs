//! Prints the table of `docs/line-check.md`: simulated venues, read and held against the truth.
//!
//! `cargo run --release -p sumproof-cli --example sumproof-venues [HOW MANY]`; needs `lame` and `oggenc`. Real rooms are taken
//! from the folders named by `SUMPROOF_GUITARIX` and `SUMPROOF_JCONVOLVER`, or from where `cargo xtask test` has put them.
#![allow(
    clippy::unwrap_used,
    reason = "a driver of measurements stops when something is missing"
)]

#[path = "../tests/venues/mod.rs"]
mod venues;

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

fn decode(path: &Path) -> (Vec<Vec<f32>>, f64) {
    let recording = sumproof_cli::read_recording(path).unwrap();
    (recording.channels, recording.rate_hz)
}

fn folder(variable: &str, fetched: &str) -> Option<PathBuf> {
    let cache = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../target/cache")
        .join(fetched);
    std::env::var_os(variable)
        .map(Into::into)
        .or_else(|| cache.exists().then_some(cache))
}

fn main() {
    let count: u64 = std::env::args()
        .nth(1)
        .map_or(600, |count| count.parse().expect("how many venues"));
    let rooms = venues::rooms(
        decode,
        folder("SUMPROOF_GUITARIX", "guitarix-common/usr/share/gx_head/sounds"),
        folder(
            "SUMPROOF_JCONVOLVER",
            "jconvolver-config-files/usr/share/jconvolver/config-files",
        ),
    );
    let folder = std::env::temp_dir().join(format!("sumproof-venues-{}", std::process::id()));
    let bench = venues::Bench::new(rooms, folder.clone(), decode);
    let next = AtomicU64::new(0);
    let outcomes = Mutex::new(Vec::new());
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                loop {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    if number >= count {
                        break;
                    }
                    let outcome = bench.run(number);
                    outcomes.lock().unwrap().push(outcome);
                }
            });
        }
    });
    let _ = std::fs::remove_dir_all(folder);
    print!("{}", venues::table(&outcomes.into_inner().unwrap()));
}
