//! Serves a folder as a web site to this machine only: to view the page, and for its tests.

use std::fs;
use std::io::{BufRead, BufReader, Result, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};

/// Media types of a site's files.
const TYPES: [(&str, &str); 8] = [
    ("html", "text/html; charset=utf-8"),
    ("js", "text/javascript; charset=utf-8"),
    ("css", "text/css; charset=utf-8"),
    ("svg", "image/svg+xml"),
    ("png", "image/png"),
    ("webmanifest", "application/manifest+json"),
    ("json", "application/json"),
    ("wav", "audio/wav"),
];

/// A server that runs until it is dropped.
pub struct Server {
    /// Port on 127.0.0.1.
    pub port: u16,
    ended: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Server {
    /// Serves the files of a folder; port 0 selects any free one.
    ///
    /// # Errors
    /// The port is in use.
    pub fn start(folder: &Path, port: u16) -> Result<Self> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port))?;
        let port = listener.local_addr()?.port();
        let ended = Arc::new(AtomicBool::new(false));
        let folder = folder.to_owned();
        let end = Arc::clone(&ended);
        let thread = thread::spawn(move || {
            for stream in listener.incoming() {
                if end.load(Ordering::Relaxed) {
                    return;
                }
                let folder = folder.clone();
                thread::spawn(move || stream.and_then(|stream| answer(&stream, &folder)));
            }
        });
        Ok(Self {
            port,
            ended,
            thread: Some(thread),
        })
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.ended.store(true, Ordering::Relaxed);
        // Wakes the thread, so that it notices.
        let _ = TcpStream::connect((Ipv4Addr::LOCALHOST, self.port));
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// Answers one request.
fn answer(mut stream: &TcpStream, folder: &Path) -> Result<()> {
    let mut lines = BufReader::new(stream).lines();
    let request = lines.next().transpose()?.unwrap_or_default();
    for line in lines {
        if line?.is_empty() {
            break;
        }
    }
    let file = request
        .strip_prefix("GET /")
        .and_then(|rest| rest.split([' ', '?']).next())
        .and_then(|name| inside(folder, name));
    let (status, kind, bytes) = match file.and_then(|path| Some((kind(&path), fs::read(path).ok()?))) {
        Some((kind, bytes)) => ("200 OK", kind, bytes),
        None => ("404 Not Found", "text/plain", b"there is no such file\n".to_vec()),
    };
    write!(
        stream,
        "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\nCache-Control: no-cache\r\nConnection: close\r\n\r\n",
        bytes.len()
    )?;
    stream.write_all(&bytes)
}

/// The path of a file in the folder by its name in a request; `None` for one outside it.
fn inside(folder: &Path, name: &str) -> Option<PathBuf> {
    let name = if name.is_empty() { "index.html" } else { name };
    let plain = |c: char| c.is_ascii_alphanumeric() || "._-/".contains(c);
    (name.chars().all(plain) && !name.contains("..") && !name.starts_with('/')).then(|| folder.join(name))
}

fn kind(path: &Path) -> &'static str {
    let ending = path.extension().unwrap_or_default();
    TYPES
        .iter()
        .find(|(known, _)| ending == *known)
        .map_or("application/octet-stream", |(_, kind)| kind)
}
