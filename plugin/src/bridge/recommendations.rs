//! Advice and margin for the sound as it was last read, ready for the window.

use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::reading::Reading;
use sumproof_core::session::recommend::recommend;
use sumproof_wording::calm;

/// Advice and margin.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Recommendations {
    /// Advice, a sentence each.
    pub what_now: Vec<String>,
    /// The margin of the dry, or of everything where no dry was found.
    pub margin: Option<sumproof_views::Margin>,
}

impl Recommendations {
    /// Computes both. Allocates.
    pub fn on(monitor: &Monitor, reading: &Reading) -> Self {
        let (advice, margin) = recommend(monitor, reading);
        Self {
            what_now: advice.iter().map(sumproof_wording::advice::sentence).collect(),
            margin: margin.as_ref().map(sumproof_views::Margin::from),
        }
    }

    /// Returns `self`, but with the earlier sentences where the new ones say nothing new.
    #[must_use]
    pub fn after(self, before: &Self) -> Self {
        let what_now = if calm::say_something_new(&before.what_now, &self.what_now) {
            self.what_now
        } else {
            before.what_now.clone()
        };
        Self { what_now, ..self }
    }
}
