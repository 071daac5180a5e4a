//! What an instance stores beside its parameters: takes, the user's own feed, limits, kinds of box, fields of a newer
//! version.

use sumproof_core::routing::feed::Feed;
use sumproof_core::score::outcome::Limits;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::take::Take;
use sumproof_views::{Boxes, CardWords, OwnFeed};

use super::Engine;
use crate::parameters::text;
use crate::state::migrate::Kept;
use crate::state::takes::{StoredTakes, Takes};

/// Result of adding takes from elsewhere.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Added {
    /// Takes added.
    pub added: usize,
    /// Takes that were here already.
    pub known: usize,
    /// Takes for which there was no room.
    pub no_room: usize,
}

impl Engine {
    /// The takes, read-only.
    pub fn takes(&self) -> &Takes {
        &self.takes
    }

    /// The takes, for changes; their summaries are renewed.
    pub fn takes_mut(&mut self) -> &mut Takes {
        self.sum_up_anew();
        &mut self.takes
    }

    /// Adds takes from elsewhere, as many as there is room for and none twice.
    pub fn add_takes(&mut self, takes: Vec<Take>) -> Added {
        let mut done = Added::default();
        for mut take in takes {
            take.name = crate::state::takes::as_name(&take.name);
            let same = |other: &Take| {
                (&other.name, other.sums, other.pass, other.method())
                    == (&take.name, take.sums, take.pass, take.method())
            };
            if self.takes.iter().any(same) {
                done.known += 1;
            } else if self.takes.add(take).is_some() {
                done.added += 1;
            } else {
                done.no_room += 1;
            }
        }
        self.sum_up_anew();
        done
    }

    /// The rig for which readings are made.
    pub fn rig(&self) -> Rig {
        self.rig
    }

    /// Replaces the takes by stored ones. A running recording and pending work belong to the previous project and are
    /// dropped.
    pub fn load_takes(&mut self, stored: StoredTakes) {
        self.leave_project();
        *self.takes_mut() = Takes::from_stored(stored);
    }

    /// The user's own feed.
    pub fn own(&self) -> Feed {
        self.rig.own
    }

    /// Changes the user's own feed, brought into range.
    pub fn set_own(&mut self, own: Feed) {
        let rig = Rig { own, ..self.rig }.clamped();
        self.links.own.write(rig.own);
        self.set_rig(rig);
    }

    /// The user's own feed with its name.
    pub fn own_feed(&self) -> OwnFeed {
        OwnFeed {
            name: self.own_name.clone(),
            feed: self.rig.own,
        }
    }

    /// Its name; empty for none.
    pub fn own_name(&self) -> &str {
        &self.own_name
    }

    /// Names the user's own feed: one line of text, cut at the longest length allowed.
    pub fn set_own_name(&mut self, name: &str) {
        self.own_name = text::name(name, OwnFeed::LONGEST_NAME);
        self.unshown = true;
    }

    /// The kinds of box on the lines. They are only remembered: their effect on a line is in its parameters.
    pub fn boxes(&self) -> Boxes {
        self.boxes
    }

    /// Remembers the kinds of box on the lines.
    pub fn set_boxes(&mut self, boxes: Boxes) {
        self.boxes = boxes;
        self.unshown = true;
    }

    /// The words for the rig card.
    pub fn card(&self) -> &CardWords {
        &self.card
    }

    /// Changes the words for the rig card, cut and cleaned to fit.
    pub fn set_card(&mut self, card: CardWords) {
        self.card = card.tidy();
        self.unshown = true;
    }

    /// The limits between the outcomes.
    pub fn limits(&self) -> Limits {
        self.rig.limits
    }

    /// Changes the limits, brought into range.
    pub fn set_limits(&mut self, limits: Limits) {
        self.set_rig(Rig {
            limits: limits.clamped(),
            ..self.rig
        });
    }

    /// What is kept from a newer version's state.
    pub fn kept(&self) -> &Kept {
        &self.kept
    }

    /// Takes over the unknown fields of a loaded state.
    pub fn set_kept(&mut self, kept: Kept) {
        self.kept = kept;
        self.message = None;
        self.unshown = true;
    }
}
