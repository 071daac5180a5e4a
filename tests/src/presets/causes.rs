//! Whether the named causes are right.

use sumproof_core::explain::diagnosis::{Cause, Diagnosis};

use super::Sheet;

/// The judged causes of a preset.
#[derive(Clone, Debug, Default)]
pub struct Named {
    /// Causes named.
    pub said: Vec<String>,
    /// Causes that had to be named and aren't.
    pub missed: Vec<String>,
    /// Causes named that must not be.
    pub wrong: Vec<String>,
}

impl Named {
    /// Nothing missed and nothing wrong.
    #[must_use]
    pub fn is_right(&self) -> bool {
        self.missed.is_empty() && self.wrong.is_empty() && !self.said.is_empty()
    }

    /// Whether a flip is named that isn't there.
    #[must_use]
    pub fn has_false_flip(&self) -> bool {
        self.wrong.iter().any(|cause| cause == &id(Cause::FlippedChannel))
    }
}

/// The name a cause has in files.
///
/// # Panics
/// If it has none, which is impossible.
#[must_use]
pub fn id(cause: Cause) -> String {
    serde_json::to_value(cause)
        .ok()
        .and_then(|value| value.as_str().map(str::to_owned))
        .expect("a cause is stored as its name")
}

/// Compares a diagnosis with the truth; `wet_known` says that dry and wet were known separately.
#[must_use]
pub fn judge(sheet: &Sheet, diagnosis: &Diagnosis, wet_known: bool) -> Named {
    let said: Vec<String> = diagnosis.findings().map(|finding| id(finding.cause)).collect();
    let truth = &sheet.causes;
    let must = truth
        .must
        .iter()
        .chain(truth.with_wet.iter().filter(|_| wet_known));
    let missed = must.filter(|cause| !said.contains(cause)).cloned().collect();
    let allowed = |cause: &String| {
        // 'Nothing seen' is no mistake, only less than could be told.
        cause == &id(Cause::NothingSeen)
            || [&truth.must, &truth.may, &truth.with_wet]
                .iter()
                .any(|list| list.contains(cause))
                // A lost movement can only be told with the wet, and is the fault then.
                && !(wet_known && cause == "nothing-wrong" && !truth.with_wet.is_empty())
    };
    let wrong = said.iter().filter(|&cause| !allowed(cause)).cloned().collect();
    Named { said, missed, wrong }
}
