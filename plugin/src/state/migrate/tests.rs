use super::*;
use crate::parameters::arming::{Arming, Switches};
use crate::parameters::params::{GAIN_RANGE_DB, SPLIT_DEFAULT_MS, SPLIT_RANGE_MS};
use crate::parameters::spec::Kind;

fn number_field(text: &str) -> bool {
    serde_json::from_str::<u32>(text).is_ok()
}

const FIELDS: [FieldSpec; 1] = [FieldSpec {
    key: "size",
    default: || String::from("7"),
    readable: number_field,
}];

fn state(version: &str, params: &[(&str, ParamValue)], fields: &[(&str, &str)]) -> PluginState {
    PluginState {
        version: String::from(version),
        params: params
            .iter()
            .map(|(id, value)| (String::from(*id), value.clone()))
            .collect(),
        fields: fields
            .iter()
            .map(|(key, text)| (String::from(*key), String::from(*text)))
            .collect(),
    }
}

fn kept(state: &PluginState) -> Kept {
    serde_json::from_str(&state.fields[KEPT_KEY]).expect("filter writes what it reads")
}

fn text(id: &str) -> ParamValue {
    ParamValue::String(String::from(id))
}

fn param(state: &PluginState, id: &str) -> String {
    serde_json::to_string(&state.params[id]).expect("values are plain")
}

/// The state as the framework saves it next: the parameters it knows, and the fields, marked with this version.
fn saved_again(state: &PluginState) -> PluginState {
    let known: Vec<String> = spec::all().into_iter().map(|(id, _)| id).collect();
    let mut again = state.clone();
    again.version = String::from(VERSION);
    again.params.retain(|id, _| known.contains(id));
    again
        .fields
        .retain(|key, _| key == KEPT_KEY || FIELDS.iter().any(|field| field.key == key));
    again
}

/// Read off a parameter of each type; the host tests pin the whole list.
#[test]
fn the_list_is_read_off_the_parameters() {
    let all = spec::all();
    let kind = |wanted: &str| &all.iter().find(|(id, _)| id == wanted).expect(wanted).1;
    assert_eq!(*kind("byp"), Kind::Switch);
    assert_eq!(*kind("rec"), Kind::Switch);
    assert_eq!(*kind("l_gain"), Kind::Number(GAIN_RANGE_DB, 0.0));
    assert_eq!(
        *kind(spec::SPLIT_ID),
        Kind::Number(SPLIT_RANGE_MS, SPLIT_DEFAULT_MS)
    );
    let laws = ["average", "minus-3-db", "unity"].map(String::from).to_vec();
    assert_eq!(*kind("law"), Kind::OneOf(laws, 0));
    for (id, kind) in &all {
        let default = kind.default_value();
        let understood = kind.understood(&default);
        assert!(understood.is_some_and(|value| same(&value, &default)), "{id}");
    }
}

#[test]
fn what_is_missing_gets_its_default() {
    let mut empty = state(VERSION, &[], &[]);
    filter(&mut empty, &FIELDS);
    assert_eq!(empty.params.len(), spec::all().len());
    for (id, kind) in spec::all() {
        assert!(same(&empty.params[&id], &kind.default_value()), "{id}");
    }
    assert_eq!(empty.fields["size"], "7");
    assert!(kept(&empty).is_empty());
    assert_eq!(kept(&empty).notice(), None);
}

#[test]
fn good_values_pass_as_they_are() {
    let good = [
        ("l_gain", ParamValue::F32(-3.25)),
        ("feed", text("own")),
        ("r_unp", ParamValue::Bool(true)),
    ];
    let mut state = state(VERSION, &good, &[("size", "12")]);
    filter(&mut state, &FIELDS);
    for (id, value) in &good {
        assert!(same(&state.params[*id], value), "{id}");
    }
    assert_eq!(state.fields["size"], "12");
    assert_eq!(kept(&state).notice(), None);
}

