//! The page for the phone, in real browsers: it says what the command says, goes its whole way with a fake microphone that plays a
//! venue's recording, works without a network, asks for nothing but its own files, and takes bad input and interruptions with one
//! line each.
//!
//! `SUMPROOF_PAGE` is the folder that `cargo xtask page` makes; `cargo xtask test` sets it where the module can be built.
#![allow(clippy::unwrap_used, reason = "a test panics when something is missing")]

#[path = "page/accessible.rs"]
mod accessible;
mod browser;
mod common;
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
