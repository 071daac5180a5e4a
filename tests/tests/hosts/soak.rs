//! The cases of `sumproof-soak`, each in a separate process. With many more turns: `cargo xtask soak`.
use std::process::{Command, Output};

fn soak(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumproof-soak"))
        .args(arguments)
        .output()
        .unwrap()
}

/// Runs a case with its few turns.
fn gets_through(case: &str) {
    let done = soak(&[case]);
    let said = String::from_utf8_lossy(&done.stdout);
    let complained = String::from_utf8_lossy(&done.stderr);
    // The framework's log of deliberately damaged states isn't of interest.
    let end: Vec<&str> = complained.lines().rev().take(12).collect();
    assert!(done.status.success(), "{case}: {}\n{end:#?}", done.status);
    assert!(said.starts_with(case), "{said}");
    println!("{}", said.trim_end());
}

#[test]
fn plugins_come_and_go() {
    gets_through("load");
    gets_through("crowd");
}

#[test]
fn rates_blocks_and_layouts_change() {
    gets_through("rates");
    gets_through("layouts");
}

#[test]
fn parameters_move_at_every_sample() {
    gets_through("automation");
}

#[test]
fn renderings_are_alike_and_suspensions_harmless() {
    gets_through("renders");
    gets_through("suspend");
}

#[test]
fn states_come_and_go_at_any_moment() {
    gets_through("states");
}

#[test]
fn damaged_states_load_whole_or_not_at_all() {
    gets_through("damage");
    gets_through("damaged-takes");
}

#[test]
fn windows_open_and_close_with_hosts_that_idle_and_that_do_not() {
    gets_through("window");
    gets_through("window-at-once");
    gets_through("window-pair");
    gets_through("no-idle");
}

#[test]
fn a_closed_window_has_ended() {
    gets_through("ends");
}

#[test]
fn a_vst3_is_automated_while_its_editor_comes_and_goes() {
    gets_through("vst3-editor");
}

#[test]
fn no_call_takes_long() {
    gets_through("calls");
}

#[test]
fn memory_does_not_grow() {
    gets_through("memory");
}

#[test]
fn no_case_is_left_out() {
    let listed = String::from_utf8_lossy(&soak(&[]).stdout).into_owned();
    let source = include_str!("soak.rs");
    for line in listed.lines() {
        let name = line.split_whitespace().next().unwrap();
        assert!(
            source.contains(&format!("\"{name}\"")),
            "{name} is run by no test"
        );
    }
    assert!(listed.lines().count() > 10, "{listed}");
}
