//! `cargo xtask page`: the static site for the phone, in `target/page`.

use crate::place;
use crate::run::{Failure, cargo, output_of, run};
use crate::serve::Server;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fs;
use std::num::NonZeroU64;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Target triple of the module.
const TRIPLE: &str = "wasm32-unknown-unknown";

/// Variable that names a compiler, for use where the one on the path has no library for the target.
const RUSTC: &str = "SUMPROOF_WASM_RUSTC";

/// Largest size of the whole site, bytes: it is downloaded over a venue's network.
const MOST_BYTES: u64 = 1_500_000;

/// Turns in which the packer looks for a shorter form; more save next to nothing.
const TURNS: NonZeroU64 = NonZeroU64::new(5).unwrap();

/// Port of `--serve`.
const PORT: u16 = 8473;

/// Files of the report with which the page shows its results, and their names in the site.
const OF_THE_REPORT: [(&str, &str); 2] = [
    ("shared/report/src/formats/page.css", "report.css"),
    ("shared/report/src/formats/page.js", "set.js"),
];

/// The service worker that stores the site for use without a network.
const KEEPER: &str = "sw.js";

/// `cargo xtask page [--serve]`.
///
/// # Errors
/// Wrong usage, a missing tool, or the failure of a step.
pub fn page(args: &[String]) -> Result<(), Failure> {
    let serve = match args {
        [] => false,
        [one] if one == "--serve" => true,
        _ => return Err(Failure::Usage("page takes nothing but --serve".to_owned())),
    };
    let site = built()?;
    println!("{} ({} kB)", site.display(), weight(&site)? / 1000);
    if serve {
        let server = Server::start(&site, PORT)
            .map_err(|error| Failure::Failed(format!("port {PORT} can't be served ({error})")))?;
        println!(
            "http://127.0.0.1:{}/ (this machine only; Ctrl+C ends it)",
            server.port
        );
        loop {
            std::thread::park();
        }
    }
    Ok(())
}

/// Builds the site and returns its folder.
///
/// # Errors
/// [`Failure::Missing`] without a compiler for it, or the failure of a step.
pub fn built() -> Result<PathBuf, Failure> {
    let compiler = compiler()?.ok_or_else(|| {
        Failure::Missing(format!(
            "this needs Rust's library for {TRIPLE}: run `rustup target add {TRIPLE}`, or name a compiler that has it in {RUSTC} and its \
             linker in CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER"
        ))
    })?;
    let mut files = BTreeMap::new();
    files.insert("analysis.bin".to_owned(), packed(&module(&compiler)?)?);
    let folder = place::root().join("page/site");
    for entry in fs::read_dir(&folder).map_err(|e| failed(&folder, &e))? {
        let path = entry.map_err(|e| failed(&folder, &e))?.path();
        let name = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        files.insert(name, fs::read(&path).map_err(|e| failed(&path, &e))?);
    }
    for (from, to) in OF_THE_REPORT {
        let path = place::root().join(from);
        files.insert(to.to_owned(), fs::read(&path).map_err(|e| failed(&path, &e))?);
    }
    keeper(&mut files)?;
    let site = place::target().join("page");
    lay_out(&files, &site)?;
    let weight = weight(&site)?;
    if weight > MOST_BYTES {
        return Err(Failure::Failed(format!(
            "the site weighs {weight} bytes; it may weigh {MOST_BYTES}"
        )));
    }
    Ok(site)
}

/// A compiler for WebAssembly.
pub enum Compiler {
    /// The one cargo uses.
    Usual,
    /// The one at this path.
    Named(PathBuf),
}

/// Looks for a compiler; `None` if there is none.
///
/// # Errors
/// A compiler that is named and doesn't exist.
pub fn compiler() -> Result<Option<Compiler>, Failure> {
    if let Some(named) = std::env::var_os(RUSTC).filter(|named| !named.is_empty()) {
        let named = PathBuf::from(named);
        return match output_of(Command::new(&named).arg("-V")) {
            Some(_) => Ok(Some(Compiler::Named(named))),
            None => Err(Failure::Missing(format!(
                "{RUSTC} names {}, which doesn't run",
                named.display()
            ))),
        };
    }
    let library = output_of(Command::new("rustc").args(["--print", "target-libdir", "--target", TRIPLE]));
    let there = library.is_some_and(|folder| Path::new(folder.trim()).is_dir());
    Ok(there.then_some(Compiler::Usual))
}

