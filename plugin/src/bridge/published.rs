//! What crosses from the analysis to the window, and how it becomes the views' snapshot.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use sumproof_core::dsp::numbers::to_single;
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_core::score::outcome::Limits;
use sumproof_core::score::rig::Rig;
use sumproof_core::session::reading::Reading;
use sumproof_core::session::take::Take;
use sumproof_views::{
    Boxes, CardWords, Hearing, History, LineCheck, LineSettings, NameList, Notices, OwnFeed, Passes,
    PedalTask, Snapshot, TakeSummary,
};

use sumproof_wording::side_chain::SideChain;

use crate::bridge::pedals::{Pedal, Pedals};
use crate::bridge::recommendations::Recommendations;
use crate::bridge::shared::{AuditionState, Shared};
use crate::parameters::params::HostParams;
use crate::parameters::settings::Settings;

/// Sample rates that are measured, Hz. At other rates sound passes, and the window says why there is no reading.
pub const MEASURED_HZ: (f64, f64) = (8_000.0, 384_000.0);

/// One publication for the window.
#[derive(Debug, Clone, Default)]
pub struct Published {
    /// The live reading.
    pub reading: Reading,
    /// The last 20 s.
    pub history: History,
    /// The takes; the same `Arc` as long as nothing about them changes.
    pub takes: Arc<Vec<TakeSummary>>,
    /// Name of the take that can be restored.
    pub deleted: Option<String>,
    /// Number of stored takes that this version can't read.
    pub unread_takes: usize,
    /// The newer version that saved the project, if one did.
    pub newer_state: Option<String>,
    /// One line to show.
    pub message: Option<String>,
    /// Frames that found the ring full.
    pub lost_frames: u64,
    /// The causes, a sentence each.
    pub why: Arc<Vec<String>>,
    /// Advice and margin.
    pub recommendations: Arc<Recommendations>,
    /// State of the side-chain, where there is one.
    pub side_chain: Option<SideChain>,
    /// The user's own feed.
    pub own: OwnFeed,
    /// The limits between the outcomes.
    pub limits: Limits,
    /// The boxes on the lines.
    pub boxes: Boxes,
    /// The words for the rig card.
    pub card: CardWords,
    /// The names that takes get.
    pub names: NameList,
    /// The passes that wait for others, and the result of the last pair.
    pub passes: Passes,
    /// The line check.
    pub check: LineCheck,
}

impl Published {
    /// Updates a snapshot with this publication and with values read directly from the parameters and the audio thread.
    pub fn fill(&self, params: &HostParams, shared: &Shared, snapshot: &mut Snapshot) {
        snapshot.reading = self.reading;
        snapshot.history.clone_from(&self.history);
        if snapshot.takes != *self.takes {
            snapshot.takes.clone_from(&self.takes);
        }
        snapshot.deleted.clone_from(&self.deleted);
        snapshot.why.clone_from(&self.why);
        snapshot.what_now.clone_from(&self.recommendations.what_now);
        if snapshot.margin != self.recommendations.margin {
            snapshot.margin.clone_from(&self.recommendations.margin);
        }
        let said = Settings::read(params);
        snapshot.settings = settings(&said.with(shared.arming.holds(said.switches())), params);
        snapshot.side_chain = self.side_chain;
        snapshot.can_export = true;
        snapshot.own.clone_from(&self.own);
        snapshot.limits = self.limits;
        snapshot.boxes = self.boxes;
        if snapshot.card != self.card {
            snapshot.card.clone_from(&self.card);
        }
        if snapshot.names != self.names {
            snapshot.names.clone_from(&self.names);
        }
        snapshot.pedals = shared.pedals.are_on().then(|| pedals(&shared.pedals));
        snapshot.passes.clone_from(&self.passes);
        snapshot.check.clone_from(&self.check);
        // What the user asked for shows at once, however busy the analysis is.
        snapshot.check.held = shared.switch.is_held();
        snapshot.check.on = shared.switch.is_on();
        snapshot.hearing = match shared.heard() {
            AuditionState::Stereo => Hearing::Stereo,
            AuditionState::Feed => Hearing::Feed(snapshot.settings.feed),
            AuditionState::HeldBack => Hearing::HeldBack,
            AuditionState::Loaded => Hearing::Loaded,
            AuditionState::Held => Hearing::Held,
            AuditionState::Test => Hearing::Test,
        };
        let unread = (self.unread_takes > 0).then(|| {
            format!(
                "{} stored takes can't be read by this version; they are kept and saved again.",
                self.unread_takes
            )
        });
        snapshot.notices = Notices {
            panicked: shared.panicked.load(Ordering::Relaxed),
            analysis_failed: shared.analysis_failed.load(Ordering::Relaxed),
            newer_state: self.newer_state.clone(),
            lost_frames: self.lost_frames,
            invalid_frames: self.reading.invalid_frames,
            message: shared
                .unmeasured_hz()
                .map(unmeasured)
                .or_else(|| self.message.clone())
                .or(unread),
        };
    }
}

/// The pedals for the views.
fn pedals(now: &Pedals) -> sumproof_views::Pedals {
    sumproof_views::Pedals {
        bound: PedalTask::ALL.map(|task| now.of(task as usize).map(Pedal::text)),
        learning: now.learning().and_then(|task| PedalTask::ALL.get(task).copied()),
    }
}

/// Why there's no reading.
fn unmeasured(rate_hz: f64) -> String {
    let (lowest_hz, highest_hz) = MEASURED_HZ;
    format!(
        "The host runs at {rate_hz:.0} Hz: sound passes, but only from {lowest_hz:.0} to {highest_hz:.0} Hz is anything measured or \
         auditioned."
    )
}

/// The parameters for the views, within their ranges.
fn settings(now: &Settings, params: &HostParams) -> sumproof_views::Settings {
    sumproof_views::Settings {
        bypass: now.bypass,
        audition: now.audition,
        feed: now.feed,
        left: line(&now.lines_as_set.left),
        right: line(&now.lines_as_set.right),
        straight: now.straight,
        takes_by_phrase: now.takes_by_phrase,
        law: now.law,
        loudness_match: now.loudness_match,
        integration: params.integration.value().0,
        record: now.record,
        pass: now.pass,
        preset: now.preset,
        audition_in_bounces: now.audition_in_bounces,
    }
}

fn line(clamped: &Line) -> LineSettings {
    LineSettings {
        flipped: clamped.polarity == Polarity::Flipped,
        gain_db: to_single(clamped.gain_db),
        delay_ms: to_single(clamped.delay_s * 1000.0),
        corner_hz: to_single(clamped.high_pass_hz[0]),
        unplugged: clamped.unplugged,
    }
}

/// Summary of a take for a rig; `failed` marks a pass that failed its check. Full band: the live reading omits what
/// lies below 40 Hz, a stored take does not.
pub fn summary(take: &Take, rig: &Rig, failed: bool) -> TakeSummary {
    TakeSummary {
        name: take.name.clone(),
        pass: take.pass,
        seconds: take.seconds(),
        invalid_frames: take.invalid_frames,
        kind: take.kind,
        gaps: take.gaps,
        method: take.method(),
        wet_over_dry_db: take.split.wet_over_dry_db(),
        correlation: take.sums.correlation(),
        loudness_lufs: take.ungated_lufs(),
        failed,
        rows: take.rows(rig, 0.0),
    }
}
