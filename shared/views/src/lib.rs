//! The window: from a plain [`Snapshot`] to egui, emitting [`Intent`]s. It knows no host and no plugin framework, and
//! does no maths beyond layout and wording.
//!
//! The design is that of a stage sheet, shared with the report and the rig card: ink on paper, or the reverse at night;
//! hairlines; two hues, for dry and for wet, and besides them only the ribbon's; outcomes as words with a stroke before
//! them.
//!
//! Every part is a function from a rectangle and the data to shapes, so everything can be drawn without a host and
//! without a graphics card.
#![forbid(unsafe_code)]
#![cfg_attr(
    test,
    allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_possible_wrap,
        reason = "a test chooses the numbers it converts"
    )
)]

mod board;
mod canvas;
mod data;
mod panels;
mod plots;
mod sentence;
pub mod style;
mod text;
mod widgets;
mod window;

pub use data::card::CardWords;
pub use data::check::{CheckWish, Found, LineCheck, Sending};
pub use data::history::{COLUMN_S, COLUMNS, HOLD_S, History};
pub use data::intent::{Control, Intent, Setting};
pub use data::look::{Look, Theme};
pub use data::own::{Boxes, NameList, OwnFeed, Passes, PedalTask, Pedals, line_through};
pub use data::snapshot::{
    Hearing, Integration, LineSettings, Margin, Notices, Settings, Snapshot, TakeSummary,
};
pub use panels::notices::broken;
pub use sentence::Sentence;
pub use text::as_text;
pub use window::{DEFAULT_SIZE, MIN_SIZE, Window};
