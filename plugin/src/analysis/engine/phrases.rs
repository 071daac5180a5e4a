//! Phrases that become takes, automatically or when the player asks for it, and the names they get.

use nice_plug::util::permit_alloc;
use sumproof_core::session::monitor::Monitor;

use super::Engine;
use crate::analysis::phrase_take::{Phrase, PhraseJob};
use crate::state::names::Names;
use crate::state::takes::{TakeId, Takes};

/// A take of a phrase as it was stored, and the work on a better one.
pub(super) type PhraseWork = (TakeId, PhraseJob);

impl Engine {
    /// Whether phrases become takes automatically; not while a take is recorded by hand.
    pub(super) fn keeps_phrases(&self) -> bool {
        let holds = self.links.shared.arming.holds(self.settings.switches());
        holds.takes_by_phrase && self.running.is_none()
    }

    /// Stores a take of the last phrase, unless it is one already, from its live reading, and starts the work on a
    /// better one. It gets the next name.
    pub(super) fn phrase_to_take(
        monitor: &mut Monitor,
        taken: &mut u64,
        names: &mut Names,
        takes: &mut Takes,
    ) -> Option<PhraseWork> {
        let number = monitor.phrase().number;
        if *taken == number || !takes.has_room() {
            return None;
        }
        permit_alloc(|| {
            let sound = monitor.last_phrase()?;
            let mut take = monitor.phrase_take(String::new(), &sound)?;
            *taken = number;
            take.name = names.take().unwrap_or_else(|| takes.next_name());
            let phrase = Phrase {
                sound,
                rate_hz: monitor.rate_hz(),
                kind: monitor.kind(),
            };
            let id = takes.add(take)?;
            Some((id, phrase.start()))
        })
    }

    /// Makes a take of the last phrase, however long ago it was played.
    pub fn take_phrase(&mut self) {
        let Some(monitor) = &mut self.monitor else { return };
        let phrase = monitor.phrase();
        let line = if phrase.number == 0 {
            "There is no phrase to take yet: play something."
        } else if !self.takes.has_room() {
            "There is no room for another take: delete one first."
        } else if self.taken_phrase == phrase.number {
            "The last phrase is a take already."
        } else {
            let work =
                Self::phrase_to_take(monitor, &mut self.taken_phrase, &mut self.names, &mut self.takes);
            permit_alloc(|| self.phrase_work.extend(work));
            self.sum_up_anew();
            self.unshown = true;
            return;
        };
        self.say(permit_alloc(|| String::from(line)));
    }

    /// Replaces takes of phrases by their better versions once these are ready. Never waits for them.
    pub(super) fn gather_phrases(&mut self) {
        while let Some((id, work)) = self.phrase_work.pop_front_if(|(_, work)| work.is_done()) {
            permit_alloc(|| {
                if let Some(Ok(Some(take))) = work.finish() {
                    self.takes.refine(id, take);
                }
            });
            self.sum_up_anew();
        }
    }

    /// Number of phrases being worked on.
    #[cfg(test)]
    pub(crate) fn phrases_worked_on(&self) -> usize {
        self.phrase_work.len()
    }

    /// The names that takes get.
    pub fn names(&self) -> &Names {
        &self.names
    }

    /// Changes the names that takes get.
    pub fn set_names(&mut self, names: Names) {
        self.names = names.clamped();
        self.unshown = true;
    }

    /// Skips the next name.
    pub fn skip_name(&mut self) {
        self.names.skip();
        self.unshown = true;
    }
}
