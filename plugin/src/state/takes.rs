//! The takes kept in the plugin's state.
//!
//! Each is stored and read separately. An entry that can't be read (in a newer version's form, or damaged) stays in its
//! place word for word and is saved again; so do fields of a readable take that this version does not know.

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use sumproof_core::session::take::Take;
use sumproof_core::split::kind::PresetKind;

/// Most takes that can be recorded into one state.
pub const MOST_TAKES: usize = 128;
/// Most entries accepted from a state, unreadable ones included.
const MOST_ENTRIES: usize = 1024;
/// Longest name, characters.
pub const LONGEST_NAME: usize = 80;
/// Version of the list's form.
const FORM: u32 = 1;

/// The list as the state holds it.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct StoredTakes {
    /// Version of the form.
    version: u32,
    /// The entries, each with its own version.
    takes: Vec<Value>,
    /// Number of takes named so far, deleted ones included.
    #[serde(default)]
    named: u64,
    /// Number of ids given so far, those of deleted takes included.
    #[serde(default)]
    given: u64,
    /// Fields of the list that a newer version added.
    #[serde(flatten)]
    beside: Map<String, Value>,
}

/// Identifies a take whatever its name; the same after saving and loading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct TakeId(u64);

/// Key of the id in a stored take.
const ID_KEY: &str = "id";

/// One entry.
#[derive(Debug, Clone)]
enum Entry {
    /// A take, and the fields of its stored form that this version does not know.
    Read(TakeId, Box<Take>, Map<String, Value>),
    /// An unreadable entry, word for word.
    Unread(Value),
}

/// The takes in order.
#[derive(Debug, Clone, Default)]
pub struct Takes {
    entries: Vec<Entry>,
    beside: Map<String, Value>,
    /// Number of takes named so far, for the next name.
    named: u64,
    /// Number of ids given so far.
    given: u64,
    /// The last removed take and its place; for the session only.
    removed: Option<(usize, Entry)>,
}

/// The default of the field.
pub fn none_stored() -> String {
    serde_json::to_string(&Takes::default().stored())
        .unwrap_or_else(|_| String::from("{\"version\":1,\"takes\":[]}"))
}

/// Whether the field can be read as a list of entries at all.
pub fn readable(text: &str) -> bool {
    serde_json::from_str::<StoredTakes>(text).is_ok_and(|stored| stored.takes.len() <= MOST_ENTRIES)
}

impl Takes {
    /// Takes from the stored form. Never fails: an unreadable entry is kept as it is.
    pub fn from_stored(stored: StoredTakes) -> Self {
        let mut read = 0;
        let mut takes = Self {
            named: stored.named,
            given: stored.given,
            entries: Vec::new(),
            beside: stored.beside,
            removed: None,
        };
        let id_of = |value: &Value| value.get(ID_KEY).and_then(Value::as_u64).map(TakeId);
        // No id is given twice, whatever count the state has stored.
        let highest = stored.takes.iter().filter_map(id_of).map(|id| id.0).max();
        takes.given = takes.given.max(highest.unwrap_or(0));
        for value in stored.takes.into_iter().take(MOST_ENTRIES) {
            takes.named = takes.named.max(number_in_name(&value));
            let entry = match Take::deserialize(&value) {
                Ok(take) if read < MOST_TAKES => {
                    read += 1;
                    let id = id_of(&value).filter(|id| takes.place(*id).is_none());
                    let id = id.unwrap_or_else(|| takes.next_id());
                    let mut besides = besides(&take, &value);
                    besides.remove(ID_KEY);
                    Entry::Read(id, Box::new(take), besides)
                }
                _ => Entry::Unread(value),
            };
            takes.entries.push(entry);
        }
        takes
    }

    fn next_id(&mut self) -> TakeId {
        self.given += 1;
        TakeId(self.given)
    }

    fn place(&self, id: TakeId) -> Option<usize> {
        self.entries
            .iter()
            .position(|entry| matches!(entry, Entry::Read(other, ..) if *other == id))
    }

    /// The take with an id, for changes: `None` when it has been deleted.
    pub fn get_mut(&mut self, id: TakeId) -> Option<&mut Take> {
        let place = self.place(id)?;
        match self.entries.get_mut(place) {
            Some(Entry::Read(_, take, _)) => Some(take),
            _ => None,
        }
    }

