//! Analyses many presets on several threads: results and errors are returned in the order given.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, mpsc};
use std::thread;

use sumproof_core::dsp::numbers::to_frames;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::part::Outline;
use sumproof_report::Entry;

use crate::measure::passes::{self, Others, PassesError};
use sumproof_recordings::analyse::Analyser;

/// The source of one preset.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Job {
    /// Its bounce.
    File(PathBuf),
    /// A pass with the effects off and others of the same part. They are held in memory whole.
    Passes {
        /// The pass with the effects off.
        dry: PathBuf,
        /// The wet pass, the full one, or both.
        others: Others<PathBuf>,
        /// Name of the preset; `None`: that of the full pass, or else of the dry one.
        name: Option<String>,
    },
}

impl Job {
    /// The files it reads.
    pub fn files(&self) -> impl Iterator<Item = &Path> {
        let (first, second, third) = match self {
            Self::File(path) => (path, None, None),
            Self::Passes { dry, others, .. } => (dry, others.wet(), others.full()),
        };
        [Some(first), second, third]
            .into_iter()
            .flatten()
            .map(PathBuf::as_path)
    }

    /// Number of bytes it reads: the measure of its share of the work.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        self.files()
            .filter_map(|path| path.metadata().ok())
            .map(|data| data.len())
            .sum()
    }

    /// Runs the job, and calls back now and then with the share that is done (0 to 1).
    ///
    /// # Errors
    /// See [`PassesError`].
    pub fn run(
        &self,
        rig: &Rig,
        analyser: &mut Analyser,
        progress: impl FnMut(f64),
    ) -> Result<Done, PassesError> {
        match self {
            Self::File(path) => {
                let (entry, outline) = analyser.entry(path, rig, progress)?;
                Ok(Done {
                    entry,
                    outline,
                    note: None,
                    passes_hold: true,
                })
            }
            Self::Passes { dry, others, name } => {
                let mut passes = passes::split(dry, others, rig)?;
                if let Some(name) = name {
                    passes.entry.take.name.clone_from(name);
                }
                Ok(Done {
                    note: passes
                        .check
                        .map(|check| format!("{}: {check}", passes.entry.take.name)),
                    entry: passes.entry,
                    outline: Outline::default(),
                    passes_hold: passes.holds,
                })
            }
        }
    }
}

/// A preset that was analysed.
#[derive(Clone, Debug)]
pub struct Done {
    /// The preset.
    pub entry: Entry,
    /// Loudness of its bounce over time; empty for passes.
    pub outline: Outline,
    /// How the full pass agrees with the two others.
    pub note: Option<String>,
    /// Whether the two passes belong together; `true` if that was not checked.
    pub passes_hold: bool,
}

/// Messages from a thread.
enum News {
    /// It has processed this many more bytes.
    Further(u64),
    /// The job with this index is done.
    Done(usize, Box<Result<Done, PassesError>>),
}

/// Runs all jobs on up to `threads` threads. Calls `on_done` on this thread with every result, in the order of the
/// jobs, and `on_bytes` with the number of bytes processed since the last call.
pub fn run_all(
    jobs: &[Job],
    rig: &Rig,
    threads: usize,
    mut on_done: impl FnMut(Result<Done, PassesError>),
    mut on_bytes: impl FnMut(u64),
) {
    if threads.min(jobs.len()) <= 1 {
        let mut analyser = Analyser::default();
        for job in jobs {
            on_done(told(job, rig, &mut analyser, &mut on_bytes));
        }
        return;
    }
    let next = AtomicUsize::new(0);
    let (news, heard) = mpsc::channel();
    let news = Mutex::new(news);
    thread::scope(|scope| {
        for _ in 0..threads.min(jobs.len()) {
            // A lock poisoned by a panic still holds a valid sender.
            let news = news
                .lock()
                .unwrap_or_else(|poisoned| poisoned.into_inner())
                .clone();
            let next = &next;
            scope.spawn(move || {
                let mut analyser = Analyser::default();
                while let Some((index, job)) = {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    jobs.get(index).map(|job| (index, job))
                } {
                    let done = told(job, rig, &mut analyser, |bytes| {
                        let _ = news.send(News::Further(bytes));
                    });
                    if news.send(News::Done(index, Box::new(done))).is_err() {
                        return;
                    }
                }
            });
        }
        // The channel closes when the last thread ends.
        drop(news);
        let mut waiting: Vec<Option<Result<Done, PassesError>>> = jobs.iter().map(|_| None).collect();
        let mut at = 0;
        for news in heard {
            match news {
                News::Further(bytes) => on_bytes(bytes),
                News::Done(index, done) => {
                    waiting[index] = Some(*done);
                    while let Some(done) = waiting.get_mut(at).and_then(Option::take) {
                        on_done(done);
                        at += 1;
                    }
                }
            }
        }
    });
}

/// Runs a job, reporting now and then the number of bytes processed.
fn told(
    job: &Job,
    rig: &Rig,
    analyser: &mut Analyser,
    mut on_bytes: impl FnMut(u64),
) -> Result<Done, PassesError> {
    let mut told = Told::new(job.bytes());
    let done = job.run(rig, analyser, |share| {
        if let Some(bytes) = told.further(share) {
            on_bytes(bytes);
        }
    });
    on_bytes(told.rest());
    done
}

/// Progress already reported for a job.
struct Told {
    all: u64,
    told: u64,
}

impl Told {
    fn new(all: u64) -> Self {
        Self { all, told: 0 }
    }

    /// The bytes since the last report, if there are enough for another.
    fn further(&mut self, share: f64) -> Option<u64> {
        let done = to_frames(share.clamp(0.0, 1.0) * self.all as f64).min(self.all);
        let bytes = done.saturating_sub(self.told);
        (bytes >= 1 << 18).then(|| {
            self.told = done;
            bytes
        })
    }

    fn rest(&mut self) -> u64 {
        let rest = self.all - self.told;
        self.told = self.all;
        rest
    }
}
