//! Files written whole and read with a limit, for the command and the plugin.
//!
//! # Contract
//! * No reader ever finds a partly written file: the contents are first written to a file in the same folder, flushed
//!   to disk, and then put in place in one step ([`write_whole`], [`write_new`]). After an error nothing is left.
//! * An existing target keeps its nature: a link is followed, a file keeps its permissions, and a pipe, a device or an
//!   open descriptor (`/dev/stdout`) is written to, never replaced.
//! * Nothing is read into memory beyond a limit ([`read_text`]).
//!
//! The crate has no knowledge of sound, reports or windows and no dependencies, so that both the command and the plugin
//! may use it. It reports errors as [`std::io::Error`]; the caller says what to do about them.
#![forbid(unsafe_code)]

mod new;
mod read;
mod target;
mod whole;

pub use new::write_new;
pub use read::{ReadTextError, read_text};
pub use whole::write_whole;