    /// The form to store.
    pub fn stored(&self) -> StoredTakes {
        let takes = self.entries.iter().map(|entry| match entry {
            Entry::Read(id, take, besides) => {
                let mut value = serde_json::to_value(take).unwrap_or(Value::Null);
                if let Value::Object(object) = &mut value {
                    object.extend(besides.iter().map(|(key, value)| (key.clone(), value.clone())));
                    object.insert(String::from(ID_KEY), Value::from(id.0));
                }
                value
            }
            Entry::Unread(value) => value.clone(),
        });
        StoredTakes {
            version: FORM,
            takes: takes.collect(),
            named: self.named,
            given: self.given,
            beside: self.beside.clone(),
        }
    }

    /// The takes this version can read, in order.
    pub fn iter(&self) -> impl Iterator<Item = &Take> {
        self.entries.iter().filter_map(|entry| match entry {
            Entry::Read(_, take, _) => Some(&**take),
            Entry::Unread(_) => None,
        })
    }

    /// The ids of these, in the same order.
    pub fn ids(&self) -> impl Iterator<Item = TakeId> {
        self.entries.iter().filter_map(|entry| match entry {
            Entry::Read(id, ..) => Some(*id),
            Entry::Unread(_) => None,
        })
    }

    /// Number of readable takes.
    pub fn len(&self) -> usize {
        self.iter().count()
    }

    /// Whether there is no readable take.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Number of unreadable entries.
    pub fn unread(&self) -> usize {
        self.entries.len() - self.len()
    }

    /// Whether another take can be recorded.
    pub fn has_room(&self) -> bool {
        self.len() < MOST_TAKES
    }

    /// A name for the next take: one that no take here has or had.
    pub fn next_name(&mut self) -> String {
        loop {
            self.named = self.named.saturating_add(1);
            let name = format!("{NAME}{}", self.named);
            if self.iter().all(|take| take.name != name) {
                return name;
            }
        }
    }

    /// Adds a take. Returns `None`, without adding it, when there is no room.
    #[must_use]
    pub fn add(&mut self, take: Take) -> Option<TakeId> {
        if !self.has_room() {
            return None;
        }
        let id = self.next_id();
        self.entries.push(Entry::Read(id, Box::new(take), Map::new()));
        Some(id)
    }

    /// Replaces a take by another, which gets its id. Returns `false`, without any change, when the take has been
    /// deleted.
    pub fn replace(&mut self, id: TakeId, with: Take) -> bool {
        match self.place(id).and_then(|place| self.entries.get_mut(place)) {
            Some(entry) => {
                *entry = Entry::Read(id, Box::new(with), Map::new());
                true
            }
            None => false,
        }
    }

    /// Replaces a take by a better reading of the same sound; it keeps its name and the kind of preset the player set.
    pub fn refine(&mut self, id: TakeId, better: Take) {
        if let Some(take) = self.get_mut(id) {
            let name = std::mem::take(&mut take.name);
            let kind = take.kind;
            *take = better.with_kind(kind);
            take.name = name;
        }
    }

    /// Renames the take at `index` among the readable ones. Returns `false` for an empty name or no such take.
    pub fn rename(&mut self, index: usize, name: &str) -> bool {
        let name = as_name(name);
        match self.position(index).and_then(|at| self.entries.get_mut(at)) {
            Some(Entry::Read(_, take, _)) if !name.is_empty() => {
                take.name = name;
                true
            }
            _ => false,
        }
    }

    /// Sets the kind of preset of the take at `index`; returns `false` if there's no such take.
    pub fn set_kind(&mut self, index: usize, kind: PresetKind) -> bool {
        match self.position(index).and_then(|at| self.entries.get_mut(at)) {
            Some(Entry::Read(_, take, _)) => {
                **take = Take::clone(take).with_kind(kind);
                true
            }
            _ => false,
        }
    }

    /// Removes the take at `index` among the readable ones; it can be restored until another is removed. Returns
    /// `false` if there's no such take.
    pub fn remove(&mut self, index: usize) -> bool {
        let at = self.position(index);
        if let Some(at) = at {
            self.removed = Some((at, self.entries.remove(at)));
        }
        at.is_some()
    }

    /// Name of the take that can be restored.
    pub fn removed(&self) -> Option<&str> {
        match &self.removed {
            Some((_, Entry::Read(_, take, _))) => Some(&take.name),
            _ => None,
        }
    }

    /// Restores the take removed last to its place. Returns `false` when there is none, or no room.
    pub fn bring_back(&mut self) -> bool {
        if !self.has_room() {
            return false;
        }
        let Some((at, entry)) = self.removed.take() else {
            return false;
        };
        self.entries.insert(at.min(self.entries.len()), entry);
        true
    }

