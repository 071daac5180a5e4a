//! The window: from a plain [`Snapshot`] to egui, emitting [`Intent`]s. It knows no host and no plugin framework, and
//! does no maths beyond layout and wording.
#![forbid(unsafe_code)]

mod history;
mod intent;
mod look;
mod snapshot;
mod window;

pub use history::{COLUMN_S, COLUMNS, History};
pub use intent::{Control, Intent, Setting};
pub use look::{Look, Theme};
pub use snapshot::{Hearing, Integration, LineSettings, Margin, Notices, Settings, Snapshot, TakeSummary};
pub use window::{DEFAULT_SIZE, MIN_SIZE, Window};
