//! A deliberate data race, with which `cargo xtask bench threads` makes sure that races are found.

use std::cell::UnsafeCell;

/// A number shared by two threads without synchronisation.
struct Unguarded(UnsafeCell<u64>);

// SAFETY: deliberately unsound: this is the purpose of the program.
unsafe impl Sync for Unguarded {}

static COUNT: Unguarded = Unguarded(UnsafeCell::new(0));

fn count() {
    for _ in 0..1_000 {
        // SAFETY: deliberately unsound: the other thread writes at the same time.
        unsafe { *COUNT.0.get() += 1 };
    }
}

fn main() {
    let other = std::thread::spawn(count);
    count();
    // A panic of the other thread doesn't matter.
    let _ = other.join();
    // SAFETY: the other thread has ended.
    println!("counted to {}", unsafe { *COUNT.0.get() });
}
