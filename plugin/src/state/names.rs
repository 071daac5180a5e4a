//! Names given to takes in advance: one per preset, in playing order or in the order of the processor's programs.

use serde::{Deserialize, Serialize};

use crate::state::takes::as_name;

/// Most names that are kept.
pub const MOST_NAMES: usize = 256;

/// A list of names, and which of them is next.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Names {
    list: Vec<String>,
    next: usize,
    /// The current program, from 0, once one was called up: it names every take until another does.
    #[serde(skip)]
    program: Option<u8>,
}

impl Names {
    /// A list from names in playing order; each becomes one line, and empty ones are left out. The first is next.
    #[must_use]
    pub fn new<'a>(names: impl IntoIterator<Item = &'a str>) -> Self {
        let list = names.into_iter().map(as_name).filter(|name| !name.is_empty());
        Self {
            list: list.take(MOST_NAMES).collect(),
            next: 0,
            program: None,
        }
    }

    /// A stored list brought within its limits.
    #[must_use]
    pub fn clamped(self) -> Self {
        let next = self.next;
        let mut names = Self::new(self.list.iter().map(String::as_str));
        names.go_to(next);
        names
    }

    /// All names.
    #[must_use]
    pub fn list(&self) -> &[String] {
        &self.list
    }

    /// Index of the next name; the list's length when all are used.
    #[must_use]
    pub fn next(&self) -> usize {
        self.next
    }

    /// Makes the name at an index the next one.
    pub fn go_to(&mut self, next: usize) {
        self.next = next.min(self.list.len());
        self.program = None;
    }

    /// A program was called up, from 0. The takes to come get the name at its place in the list or, where the list is
    /// shorter, its number counted from 1.
    ///
    /// # Real-time
    /// Not for the audio thread, though it allocates nothing.
    pub fn play(&mut self, program: u8) {
        self.go_to(usize::from(program));
        self.program = Some(program);
    }

    /// The name from the current program, if one was called up.
    #[must_use]
    pub fn of_program(&self) -> Option<String> {
        let program = usize::from(self.program?);
        let listed = self.list.get(program).cloned();
        Some(listed.unwrap_or_else(|| format!("Program {}", program + 1)))
    }

    /// Skips one name.
    pub fn skip(&mut self) {
        self.go_to(self.next + 1);
    }

    /// Uses the next name; `None` when there is none left.
    pub fn take(&mut self) -> Option<String> {
        if let Some(name) = self.of_program() {
            return Some(name);
        }
        let name = self.list.get(self.next).cloned();
        self.skip();
        name
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_used_in_order_and_then_there_are_none() {
        let mut names = Names::new([" clean ", "", "crunch\r", "lead\u{7}"]);
        assert_eq!(names.list(), ["clean", "crunch", "lead"]);
        assert_eq!(names.take().as_deref(), Some("clean"));
        names.skip();
        assert_eq!(names.take().as_deref(), Some("lead"));
        assert_eq!((names.take(), names.next()), (None, 3));
        names.go_to(1);
        assert_eq!(names.take().as_deref(), Some("crunch"));
    }

    #[test]
    fn a_program_names_its_takes_until_another_does() {
        let mut names = Names::new(["clean", "crunch", "lead"]);
        names.play(1);
        assert_eq!((names.next(), names.take().as_deref()), (1, Some("crunch")));
        // The same preset again: the same name.
        assert_eq!(names.take().as_deref(), Some("crunch"));
        names.play(11);
        assert_eq!(names.take().as_deref(), Some("Program 12"));
        // After a name is chosen by hand, the names go on in playing order from there.
        names.go_to(0);
        assert_eq!(names.of_program(), None);
        assert_eq!(names.take().as_deref(), Some("clean"));
        assert_eq!(names.take().as_deref(), Some("crunch"));
        let stored = serde_json::to_string(&names).expect("plain values");
        assert!(!stored.contains("program"), "older versions read it: {stored}");
    }

    #[test]
    fn what_a_state_holds_is_made_sensible() {
        let wild = Names {
            list: vec!["a\nb".into(), String::new(), "c".into()],
            next: 77,
            program: None,
        };
        let tame = wild.clamped();
        assert_eq!((tame.list(), tame.next()), (&["ab".into(), "c".into()][..], 2));
    }
}