    /// Moves the take at `index` to `to`, both among the readable ones.
    pub fn move_to(&mut self, index: usize, to: usize) -> bool {
        match (self.position(index), self.position(to)) {
            (Some(from), Some(to)) => {
                let entry = self.entries.remove(from);
                self.entries.insert(to, entry);
                true
            }
            _ => false,
        }
    }

    fn position(&self, index: usize) -> Option<usize> {
        let readable = |(_, entry): &(usize, &Entry)| matches!(entry, Entry::Read(..));
        self.entries
            .iter()
            .enumerate()
            .filter(readable)
            .nth(index)
            .map(|(at, _)| at)
    }
}

/// Beginning of the names this plugin gives.
const NAME: &str = "Take ";

/// The number in such a name of a stored take; 0 for any other name.
fn number_in_name(value: &Value) -> u64 {
    let name = value.get("name").and_then(Value::as_str).unwrap_or_default();
    name.strip_prefix(NAME)
        .and_then(|number| number.parse().ok())
        .filter(|number| *number < 1 << 32)
        .unwrap_or(0)
}

/// A text as the name of a take: one line of at most [`LONGEST_NAME`] characters.
pub fn as_name(text: &str) -> String {
    crate::parameters::text::name(text, LONGEST_NAME)
}

/// The fields of a stored take that a take of this version does not have.
fn besides(take: &Take, value: &Value) -> Map<String, Value> {
    let (Value::Object(stored), Ok(Value::Object(known))) = (value, serde_json::to_value(take)) else {
        return Map::new();
    };
    stored
        .iter()
        .filter(|(key, _)| !known.contains_key(*key))
        .map(|(key, value)| (key.clone(), value.clone()))
        .collect()
}

/// A short take of a tone for tests, here and in other modules.
#[cfg(test)]
pub(crate) mod testing {
    use sumproof_core::session::monitor::Monitor;
    use sumproof_core::session::take::{Pass, Take};

    pub(crate) fn take(name: &str, pass: Pass) -> Take {
        let mut monitor = Monitor::new(48_000.0);
        monitor.start_take();
        let tone: Vec<f32> = (0..9600u16).map(|n| (f32::from(n) * 0.05).sin() * 0.25).collect();
        let other: Vec<f32> = tone.iter().map(|sample| 0.5 * sample).collect();
        monitor.push(&tone, &other);
        monitor
            .finish_take(String::from(name), pass)
            .expect("frames came")
    }
}

#[cfg(test)]
mod tests {
    use sumproof_core::session::take::Pass;

    use super::*;

    fn take(name: &str) -> Take {
        testing::take(name, Pass::Wet)
    }

    fn through_text(takes: &Takes) -> Takes {
        let text = serde_json::to_string(&takes.stored()).expect("plain data");
        assert!(readable(&text));
        Takes::from_stored(serde_json::from_str(&text).expect("what was written"))
    }

    #[test]
    fn takes_come_back_as_they_were() {
        let mut takes = Takes::default();
        assert!(takes.add(take("one")).is_some() && takes.add(take("two")).is_some());
        let back = through_text(&takes);
        let names: Vec<&str> = back.iter().map(|take| take.name.as_str()).collect();
        assert_eq!(names, ["one", "two"]);
        let (before, after) = (
            takes.iter().next().expect("one"),
            back.iter().next().expect("one"),
        );
        // The sums are exact; the cells are stored in single precision.
        assert_eq!(
            (before.sums, before.pass, before.rate_hz),
            (after.sums, after.pass, after.rate_hz)
        );
        // After being stored once, nothing changes any more.
        let again = through_text(&back);
        assert!(again.iter().zip(back.iter()).all(|(one, other)| one == other));
        assert!(through_text(&Takes::default()).is_empty());
    }

    #[test]
    fn what_the_preset_is_stays_with_the_take() {
        let mut takes = Takes::default();
        assert!(takes.add(take("wide")).is_some());
        assert!(takes.set_kind(0, PresetKind::TwoTakes) && !takes.set_kind(1, PresetKind::Centre));
        let kinds = |takes: &Takes| takes.iter().map(|take| take.kind).collect::<Vec<_>>();
        assert_eq!(kinds(&takes), [PresetKind::TwoTakes]);
        assert_eq!(kinds(&through_text(&takes)), [PresetKind::TwoTakes]);
    }