/// Builds the module in a folder of its own, because another compiler's output is of no use to other builds.
fn module(compiler: &Compiler) -> Result<Vec<u8>, Failure> {
    let target = place::target().join("wasm");
    let mut build = cargo();
    build
        .args(["build", "--profile", "page", "--locked", "-p", "sumproof-page"])
        .args(["--target", TRIPLE])
        .env("CARGO_TARGET_DIR", &target)
        .env_remove("CARGO_ENCODED_RUSTFLAGS")
        // WebAssembly's 128-bit SIMD: in every current browser since 2021 to 2023.
        .env("RUSTFLAGS", "-Ctarget-feature=+simd128");
    if let Compiler::Named(rustc) = compiler {
        build.env("RUSTC", rustc).env_remove("RUSTUP_TOOLCHAIN");
    }
    run(&mut build)?;
    let path = target.join(TRIPLE).join("page/sumproof_page.wasm");
    fs::read(&path).map_err(|e| failed(&path, &e))
}

/// Compresses a file: not every host does so for transfer, and the worker can decompress it.
fn packed(bytes: &[u8]) -> Result<Vec<u8>, Failure> {
    let mut into = Vec::new();
    let options = zopfli::Options {
        iteration_count: TURNS,
        ..zopfli::Options::default()
    };
    zopfli::compress(options, zopfli::Format::Gzip, bytes, &mut into)
        .map_err(|e| Failure::Failed(format!("the module can't be packed: {e}")))?;
    Ok(into)
}

/// Writes the list of files to store, and a version computed from their contents, into the service worker.
fn keeper(files: &mut BTreeMap<String, Vec<u8>>) -> Result<(), Failure> {
    let mut sum = Sha256::new();
    for (name, bytes) in files.iter() {
        sum.update(name);
        sum.update(bytes);
    }
    let version: String = sum
        .finalize()
        .iter()
        .take(8)
        .map(|byte| format!("{byte:02x}"))
        .collect();
    let names: Vec<String> = std::iter::once("\"./\"".to_owned())
        .chain(
            files
                .keys()
                .filter(|name| *name != KEEPER && *name != "index.html")
                .map(|name| format!("\"{name}\"")),
        )
        .collect();
    let text = files
        .get(KEEPER)
        .and_then(|bytes| std::str::from_utf8(bytes).ok())
        .filter(|text| text.contains("/*FILES*/") && text.contains("/*VERSION*/"))
        .ok_or_else(|| Failure::Failed(format!("page/site/{KEEPER} has no place for the files it keeps")))?;
    let text = text
        .replace("/*FILES*/", &names.join(", "))
        .replace("/*VERSION*/", &version);
    files.insert(KEEPER.to_owned(), text.into_bytes());
    Ok(())
}

/// Writes the files, replacing the existing ones.
fn lay_out(files: &BTreeMap<String, Vec<u8>>, site: &Path) -> Result<(), Failure> {
    if site.exists() {
        fs::remove_dir_all(site).map_err(|e| failed(site, &e))?;
    }
    fs::create_dir_all(site).map_err(|e| failed(site, &e))?;
    for (name, bytes) in files {
        let path = site.join(name);
        fs::write(&path, bytes).map_err(|e| failed(&path, &e))?;
    }
    Ok(())
}

/// Total size of the site's files, bytes.
fn weight(site: &Path) -> Result<u64, Failure> {
    let entries = fs::read_dir(site).map_err(|e| failed(site, &e))?;
    entries
        .map(|entry| Ok(entry?.metadata()?.len()))
        .sum::<std::io::Result<u64>>()
        .map_err(|e| failed(site, &e))
}

fn failed(path: &Path, error: &std::io::Error) -> Failure {
    Failure::Failed(format!("{}: {error}", path.display()))
}
