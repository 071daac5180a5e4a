//! The page for the phone, in real browsers: its results equal the command's; it works from start to end with a fake
//! microphone that plays a venue's recording; it works without a network; it requests nothing but its own files; and
//! for bad input and interruptions it shows one line each.
//!
//! `SUMPROOF_PAGE` is the folder that `cargo xtask page` writes; `cargo xtask test` sets it where the module can be
//! built.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test chooses the numbers it converts"
)]

#[path = "page/accessible.rs"]
mod accessible;
mod browser;
#[path = "page/card.rs"]
mod card;
mod common;
#[path = "page/during.rs"]
mod during;
#[path = "page/firefox.rs"]
mod firefox;
#[path = "page/same.rs"]
mod same;
#[path = "../../xtask/src/serve.rs"]
mod serve;
#[path = "page/site.rs"]
mod site;
#[path = "page/way.rs"]
mod way;
#[path = "page/wrong.rs"]
mod wrong;
