//! Readings, and what is published for the window.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use nice_plug::util::permit_alloc;
use sumproof_core::dsp::numbers::{to_frames, to_single};
use sumproof_core::routing::feed::Side;
use sumproof_core::session::monitor::Monitor;
use sumproof_views::{NameList, Passes};
use sumproof_wording::calm;

use super::Engine;
use crate::analysis::side_work::Order;
use crate::bridge::published::{Published, summary};
use crate::bridge::recommendations::Recommendations;

/// Time between two updates of advice and margin: they cost more than a reading, and no player acts on them faster.
const COUNSEL_EVERY: Duration = Duration::from_secs(1);
/// Time between two readings for the window.
const WINDOW_PERIOD: Duration = Duration::from_millis(40);
/// Sound between two readings of the board, s: words and figures can't be read faster.
const BOARD_PERIOD_S: f64 = 0.5;
/// Time between two readings of the board while something is being set.
const SETTING_PERIOD: Duration = Duration::from_millis(100);
/// How long the audition keeps to the line found worse, s of sound, so that near-equals do not alternate.
const WORSE_HELD_S: f64 = 3.0;
/// Takes summed up in one look.
const SUMMARIES_A_LOOK: usize = 4;

impl Engine {
    pub(super) fn read_if_due(&mut self) {
        let rate_hz = self.monitor.as_ref().map_or(48_000.0, Monitor::rate_hz);
        let heard_s = self.unread_frames as f64 / rate_hz;
        let window = self.window_is_open()
            && (self.unread_frames > 0 || self.unshown)
            && self.read_at.is_none_or(|at| at.elapsed() >= WINDOW_PERIOD);
        let board_s = self.board_frames as f64 / rate_hz;
        let set = window && self.reread && self.board_at.is_none_or(|at| at.elapsed() >= SETTING_PERIOD);
        if set || (window || self.settings.audition) && board_s >= BOARD_PERIOD_S {
            self.read_board();
        }
        if window {
            self.read_now(heard_s);
            permit_alloc(|| {
                self.sum_up(SUMMARIES_A_LOOK);
                let due = self.counselled_at.is_none_or(|at| at.elapsed() >= COUNSEL_EVERY);
                if due && self.counselled_at < self.board_at {
                    self.take_recommendations();
                }
                self.publish();
            });
            self.read_at = Some(Instant::now());
        }
    }

    /// Publishes a complete reading at once, for a window that has just opened or a user who has just changed
    /// something.
    pub fn show_now(&mut self) {
        self.guarded(|engine| {
            engine.follow_settings();
            engine.read_board();
            engine.sum_up(SUMMARIES_A_LOOK);
            engine.take_recommendations();
            engine.publish();
        });
    }

    /// Reads what changes fast: the meter, and the bands' correlations.
    fn read_now(&mut self, heard_s: f64) {
        let Some(monitor) = &mut self.monitor else { return };
        monitor.read_now(&mut self.reading);
        self.leave_markers_out();
        self.unread_frames = 0;
        if heard_s > 0.0 {
            let meter = self.links.shared.correlation.load(Ordering::Relaxed);
            self.history.push(
                heard_s,
                &self.reading,
                Some(meter).filter(|value| value.is_finite()),
            );
        }
    }

    fn leave_markers_out(&mut self) {
        self.reading.invalid_frames = self.reading.invalid_frames.saturating_sub(self.markers);
        self.reading.frames = self.reading.frames.saturating_sub(self.markers);
    }

    /// Reads words, figures and curves.
    fn read_board(&mut self) {
        self.board_frames = 0;
        self.board_at = Some(Instant::now());
        self.reread = false;
        let Some(monitor) = &mut self.monitor else { return };
        monitor.set_rig(&self.rig);
        let told = self.side.as_ref().and_then(|side| side.split.as_ref());
        monitor.read_told(self.settings.feed, told, &mut self.reading);
        self.leave_markers_out();
        // In silence there is no score, and match and side stay where they are. Every feed's match gain is known before
        // it is auditioned.
        for row in &self.reading.rows {
            if let Some(score) = row.score
                && score.level_lu.is_finite()
            {
                self.links.shared.set_match_db(row.id, to_single(-score.level_lu));
            }
        }
        let row = self.reading.row(self.settings.feed);
        if row.score.is_some() {
            let right = row.worse == Some(Side::Right);
            if right != self.links.shared.fault_in_right.load(Ordering::Relaxed)
                && self.worse_held_frames == 0
            {
                self.links.shared.fault_in_right.store(right, Ordering::Relaxed);
                self.worse_held_frames = to_frames(WORSE_HELD_S * self.reading.rate_hz);
            }
        }
    }

