//! The names that takes get, given beforehand: a line a preset, in playing order.

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
}

impl Names {
    /// From names in playing order; each becomes a line, empty ones are left out. The first is next.
    #[must_use]
    pub fn new<'a>(names: impl IntoIterator<Item = &'a str>) -> Self {
        let list = names.into_iter().map(as_name).filter(|name| !name.is_empty());
        Self {
            list: list.take(MOST_NAMES).collect(),
            next: 0,
        }
    }

    /// What a state held, within what can be.
    #[must_use]
    pub fn clamped(self) -> Self {
        let next = self.next;
        let mut names = Self::new(self.list.iter().map(String::as_str));
        names.go_to(next);
        names
    }

    /// All of them.
    #[must_use]
    pub fn list(&self) -> &[String] {
        &self.list
    }

    /// The place of the next one; the list's length when all are used.
    #[must_use]
    pub fn next(&self) -> usize {
        self.next
    }

    /// Makes the name at a place the next one.
    pub fn go_to(&mut self, next: usize) {
        self.next = next.min(self.list.len());
    }

    /// Goes on to the name after the next one.
    pub fn skip(&mut self) {
        self.go_to(self.next + 1);
    }

    /// Uses the next name; `None` when there is no other.
    pub fn take(&mut self) -> Option<String> {
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
    fn what_a_state_holds_is_made_sensible() {
        let wild = Names {
            list: vec!["a\nb".into(), String::new(), "c".into()],
            next: 77,
        };
        let tame = wild.clamped();
        assert_eq!((tame.list(), tame.next()), (&["ab".into(), "c".into()][..], 2));
    }
}
