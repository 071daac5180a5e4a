//! Signing what users get. Who has a certificate says how; without one macOS gets the signature of nobody that its loader wants.

use crate::run::{Failure, run};
use crate::system::System;
use std::ffi::OsString;
use std::path::Path;
use std::process::Command;

/// The variable that names a program to sign with. It is called with one path, a bundle or a program, and has to change that.
pub const VARIABLE: &str = "SUMPROOF_SIGN";

/// Signs a bundle or a program in place.
///
/// # Errors
/// The signing program's failure: nothing is passed on unsigned that was to be signed.
pub fn sign(path: &Path, system: System) -> Result<(), Failure> {
    sign_with(std::env::var_os(VARIABLE), path, system)
}

fn sign_with(program: Option<OsString>, path: &Path, system: System) -> Result<(), Failure> {
    match (program.filter(|program| !program.is_empty()), system) {
        (Some(program), _) => run(Command::new(program).arg(path)),
        // On an Apple processor nothing runs that isn't signed, if only by nobody ('-').
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
