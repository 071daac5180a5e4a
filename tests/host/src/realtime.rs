//! Real-time audio on a separate thread.

use crate::audio::{ParamEvent, Play, Stereo};
use crate::error::HostError;
use crate::handlers::TestHost;
use crate::looped::Looped;
use crate::plugin::ParamId;
use crate::processor::{Feeder, Finished, block_len};
use clack_host::process::StoppedPluginAudioProcessor;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// The last output block, left and right.
type AuditionState = Arc<Mutex<[Vec<f32>; 2]>>;

/// Whether a recording repeats.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Repeat {
    Forever,
    Once,
}

/// A running audio thread. Pass it to [`super::Plugin::stop_realtime`]; dropping it ends the thread too, but leaves the
/// plugin activated.
pub struct Realtime {
    stop: Arc<AtomicBool>,
    played_samples: Arc<AtomicUsize>,
    heard: AuditionState,
    changes: Sender<(ParamId, f64)>,
    thread: Option<JoinHandle<Finished<()>>>,
}

impl Realtime {
    pub(crate) fn spawn(
        stopped: StoppedPluginAudioProcessor<TestHost>,
        audio: Stereo,
        (how, ports): (Play, usize),
        repeat: Repeat,
    ) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let played_samples = Arc::new(AtomicUsize::new(0));
        let heard = AuditionState::default();
        let (changes, incoming) = channel();
        let thread = {
            let (stop, played_samples) = (stop.clone(), played_samples.clone());
            let heard = heard.clone();
            std::thread::spawn(move || {
                run(
                    stopped,
                    &audio,
                    (&how, ports, repeat),
                    &stop,
                    (&played_samples, &heard),
                    &incoming,
                )
            })
        };
        Self {
            stop,
            played_samples,
            heard,
            changes,
            thread: Some(thread),
        }
    }

    /// Samples played since the start.
    #[must_use]
    pub fn played_samples(&self) -> usize {
        self.played_samples.load(Ordering::Acquire)
    }

    /// The last output block, left and right.
    #[must_use]
    pub fn heard(&self) -> [Vec<f32>; 2] {
        self.heard.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Whether the thread has reached the end of its recording, or failed.
    #[must_use]
    pub fn has_ended(&self) -> bool {
        self.thread.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// Sets a parameter (string id, value on the scale of [`super::Param::max`]) with the next block.
    pub fn set_param(&self, key: &str, value: f64) {
        // A thread that has ended reports the reason when it is joined.
        let _ = self.changes.send((ParamId::from_key(key), value));
    }

    /// Ends the thread and takes the processor back.
    pub(crate) fn finish(mut self) -> Finished<()> {
        self.stop.store(true, Ordering::Release);
        match self.thread.take().map(JoinHandle::join) {
            Some(Ok(finished)) => finished,
            Some(Err(panic)) => std::panic::resume_unwind(panic),
            None => (
                None,
                Err(HostError::Misuse("that real-time thread was stopped before")),
            ),
        }
    }
}

impl Drop for Realtime {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Release);
        if let Some(thread) = self.thread.take() {
            // A panic in it can't be reported any more.
            let _ = thread.join();
        }
    }
}

/// Plays, sleeping until each block is due; late blocks follow at once.
fn run(
    stopped: StoppedPluginAudioProcessor<TestHost>,
    audio: &Stereo,
    (how, ports, repeat): (&Play, usize, Repeat),
    stop: &AtomicBool,
    (played_samples, heard): (&AtomicUsize, &AuditionState),
    incoming: &Receiver<(ParamId, f64)>,
) -> Finished<()> {
    let length = audio.len_samples();
    if length == 0 {
        return (Some(stopped), Err(HostError::Misuse("there is no audio to play")));
    }
    let mut started = match stopped.start_processing() {
        Ok(started) => started,
        Err(error) => {
            let refused = HostError::refused("start processing", &error);
            return (Some(error.into_stopped_processor()), Err(refused));
        }
    };
    let mut feeder = match Feeder::new(how, audio.rate_hz, ports) {
        Ok(feeder) => feeder,
        Err(error) => return (Some(started.stop_processing()), Err(error)),
    };
    let mut changes = how.events.clone();
    let mut looped = how.looped.map(Looped::new);
    let begin = Instant::now();
    let mut from = 0;
    for size in how.blocks.sizes() {
        if stop.load(Ordering::Acquire) || (repeat == Repeat::Once && from == length) {
            break;
        }
        let now = feeder.position_samples();
        changes.extend(incoming.try_iter().map(|(param, value)| ParamEvent {
            at_sample: now,
            param,
            value,
        }));
        let to = from + block_len(how, size, length - from, now, &changes);
        let (due, later) = changes
            .iter()
            .copied()
            .partition::<Vec<_>, _>(|change| change.at_sample < now + (to - from));
        changes = later;
        let [left, right] = match &mut looped {
            Some(looped) => [looped.arrives(to - from); 2],
            None => [&audio.left[from..to], &audio.right[from..to]],
        };
        match feeder.block(&mut started, left, right, from, &due) {
            Ok((left, right)) => {
                if let Some(looped) = &mut looped {
                    looped.went_out(left, right);
                }
                *heard.lock().unwrap_or_else(PoisonError::into_inner) = [left.to_vec(), right.to_vec()];
            }
            Err(error) => return (Some(started.stop_processing()), Err(error)),
        }
        from = if repeat == Repeat::Forever {
            to % length
        } else {
            to
        };
        let played = feeder.position_samples();
        played_samples.store(played, Ordering::Release);
        let due_at = begin + Duration::from_secs_f64(played as f64 / audio.rate_hz);
        std::thread::sleep(due_at.saturating_duration_since(Instant::now()));
    }
    (Some(started.stop_processing()), Ok(()))
}
