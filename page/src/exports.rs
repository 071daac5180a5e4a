//! The worker's interface, written by hand: a question is written into [`room`], [`ask`] answers it, and the answer is
//! at [`answer`] and [`bytes`]. Lengths are bytes.

use std::cell::RefCell;
use std::sync::Arc;

use crate::session::Session;

#[link(wasm_import_module = "page")]
unsafe extern "C" {
    /// Reads `len` bytes of a file from offset `at` into `into`; returns how many were read, negative on an error.
    fn read_at(file: u32, at: f64, into: *mut u8, len: usize) -> i32;
    /// Reports the share of the question that is done.
    fn progress(share: f64);
}

struct State {
    session: Session,
    question: Vec<u8>,
    answer: Vec<u8>,
    bytes: Vec<u8>,
}

thread_local! {
    static STATE: RefCell<State> = RefCell::new(State {
        session: Session::new(Arc::new(piece)),
        question: Vec::new(),
        answer: Vec::new(),
        bytes: Vec::new(),
    });
}

fn piece(file: u32, at: u64, into: &mut [u8]) -> Option<usize> {
    // SAFETY: the worker writes at most `len` bytes at `into`, a slice lent for the call.
    let count = unsafe { read_at(file, at as f64, into.as_mut_ptr(), into.len()) };
    usize::try_from(count).ok()
}

/// Allocates room for a question of that length, bytes.
// SAFETY: no other symbol of the module has this name; the same holds for those below.
#[unsafe(no_mangle)]
pub extern "C" fn room(len: usize) -> *mut u8 {
    STATE.with_borrow_mut(|state| {
        state.question = vec![0; len];
        state.question.as_mut_ptr()
    })
}

/// Answers the question in the room.
#[unsafe(no_mangle)]
pub extern "C" fn ask() {
    STATE.with_borrow_mut(|state| {
        let question = String::from_utf8_lossy(&std::mem::take(&mut state.question)).into_owned();
        let mut told = |share: f64| {
            // SAFETY: it takes a number and keeps no reference.
            unsafe { progress(share) }
        };
        let mut answer = state.session.answer(&question, &mut told);
        state.bytes = std::mem::take(&mut answer.bytes);
        state.answer = serde_json::to_vec(&answer).unwrap_or_default();
    });
}

/// Address of the answer, JSON in UTF-8.
#[unsafe(no_mangle)]
pub extern "C" fn answer() -> *const u8 {
    STATE.with_borrow(|state| state.answer.as_ptr())
}

/// Its length.
#[unsafe(no_mangle)]
pub extern "C" fn answer_len() -> usize {
    STATE.with_borrow(|state| state.answer.len())
}

/// Address of the binary data beside it.
#[unsafe(no_mangle)]
pub extern "C" fn bytes() -> *const u8 {
    STATE.with_borrow(|state| state.bytes.as_ptr())
}

/// Their length.
#[unsafe(no_mangle)]
pub extern "C" fn bytes_len() -> usize {
    STATE.with_borrow(|state| state.bytes.len())
}
