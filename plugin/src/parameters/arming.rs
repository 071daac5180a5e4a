//! Which switches among the parameters take effect.

use std::sync::atomic::{AtomicBool, Ordering};

/// A switch that a loaded state turns on has no effect yet: a project saved while a feed was auditioned would print
/// that feed into the next bounce. It takes effect once the user has switched it off and on again, or on in the window.
/// This holds for the session, and no state changes it.
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
    /// A state was loaded with these switches.
    pub fn loaded(&self, switches: Switches) {
        for (armed, on) in self.0.iter().zip(switches.list()) {
            armed.store(!on, Ordering::Release);
        }
    }

    /// The switches that take effect: one that isn't armed is off. A switch that is off becomes armed by that.
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

    /// The user changed these switches in the window.
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
