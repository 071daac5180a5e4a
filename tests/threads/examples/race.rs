//! A race on purpose: with it `cargo xtask bench threads` makes sure that races are found.

use std::cell::UnsafeCell;

/// A number that two threads may reach and nothing guards.
struct Unguarded(UnsafeCell<u64>);

// SAFETY: a lie, which is what this program is for.
unsafe impl Sync for Unguarded {}

static COUNT: Unguarded = Unguarded(UnsafeCell::new(0));

fn count() {
    for _ in 0..1_000 {
        // SAFETY: not given; the other thread does the same at the same time.
        unsafe { *COUNT.0.get() += 1 };
    }
}

fn main() {
    let other = std::thread::spawn(count);
    count();
    // Nothing is left to do where the other one panicked.
    let _ = other.join();
    // SAFETY: the other thread has ended.
    println!("counted to {}", unsafe { *COUNT.0.get() });
}
