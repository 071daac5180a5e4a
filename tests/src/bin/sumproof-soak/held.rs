//! What a process holds on to.

use std::time::Duration;

/// Memory, threads and files of this process.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// Resident memory after what was freed is given back to the system, kB.
    pub memory_kb: u64,
    /// Threads.
    pub threads: usize,
    /// Open files, windows' connections among them.
    pub files: usize,
}

unsafe extern "C" {
    /// glibc: gives freed memory back to the system.
    fn malloc_trim(pad: usize) -> i32;
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
        // SAFETY: the function takes any number and touches nothing but the allocator's own memory.
        unsafe { malloc_trim(0) };
        let count = |folder: &str| std::fs::read_dir(folder).map_or(0, Iterator::count);
        let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        let memory_kb = status
            .lines()
            .find_map(|line| {
                line.strip_prefix("VmRSS:")?
                    .split_whitespace()
                    .next()?
                    .parse()
                    .ok()
            })
            .unwrap_or(0);
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
