//! What a process holds on to.

use std::time::Duration;

/// Memory, threads and files of this process.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// What is allocated, kB. Pages that are resident say less: where the allocator's stores are in pieces, they come and go by 20 MB
    /// between two runs of the same thing.
    pub memory_kb: u64,
    /// Threads.
    pub threads: usize,
    /// Open files, windows' connections among them.
    pub files: usize,
}

/// What Mesa's software driver keeps of so many contexts, kB, with room: 80 kB each, all but a few of them its own (heaptrack). A window of
/// ours that stayed would be 15 MB.
pub fn kept_by_driver_kb(windows: u32) -> u64 {
    512 + 120 * u64::from(windows)
}

/// What is allocated in all of the allocator's stores, bytes; nothing where it doesn't say.
fn allocated() -> Option<u64> {
    // SAFETY: the stream is this function's own, from its opening to its closing, and the room holds as much as is read.
    let report = unsafe {
        let stream = libc::tmpfile();
        if stream.is_null() {
            return None;
        }
        libc::malloc_info(0, stream);
        libc::rewind(stream);
        let mut room = vec![0u8; 1 << 20];
        let len = libc::fread(room.as_mut_ptr().cast(), 1, room.len(), stream);
        libc::fclose(stream);
        room.truncate(len);
        String::from_utf8(room).ok()?
    };
    // The sums over all stores come last.
    let last = |of: &str| -> Option<u64> {
        let (_, rest) = report.rsplit_once(of)?;
        let (_, size) = rest.split_once("size=\"")?;
        size.split('"').next()?.parse().ok()
    };
    let taken = last("<system type=\"current\"")? + last("<total type=\"mmap\"")?;
    Some(taken - last("<total type=\"fast\"")? - last("<total type=\"rest\"")?)
}

impl Held {
    /// Once threads that are ending have ended.
    pub fn now() -> Self {
        let mut held = Self::look();
        for _ in 0..20 {
            std::thread::sleep(Duration::from_millis(50));
            let again = Self::look();
            if (again.threads, again.files) == (held.threads, held.files) {
                return again;
            }
            held = again;
        }
        held
    }

    fn look() -> Self {
        let count = |folder: &str| std::fs::read_dir(folder).map_or(0, Iterator::count);
        let memory_kb = allocated().expect("glibc says what is allocated") / 1024;
        Self {
            memory_kb,
            threads: count("/proc/self/task"),
            files: count("/proc/self/fd"),
        }
    }

    /// The figures of what was added since `before`, or what is too much: threads or files at all, or more than
    /// `memory_kb`.
    ///
    /// # Errors
    /// What grew.
    pub fn grown_since(self, before: Self, memory_kb: u64) -> Result<String, String> {
        let more = self.memory_kb as i64 - before.memory_kb as i64;
        let figures = format!(
            "{:.1} MB at first, {more:+} kB at the end, threads {} and {}, files {} and {}",
            before.memory_kb as f64 / 1024.0,
            before.threads,
            self.threads,
            before.files,
            self.files
        );
        if self.threads > before.threads || self.files > before.files || more > memory_kb as i64 {
            return Err(format!("something is left behind: {figures}"));
        }
        Ok(figures)
    }
}
