//! The window: from a plain [`Snapshot`] to egui, emitting [`Intent`]s. It knows no host and no plugin framework, and
//! does no maths beyond layout and wording.
//!
//! One family with the report and the rig card: a stage sheet. Ink on paper, or the reverse at night; hairlines; two hues,
//! for dry and for wet, and besides them only the ribbon's; outcomes as words with a stroke before them.
//!
//! Every part is a function from a rectangle and the data to shapes, so that everything can be drawn without a host and
//! without a graphics card.
#![forbid(unsafe_code)]

mod apart;
mod axis;
mod beside;
mod board;
mod boxes;
mod check;
mod compare;
mod correlation;
mod curves;
mod field;
mod hearing;
mod history;
mod intent;
mod line_check;
mod lines;
mod look;
mod notices;
mod number;
mod own;
mod own_feed;
mod palette;
mod scroll;
mod sentence;
mod setup;
mod sheet;
mod side_chain;
mod snapshot;
pub mod style;
mod takes;
mod text;
mod typed;
mod why;
mod window;
pub mod words;

pub use check::{CheckWish, Found, LineCheck, Sending};
pub use history::{COLUMN_S, COLUMNS, HOLD_S, History};
pub use intent::{Control, Intent, Setting};
pub use look::{Look, Theme};
pub use notices::broken;
pub use own::{Boxes, OwnFeed, Passes, line_through};
pub use sentence::Sentence;
pub use side_chain::{MUCH_UNEXPLAINED, SideChain, SideChainState};
pub use snapshot::{Hearing, Integration, LineSettings, Margin, Notices, Settings, Snapshot, TakeSummary};
pub use text::as_text;
pub use window::{DEFAULT_SIZE, MIN_SIZE, Window};
