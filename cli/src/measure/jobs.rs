//! Many presets on several threads: results in the order given, errors as they come in that order.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, mpsc};
use std::thread;

use sumproof_core::score::rig::Rig;
use sumproof_core::session::part::Outline;
use sumproof_report::Entry;

use crate::measure::passes::{self, Others, PassesError};
use sumproof_recordings::analyse::Analyser;

/// What one preset is made from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Job {
    /// Its bounce.
    File(PathBuf),
    /// A pass with the effects off and others of the same part. They are held in memory whole.
    Passes {
        /// Effects off.
        dry: PathBuf,
        /// Dry off, as it is, or both.
        others: Others<PathBuf>,
        /// What the preset is called; `None`: after the part as it is, or else after the dry pass.
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

    /// How many bytes it reads: what its share of the work is taken for.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        self.files()
            .filter_map(|path| path.metadata().ok())
            .map(|data| data.len())
            .sum()
    }

    /// Does it, telling now and then which share is done (0 to 1).
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
    /// How loud its bounce is over time; nothing of passes.
    pub outline: Outline,
    /// What the part as it is says of the two passes.
    pub note: Option<String>,
    /// The two passes belong together, as far as anybody can tell.
    pub passes_hold: bool,
}

/// What a thread tells.
enum News {
    /// It is this many bytes further.
    Further(u64),
    /// The job of that number is done.
    Done(usize, Box<Result<Done, PassesError>>),
}

/// Does all jobs on up to `threads` threads. `on_done` is called on this thread with every result, in the order of the jobs,
/// `on_bytes` with how many bytes have been worked off since the last call.
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
            // A lock that a panic poisoned still holds a sender.
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
        // The channel ends when the last thread does.
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

/// Does a job, telling now and then how many bytes have been worked off.
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

/// What of a job has been told.
struct Told {
    all: u64,
    told: u64,
}

impl Told {
    fn new(all: u64) -> Self {
        Self { all, told: 0 }
    }

    /// The bytes since the last time, when there are enough to be worth telling.
    fn further(&mut self, share: f64) -> Option<u64> {
        let done = ((share.clamp(0.0, 1.0) * self.all as f64) as u64).min(self.all);
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
