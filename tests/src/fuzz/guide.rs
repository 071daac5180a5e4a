//! The paths that an input took through the code, in builds that count them.
//!
//! The stable compiler's `-C instrument-coverage`, meant for test coverage, gives every branch a counter. `cargo xtask
//! fuzz` builds with it and with `--cfg sumproof_guided`; in other builds there are no counters, and [`Guide::news`] is
//! always false.

/// Remembers how often each counter was reached: never, once, twice, a few times, often.
#[derive(Debug, Default)]
pub struct Guide {
    seen: Vec<u8>,
}

impl Guide {
    /// Whether the build has counters.
    #[must_use]
    pub fn counts() -> bool {
        cfg!(sumproof_guided)
    }

    /// Number of counters ever reached.
    #[must_use]
    pub fn passed(&self) -> usize {
        self.seen.iter().filter(|seen| **seen != 0).count()
    }

    /// Sets all counters to zero.
    pub fn begin(&self) {
        counters().fill(0);
    }

    /// Whether since [`Self::begin`] a counter was reached for the first time, or much more often than ever before.
    pub fn news(&mut self) -> bool {
        let counters = counters();
        self.seen.resize(counters.len(), 0);
        let mut news = false;
        for (seen, count) in self.seen.iter_mut().zip(counters) {
            let how_often = 1u8.checked_shl(64 - count.leading_zeros()).unwrap_or(128) >> 1;
            if how_often & !*seen != 0 {
                *seen |= how_often;
                news = true;
            }
        }
        news
    }
}

#[cfg(not(sumproof_guided))]
fn counters() -> &'static mut [u64] {
    &mut []
}

#[cfg(sumproof_guided)]
fn counters() -> &'static mut [u64] {
    unsafe extern "C" {
        // The linker's names for the bounds of the section that the compiler puts its counters into.
        #[link_name = "__start___llvm_prf_cnts"]
        static mut FIRST: u64;
        #[link_name = "__stop___llvm_prf_cnts"]
        static mut END: u64;
    }
    let (first, end) = (&raw mut FIRST, &raw mut END);
    // SAFETY: between the bounds are only counters of 8 bytes. Other threads may increment them at the same time, which
    // may lose a count; nothing depends on a single one.
    unsafe { std::slice::from_raw_parts_mut(first, end.offset_from_unsigned(first)) }
}
