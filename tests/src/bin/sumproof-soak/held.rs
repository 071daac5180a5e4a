//! The resources that a process holds.

use std::time::Duration;

/// Memory, threads and files of this process.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// Allocated memory, kB. Resident pages are a worse measure: with fragmented arenas they vary by 20 MB between two
    /// runs of the same thing.
    pub memory_kb: u64,
    /// Threads.
    pub threads: usize,
    /// Open files, including the windows' connections.
    pub files: usize,
}

/// Upper limit of what Mesa's software driver keeps after `windows` contexts, kB: 80 kB each, nearly all of it the
/// driver's own (heaptrack). A leaked window of ours would be 15 MB.
pub fn kept_by_driver_kb(windows: u32) -> u64 {
    512 + 120 * u64::from(windows)
}

/// Bytes allocated in all of the allocator's arenas; `None` if it doesn't report them.
fn allocated() -> Option<u64> {
    // SAFETY: the stream belongs to this function from opening to closing, and the buffer holds as much as is read.
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
    // The sums over all arenas come last.
    let last = |of: &str| -> Option<u64> {
        let (_, rest) = report.rsplit_once(of)?;
        let (_, size) = rest.split_once("size=\"")?;
        size.split('"').next()?.parse().ok()
    };
    let taken = last("<system type=\"current\"")? + last("<total type=\"mmap\"")?;
    Some(taken - last("<total type=\"fast\"")? - last("<total type=\"rest\"")?)
}

impl Held {
    /// The resources now, after ending threads have ended.
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

    /// The growth since `before` as text; an error if there are more threads or files, or more than `memory_kb` more
    /// memory.
    ///
    /// # Errors
    /// The resource that grew.
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
