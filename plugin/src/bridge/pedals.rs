//! Foot pedals in the stand-alone program: which controller or note does what, and how one is learnt. In a DAW, the DAW
//! does this.

use std::sync::atomic::{AtomicBool, AtomicU8, AtomicU32, Ordering};

/// The MIDI message a pedal sends; MIDI channels count from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pedal {
    /// A controller.
    Controller {
        /// The channel, 0 to 15.
        channel: u8,
        /// Its number, 0 to 127.
        number: u8,
    },
    /// A note.
    Note {
        /// The channel, 0 to 15.
        channel: u8,
        /// Its number, 0 to 127.
        number: u8,
    },
}

impl Pedal {
    fn in_word(self) -> u32 {
        let (kind, channel, number) = match self {
            Self::Controller { channel, number } => (1, channel, number),
            Self::Note { channel, number } => (2, channel, number),
        };
        kind << 16 | u32::from(channel & 15) << 8 | u32::from(number & 127)
    }

    fn from_word(word: u32) -> Option<Self> {
        let [number, channel, kind, _] = word.to_le_bytes();
        match kind {
            1 => Some(Self::Controller { channel, number }),
            2 => Some(Self::Note { channel, number }),
            _ => None,
        }
    }

    /// As shown to people: channels count from 1.
    #[must_use]
    pub fn text(self) -> String {
        match self {
            Self::Controller { channel, number } => format!("controller {number}, channel {}", channel + 1),
            Self::Note { channel, number } => format!("note {number}, channel {}", channel + 1),
        }
    }
}

/// Number of tasks a pedal can have; each is identified by its index.
pub const TASKS: usize = 6;

/// The pedals of one instance, in single atomics that the audio thread may read.
#[derive(Debug, Default)]
pub struct Pedals {
    /// Whether this is the stand-alone program.
    on: AtomicBool,
    bound: [AtomicU32; TASKS],
    /// Which pedals are down.
    down: [AtomicBool; TASKS],
    /// The task waiting for a pedal, from 1; 0 for none.
    learning: AtomicU8,
}

impl Pedals {
    /// From now on pedals have an effect.
    pub fn switch_on(&self) {
        self.on.store(true, Ordering::Release);
    }

    /// Whether pedals have an effect.
    pub fn are_on(&self) -> bool {
        self.on.load(Ordering::Acquire)
    }

    /// The pedal bound to a task.
    ///
    /// # Panics
    /// If `task` is not less than [`TASKS`].
    pub fn of(&self, task: usize) -> Option<Pedal> {
        Pedal::from_word(self.bound[task].load(Ordering::Relaxed))
    }

    /// Binds a pedal to a task, or removes it. No pedal has two tasks.
    ///
    /// # Panics
    /// If `task` is not less than [`TASKS`].
    pub fn bind(&self, task: usize, pedal: Option<Pedal>) {
        let word = pedal.map_or(0, Pedal::in_word);
        for bound in self.bound.iter().filter(|_| word != 0) {
            let _ = bound.compare_exchange(word, 0, Ordering::Relaxed, Ordering::Relaxed);
        }
        self.bound[task].store(word, Ordering::Relaxed);
        self.down[task].store(word != 0, Ordering::Relaxed);
    }

    /// The task for which a pedal is being learnt.
    pub fn learning(&self) -> Option<usize> {
        usize::from(self.learning.load(Ordering::Acquire))
            .checked_sub(1)
            .filter(|task| *task < TASKS)
    }

    /// Binds the next pedal that goes down to this task; `None` cancels.
    pub fn learn(&self, task: Option<usize>) {
        let word = task.and_then(|task| u8::try_from(task + 1).ok()).unwrap_or(0);
        self.learning.store(word, Ordering::Release);
    }

    /// A pedal went down or up. Returns the task to do now; a pedal being learnt does nothing else.
    ///
    /// # Real-time
    /// A few loads and stores.
    pub fn moved(&self, pedal: Pedal, is_down: bool) -> Option<usize> {
        if let Some(task) = self.learning().filter(|_| is_down) {
            self.bind(task, Some(pedal));
            self.learn(None);
            return None;
        }
        let task = (0..TASKS).find(|task| self.of(*task) == Some(pedal))?;
        let was_down = self.down[task].swap(is_down, Ordering::Relaxed);
        (is_down && !was_down).then_some(task)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RECORD: usize = 0;
    const STRAIGHT: usize = 3;

    const FOOT: Pedal = Pedal::Controller {
        channel: 0,
        number: 64,
    };
    const KEY: Pedal = Pedal::Note {
        channel: 9,
        number: 36,
    };

    #[test]
    fn a_pedal_is_learnt_and_then_does_its_task_once_each_time_it_goes_down() {
        let pedals = Pedals::default();
        assert_eq!(pedals.moved(FOOT, true), None);
        pedals.learn(Some(RECORD));
        assert_eq!(
            pedals.moved(FOOT, false),
            None,
            "only one that goes down is learnt"
        );
        assert_eq!(pedals.learning(), Some(RECORD));
        assert_eq!(pedals.moved(FOOT, true), None);
        assert_eq!((pedals.learning(), pedals.of(RECORD)), (None, Some(FOOT)));
        // It is still down from being learnt.
        assert_eq!(pedals.moved(FOOT, true), None);
        assert_eq!(pedals.moved(FOOT, false), None);
        assert_eq!(pedals.moved(FOOT, true), Some(RECORD));
        assert_eq!(pedals.moved(FOOT, true), None, "a controller may say so twice");
        assert_eq!(pedals.moved(KEY, true), None);
    }

    #[test]
    fn no_pedal_has_two_tasks_and_one_can_be_taken_off() {
        let pedals = Pedals::default();
        pedals.bind(RECORD, Some(KEY));
        pedals.bind(STRAIGHT, Some(KEY));
        assert_eq!((pedals.of(RECORD), pedals.of(STRAIGHT)), (None, Some(KEY)));
        assert_eq!(KEY.text(), "note 36, channel 10");
        pedals.bind(STRAIGHT, None);
        assert_eq!(pedals.of(STRAIGHT), None);
        for pedal in [FOOT, KEY] {
            assert_eq!(Pedal::from_word(pedal.in_word()), Some(pedal));
        }
    }
}