    #[test]
    fn what_cannot_be_read_stays_in_its_place() {
        let mut takes = Takes::default();
        assert!(takes.add(take("one")).is_some() && takes.add(take("two")).is_some());
        let mut stored = takes.stored();
        let foreign = serde_json::json!({ "version": 99, "name": "later", "more": [1, 2.5, null] });
        stored.takes.insert(1, foreign.clone());
        stored.takes.push(Value::Null);
        stored
            .beside
            .insert(String::from("folders"), serde_json::json!(["a"]));
        stored.takes[0]["colour"] = serde_json::json!("teal");

        let mut back = Takes::from_stored(stored);
        assert_eq!((back.len(), back.unread()), (2, 2));
        assert!(back.rename(1, "  2nd\n "));
        let again = back.stored();
        assert_eq!(again.takes[1], foreign);
        assert_eq!(again.takes[3], Value::Null);
        assert_eq!(again.takes[0]["colour"], "teal");
        assert_eq!(again.takes[2]["name"], "2nd");
        assert_eq!(again.beside["folders"][0], "a");
    }

    #[test]
    fn indices_count_the_readable_ones() {
        let mut takes = Takes::default();
        for name in ["a", "b", "c"] {
            assert!(takes.add(take(name)).is_some());
        }
        let mut stored = takes.stored();
        stored.takes.insert(0, Value::Null);
        let mut takes = Takes::from_stored(stored);
        let names = |takes: &Takes| {
            takes
                .iter()
                .map(|take| take.name.clone())
                .collect::<Vec<_>>()
                .join("")
        };
        assert!(takes.move_to(2, 0));
        assert_eq!(names(&takes), "cab");
        assert!(takes.remove(1));
        assert_eq!((names(&takes).as_str(), takes.removed()), ("cb", Some("a")));
        assert!(takes.bring_back() && !takes.bring_back());
        assert_eq!((names(&takes).as_str(), takes.removed()), ("cab", None));
        assert!(takes.remove(1));
        assert!(!takes.remove(2) && !takes.rename(5, "x") && !takes.move_to(0, 9) && !takes.rename(0, " \n"));
        assert!(takes.rename(0, &"x".repeat(500)));
        assert_eq!(
            takes.iter().next().map(|take| take.name.len()),
            Some(LONGEST_NAME)
        );
        assert_eq!(takes.unread(), 1);
    }

    #[test]
    fn there_is_an_end_to_the_list() {
        let mut takes = Takes::default();
        let one = take("same");
        for _ in 0..MOST_TAKES {
            assert!(takes.add(one.clone()).is_some());
        }
        assert!(!takes.has_room() && takes.add(one).is_none());
        assert_eq!(takes.next_name(), "Take 1");
        // Readable takes beyond the limit are kept unread.
        let mut stored = takes.stored();
        let extra = stored.takes[0].clone();
        stored.takes.push(extra);
        let back = Takes::from_stored(stored);
        assert_eq!((back.len(), back.unread()), (MOST_TAKES, 1));
    }

    #[test]
    fn no_name_and_no_id_is_given_twice() {
        let mut takes = Takes::default();
        let mut ids = Vec::new();
        for _ in 0..3 {
            let name = takes.next_name();
            ids.push(takes.add(take(&name)).expect("there is room"));
        }
        assert!(takes.remove(1));
        let mut takes = through_text(&takes);
        assert_eq!(takes.next_name(), "Take 4");
        assert!(takes.get_mut(ids[1]).is_none());
        assert_eq!(
            takes.get_mut(ids[2]).map(|take| take.name.clone()).as_deref(),
            Some("Take 3")
        );
        // After renaming, the id still identifies the same take.
        assert!(takes.rename(1, "chorus"));
        assert!(takes.replace(ids[2], take("better")));
        let id = takes.add(take("Take 4")).expect("there is room");
        assert!(!ids.contains(&id));
        assert_eq!(takes.next_name(), "Take 5");
        // A state without the counts, as an older version wrote it.
        let mut stored = takes.stored();
        (stored.named, stored.given) = (0, 0);
        for value in &mut stored.takes {
            value.as_object_mut().expect("a take").remove(ID_KEY);
        }
        let mut old = Takes::from_stored(stored);
        assert_eq!(old.next_name(), "Take 5");
        assert!(old.add(take("more")).is_some_and(|id| id.0 > 3));
    }

    #[test]
    fn lists_that_are_none_are_refused_whole() {
        for broken in [
            "",
            "null",
            "[]",
            "{}",
            "{\"version\":1}",
            "{\"version\":1,\"takes\":3}",
            "{\"version\":-1,\"takes\":[]}",
        ] {
            assert!(!readable(broken), "{broken}");
        }
        let long = format!("{{\"version\":1,\"takes\":[{}0]}}", "0,".repeat(MOST_ENTRIES));
        assert!(!readable(&long));
        assert!(readable(&none_stored()));
    }
}