#[test]
fn audition_and_recording_come_back_as_they_were_saved_and_are_not_armed() {
    let ids = ["aud", "audbnc", "rec", "auto"];
    for version in [VERSION, "99.0.0", ""] {
        // Each switch on or off, in every combination.
        for saved in 0..16u8 {
            let on = [0, 1, 2, 3].map(|bit| saved >> bit & 1 == 1);
            let written: Vec<_> = ids.into_iter().zip(on.map(ParamValue::Bool)).collect();
            let mut state = state(version, &written, &[]);
            filter(&mut state, &FIELDS);
            for (id, value) in &written {
                assert!(
                    same(&state.params[*id], value),
                    "{id} of {version:?}, {saved:04b}"
                );
            }
            assert!(kept(&state).is_empty());
            // None of them is heard or recorded until the user switches it on.
            let [audition, in_bounces, record, takes_by_phrase] = on;
            let switches = Switches {
                audition,
                in_bounces,
                record,
                takes_by_phrase,
            };
            let arming = Arming::default();
            assert_eq!(arming.holds(switches), switches);
            arming.loaded(switches);
            let none = Switches {
                audition: false,
                in_bounces: false,
                record: false,
                takes_by_phrase: false,
            };
            assert_eq!(arming.holds(switches), none, "{saved:04b}");
        }
        // Switches missing from a state are off.
        let mut state = state(version, &[], &[]);
        filter(&mut state, &FIELDS);
        for id in ids {
            assert!(same(&state.params[id], &ParamValue::Bool(false)), "{id}");
        }
    }
}

#[test]
fn broken_values_become_the_default_and_are_named() {
    let broken = [
        ("l_gain", ParamValue::Bool(true)),
        ("feed", text("no such feed")),
        ("law", ParamValue::I32(99)),
        ("byp", ParamValue::F32(1.0)),
        ("r_del", ParamValue::F32(f32::NAN)),
    ];
    let mut state = state(VERSION, &broken, &[("size", "{")]);
    filter(&mut state, &FIELDS);
    for (id, kind) in spec::all() {
        assert!(same(&state.params[&id], &kind.default_value()), "{id}");
    }
    assert_eq!(state.fields["size"], "7");
    let notice = kept(&state).notice().expect("something was lost");
    for name in ["l_gain", "feed", "law", "byp", "r_del", "size"] {
        assert!(notice.contains(name), "{name} in {notice}");
    }
    // The loss was reported once; what is saved now is complete.
    let mut again = saved_again(&state);
    filter(&mut again, &FIELDS);
    assert_eq!(kept(&again).notice(), None);
}

#[test]
fn out_of_range_is_brought_into_range() {
    let mut wild = state(
        VERSION,
        &[
            ("l_gain", ParamValue::F32(1e30)),
            ("r_del", ParamValue::F32(-1.0)),
        ],
        &[],
    );
    filter(&mut wild, &FIELDS);
    assert!(same(&wild.params["l_gain"], &ParamValue::F32(20.0)));
    assert!(same(&wild.params["r_del"], &ParamValue::F32(0.0)));
    assert!(kept(&wild).is_empty());
}

