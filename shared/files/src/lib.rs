//! Files written whole and read with a limit, for the command and the plugin alike.
//!
//! # Contract
//! * Nobody finds half of a file: what is written stands beside its place first, is on the disk, and is then put there in one
//!   step ([`write_whole`], [`write_new`]). After an error nothing is left.
//! * What stands there already keeps what it is: a link is followed, a file keeps its permissions, and a pipe, a device or an
//!   open descriptor (`/dev/stdout`) is written to, never replaced.
//! * Nothing is read into memory beyond a limit ([`read_text`]).
//!
//! The crate knows nothing of sound, reports or windows and depends on nothing, so that both ends of the house may use it. It
//! says what went wrong as [`std::io::Error`]; what to do about it is for who asked.
#![forbid(unsafe_code)]

mod new;
mod read;
mod target;
mod whole;

pub use new::write_new;
pub use read::{ReadTextError, read_text};
pub use whole::write_whole;
