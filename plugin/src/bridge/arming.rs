//! What may be heard and recorded of what the parameters say.

use std::sync::atomic::{AtomicBool, Ordering};

/// What a loaded state switches on is neither heard nor recorded: a project that was saved while a feed was auditioned would print
/// it the next time it's bounced. It is once somebody has switched it off and on again, or on in the window; this is for the
/// session, and no state sets it.
#[derive(Debug)]
pub struct Arming([AtomicBool; 4]);

/// The switches that are armed, in this order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Switches {
    /// Audition.
    pub audition: bool,
    /// Audition in bounces.
    pub in_bounces: bool,
    /// Recording of takes.
    pub record: bool,
    /// Phrases become takes.
    pub takes_by_phrase: bool,
}

impl Switches {
    fn list(self) -> [bool; 4] {
        [self.audition, self.in_bounces, self.record, self.takes_by_phrase]
    }
}

impl Default for Arming {
    fn default() -> Self {
        Self(std::array::from_fn(|_| AtomicBool::new(true)))
    }
}

impl Arming {
    /// A state was loaded that says this.
    pub fn loaded(&self, switches: Switches) {
        for (armed, on) in self.0.iter().zip(switches.list()) {
            armed.store(!on, Ordering::Release);
        }
    }

    /// The switches as far as they hold: what isn't armed is off. What is off is armed by that.
    ///
    /// # Real-time
    /// Four atomic loads, and a store where a switch was seen off for the first time.
    pub fn holds(&self, switches: Switches) -> Switches {
        let mut list = switches.list();
        for (armed, on) in self.0.iter().zip(&mut list) {
            if !armed.load(Ordering::Acquire) {
                if *on {
                    *on = false;
                } else {
                    armed.store(true, Ordering::Release);
                }
            }
        }
        let [audition, in_bounces, record, takes_by_phrase] = list;
        Switches {
            audition,
            in_bounces,
            record,
            takes_by_phrase,
        }
    }

    /// Somebody switched these in the window.
    pub fn arm(&self, switched: Switches) {
        for (armed, _) in self
            .0
            .iter()
            .zip(switched.list())
            .filter(|(_, switched)| *switched)
        {
            armed.store(true, Ordering::Release);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OFF: Switches = Switches {
        audition: false,
        in_bounces: false,
        record: false,
        takes_by_phrase: false,
    };
    const ON: Switches = Switches {
        audition: true,
        in_bounces: true,
        record: true,
        takes_by_phrase: true,
    };

    #[test]
    fn what_was_loaded_waits_until_it_is_switched() {
        let arming = Arming::default();
        assert_eq!(arming.holds(ON), ON);
        arming.loaded(ON);
        assert_eq!(arming.holds(ON), OFF);
        assert_eq!(arming.holds(OFF), OFF);
        assert_eq!(arming.holds(ON), ON);
        arming.loaded(OFF);
        assert_eq!(arming.holds(ON), ON);
        arming.loaded(ON);
        let audition = Switches {
            audition: true,
            ..OFF
        };
        arming.arm(audition);
        assert_eq!(arming.holds(ON), audition);
    }
}