#[test]
fn a_newer_versions_things_survive_two_saves_and_come_back() {
    let newer = "0.99.0";
    let theirs = [
        ("xover", ParamValue::F32(0.1)),
        ("feed", text("cinema")),
        ("l_del", ParamValue::F32(45.0)),
        ("law", text("unity")),
    ];
    let original = state(newer, &theirs, &[("size", "[1,2]"), ("scenes", "{\"a\":[1, 2]}")]);

    let mut ours = original.clone();
    filter(&mut ours, &FIELDS);
    assert_eq!(param(&ours, "feed"), "{\"string\":\"mono-wedge\"}");
    assert_eq!(param(&ours, "l_del"), "{\"f32\":30.0}");
    assert_eq!(param(&ours, "law"), "{\"string\":\"unity\"}");
    assert!(!ours.params.contains_key("xover"));
    assert_eq!(ours.fields["size"], "7");
    let notice = kept(&ours).notice().expect("it is said");
    assert!(notice.contains(newer), "{notice}");

    // Loaded and saved twice by this version.
    let mut second = saved_again(&ours);
    filter(&mut second, &FIELDS);
    let mut third = saved_again(&second);
    filter(&mut third, &FIELDS);
    assert_eq!(param(&third, "feed"), "{\"string\":\"mono-wedge\"}");
    assert!(kept(&third).notice().is_some_and(|notice| notice.contains(newer)));

    // What the newer version does first: put everything back.
    let mut back = saved_again(&third);
    let mut things = take_kept(&mut back);
    put_back(&mut back, &mut things);
    for (id, value) in &theirs {
        assert!(same(&back.params[*id], value), "{id}: {:?}", back.params[*id]);
    }
    assert_eq!(back.fields["size"], "[1,2]");
    assert_eq!(back.fields["scenes"], "{\"a\":[1, 2]}");
}

#[test]
fn what_the_user_set_since_stands() {
    let original = state("0.99.0", &[("feed", text("cinema"))], &[("size", "[1,2]")]);
    let mut ours = original;
    filter(&mut ours, &FIELDS);
    let mut touched = saved_again(&ours);
    touched.params.insert(String::from("feed"), text("own"));
    touched.fields.insert(String::from("size"), String::from("9"));
    let mut things = take_kept(&mut touched);
    put_back(&mut touched, &mut things);
    assert_eq!(param(&touched, "feed"), "{\"string\":\"own\"}");
    assert_eq!(touched.fields["size"], "9");
}

#[test]
fn kept_things_are_bounded_and_what_is_dropped_is_named() {
    let mut state = state("0.99.0", &[("long", text(&"x".repeat(LONGEST_TEXT + 1)))], &[]);
    for index in 0..MOST_ENTRIES + 10 {
        state.params.insert(format!("p{index}"), ParamValue::Bool(true));
    }
    filter(&mut state, &FIELDS);
    let kept = kept(&state);
    assert_eq!(kept.params.len(), MOST_ENTRIES);
    assert_eq!(kept.unreadable.len(), 11);
    assert!(kept.unreadable.contains(&String::from("long")));
}

#[test]
fn a_broken_kept_field_does_no_harm() {
    for broken in [
        "",
        "null",
        "[]",
        "{\"params\":3}",
        "{\"params\":{\"a\":{\"f99\":1}}}",
    ] {
        let mut state = state(
            VERSION,
            &[("l_gain", ParamValue::F32(1.0))],
            &[(KEPT_KEY, broken)],
        );
        filter(&mut state, &FIELDS);
        assert!(same(&state.params["l_gain"], &ParamValue::F32(1.0)));
        assert!(kept(&state).is_empty(), "{broken}");
    }
}

#[test]
fn versions_are_compared_by_number() {
    for later in ["0.1.1", "0.2.0", "0.10.0", "1.0.0-beta"] {
        assert!(is_later(later, "0.1.0"), "{later}");
        assert!(!is_later("0.1.0", later), "{later}");
    }
    for not in [
        "0.1.0",
        "0.0.99",
        "",
        "abc",
        "1",
        "1.2",
        "1.2.3.4",
        "99999999999999999999.0.0",
    ] {
        assert!(!is_later(not, "0.1.0"), "{not}");
    }
}

#[test]
fn what_an_unmarked_state_holds_is_kept_the_same_ever_after() {
    let mut first = state("", &[], &[("future", "[1]")]);
    filter(&mut first, &FIELDS);
    assert_eq!(kept(&first).from, UNMARKED);
    let mut again = saved_again(&first);
    filter(&mut again, &FIELDS);
    assert_eq!(again.fields, first.fields);
}