    /// Recalculates the takes' figures for the present rig, at most `most` at a time: while a line's delay is being
    /// dragged they start over with every step.
    fn sum_up(&mut self, most: usize) {
        let Some(mut fresh) = self.fresh.take() else {
            return;
        };
        let rig = self.rig;
        let takes = self.takes.iter().zip(self.takes.ids());
        fresh.extend(
            takes
                .skip(fresh.len())
                .take(most)
                .map(|(take, id)| summary(take, &rig, self.failed_passes.contains(&id))),
        );
        if fresh.len() < self.takes.len() {
            self.fresh = Some(fresh);
        } else {
            self.summaries = Arc::new(fresh);
        }
    }

    /// Computes advice and margin for the sound as it was last read.
    fn take_recommendations(&mut self) {
        self.counselled_at = Some(Instant::now());
        // In silence the last advice stands: it is about the preset, and the player may have stopped just to read it.
        if let Some(monitor) = self
            .monitor
            .as_ref()
            .filter(|_| self.reading.wet_over_dry_db.is_some())
        {
            let new = Recommendations::on(monitor, &self.reading);
            self.recommendations = Arc::new(new.after(&self.recommendations));
        }
        let why = sumproof_wording::diagnosis::sentences(&self.reading.diagnosis);
        if calm::say_something_new(&self.why, &why) {
            self.why = Arc::new(why);
        }
    }

    fn publish(&mut self) {
        let shared = &self.links.shared;
        self.unshown = self.fresh.is_some();
        self.links.published.write(Published {
            reading: *self.reading,
            history: (*self.history).clone(),
            takes: Arc::clone(&self.summaries),
            deleted: self.takes.removed().map(String::from),
            unread_takes: self.takes.unread(),
            newer_state: (!self.kept.from.is_empty()).then(|| self.kept.from.clone()),
            message: self.message.clone().or_else(|| self.kept.notice()),
            lost_frames: shared.lost_frames.load(Ordering::Relaxed),
            why: Arc::clone(&self.why),
            recommendations: Arc::clone(&self.recommendations),
            side_chain: self.side.as_ref().and_then(|side| side.shown),
            own: self.own_feed(),
            limits: self.rig.limits,
            boxes: self.boxes,
            card: self.card.clone(),
            names: NameList {
                names: self.names.list().to_vec(),
                next: self.names.next(),
                of_program: self.names.of_program(),
            },
            check: self.checking.shown(),
            passes: Passes {
                working: !self.pair_work.is_empty(),
                said: self.pair_said.as_ref().map(|(line, _)| line.clone()),
                failing: self
                    .pair_said
                    .as_ref()
                    .map(|(_, failing)| failing.clone())
                    .unwrap_or_default(),
                ..self.pairing.waiting()
            },
        });
        self.links.repaint.request_repaint();
    }

    pub(super) fn sum_up_anew(&mut self) {
        self.fresh.get_or_insert_default().clear();
        self.unshown = true;
    }

    /// The line shown last.
    #[cfg(test)]
    pub(crate) fn message(&self) -> Option<&str> {
        self.message.as_deref()
    }

    /// Shows one line in the window.
    pub fn say(&mut self, message: String) {
        // Frees the previous line.
        permit_alloc(|| self.message = Some(message));
        self.unshown = true;
    }

    /// Resets the live averages, the lowest value and the counts.
    pub fn reset(&mut self) {
        if let Some(monitor) = &mut self.monitor {
            monitor.reset();
        }
        self.order(Order::Reset);
        self.markers = 0;
        self.message = None;
        self.history.reset();
        self.recommendations = Arc::default();
        self.why = Arc::default();
        self.reread = true;
        self.unshown = true;
    }
}
