//! Runs a fuzz target.

use super::guide::Guide;
use super::{Subject, Target, kind_of, mutate};
use std::any::Any;
use std::collections::HashSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Once;
use std::time::{Duration, Instant};
use sumproof_signals::Rng;

/// Most inputs kept for further damage, and most kinds of outcome distinguished.
const MOST_KEPT: usize = 4096;

thread_local! {
    static PANIC: std::cell::RefCell<Option<String>> = const { std::cell::RefCell::new(None) };
}

/// An input that broke something.
#[derive(Clone, Debug)]
pub struct Finding {
    /// What it broke.
    pub what: String,
    /// The input.
    pub input: Vec<u8>,
}

/// A running target.
pub struct Driver {
    target: Target,
    subject: Subject,
    kept: Vec<Vec<u8>>,
    kinds: HashSet<String>,
    guide: Guide,
    rng: Rng,
    cases: u64,
    slowest: Duration,
}

impl Driver {
    /// Creates a driver whose cases follow from `seed`. The target's good inputs and those in `more` are tried first.
    ///
    /// # Errors
    /// A good input that breaks something.
    ///
    /// # Panics
    /// When the target has no good inputs.
    pub fn new(target: Target, more: Vec<Vec<u8>>, seed: u64) -> Result<Self, Box<Finding>> {
        silence_panics();
        let mut driver = Self {
            target,
            subject: (target.subject)(),
            kept: Vec::new(),
            kinds: HashSet::new(),
            guide: Guide::default(),
            rng: Rng::new(seed),
            cases: 0,
            slowest: Duration::ZERO,
        };
        for input in (target.seeds)().into_iter().chain(more) {
            driver.try_out(&input)?;
            driver.kept.push(input);
        }
        assert!(
            !driver.kept.is_empty(),
            "{} has nothing to begin with",
            target.name
        );
        Ok(driver)
    }

    /// The next damaged input.
    pub fn next_input(&mut self) -> Vec<u8> {
        let rng = &mut self.rng;
        // The most recent inputs with news are tried more often.
        let count = self.kept.len();
        let chosen = if rng.below(2) == 0 {
            rng.below(count)
        } else {
            count - 1 - rng.below(count.min(16))
        };
        let mut input = self.kept[chosen].clone();
        let other = &self.kept[rng.below(count)];
        match self.target.damage {
            Some(damage) if rng.below(2) == 0 => damage(&mut input, rng),
            _ => mutate::damage(&mut input, self.target.words, other, rng),
        }
        input.truncate(self.target.longest);
        input
    }

    /// Tries an input, and keeps it if it brought news.
    ///
    /// # Errors
    /// What it broke.
    pub fn run(&mut self, input: &[u8]) -> Result<(), Box<Finding>> {
        if self.try_out(input)? && self.kept.len() < MOST_KEPT {
            self.kept.push(input.to_vec());
        }
        Ok(())
    }

    /// Tries an input; returns whether it brought news.
    fn try_out(&mut self, input: &[u8]) -> Result<bool, Box<Finding>> {
        self.cases += 1;
        self.guide.begin();
        let begin = Instant::now();
        let outcome = catch_unwind(AssertUnwindSafe(|| (self.subject)(input)));
        let time = begin.elapsed();
        self.slowest = self.slowest.max(time);
        let news = self.guide.news();
        let what = match outcome {
            Ok(Ok(came_of_it)) => {
                let new_kind = self.kinds.len() < MOST_KEPT && self.kinds.insert(kind_of(&came_of_it));
                return Ok(new_kind || news);
            }
            Ok(Err(broken)) => broken,
            Err(payload) => format!("a panic: {}", said(&*payload)),
        };
        // The subject is in an unknown state after a panic.
        self.subject = (self.target.subject)();
        Err(Box::new(Finding {
            what,
            input: input.to_vec(),
        }))
    }

    /// Inputs tried so far.
    #[must_use]
    pub fn cases(&self) -> u64 {
        self.cases
    }

    /// Kinds of outcome seen so far.
    #[must_use]
    pub fn kinds(&self) -> usize {
        self.kinds.len()
    }

    /// One line: cases, inputs kept, kinds of outcome, counters reached, the slowest case.
    #[must_use]
    pub fn summary(&self) -> String {
        let counters = if Guide::counts() {
            format!(", {} counters passed", self.guide.passed())
        } else {
            String::new()
        };
        format!(
            "{}: {} cases, {} inputs kept, {} kinds of outcome{counters}, slowest case {:.2} s",
            self.target.name,
            self.cases,
            self.kept.len(),
            self.kinds.len(),
            self.slowest.as_secs_f64()
        )
    }
}

fn said(payload: &(dyn Any + Send)) -> String {
    let place = PANIC.take();
    let text = payload
        .downcast_ref::<String>()
        .map(String::as_str)
        .or_else(|| payload.downcast_ref::<&str>().copied())
        .unwrap_or("it says nothing");
    format!("{text} ({})", place.unwrap_or_default())
}

/// Records panics, which are findings here, instead of printing them.
fn silence_panics() {
    static INSTALLED: Once = Once::new();
    INSTALLED.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            let place = info.location().map(ToString::to_string);
            let inside = std::thread::current()
                .name()
                .is_some_and(|name| name.starts_with("fuzz "));
            if inside {
                PANIC.set(place);
            } else {
                before(info);
            }
        }));
    });
}
