//! Signs what users get. An owner of a certificate names a program for it; without one, builds for macOS get the ad-hoc
//! signature that its loader requires.

use crate::run::{Failure, run};
use crate::system::System;
use std::ffi::OsString;
use std::path::Path;
use std::process::Command;

/// The variable that names a signing program. It is called with one path, that of a bundle or a program, and must sign
/// that in place.
pub const VARIABLE: &str = "SUMPROOF_SIGN";

/// Signs a bundle or a program in place.
///
/// # Errors
/// The signing program's failure: nothing that was to be signed is passed on unsigned.
pub fn sign(path: &Path, system: System) -> Result<(), Failure> {
    sign_with(std::env::var_os(VARIABLE), path, system)
}

fn sign_with(program: Option<OsString>, path: &Path, system: System) -> Result<(), Failure> {
    match (program.filter(|program| !program.is_empty()), system) {
        (Some(program), _) => run(Command::new(program).arg(path)),
        // Apple processors run only signed code, if only with an ad-hoc signature ('-').
        (None, System::MacOs) => run(Command::new("codesign")
            .args(["--force", "--sign", "-"])
            .arg(path)),
        (None, System::Linux | System::Windows) => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_signing_program_that_fails_ends_it() {
        let path = Path::new("Sumproof.clap");
        let fails = sign_with(Some("no-such-signing-program".into()), path, System::Linux);
        assert!(fails.unwrap_err().to_string().contains("no-such-signing-program"));
        assert!(sign_with(None, path, System::Linux).is_ok());
        assert!(sign_with(Some(OsString::new()), path, System::Windows).is_ok());
    }
}
