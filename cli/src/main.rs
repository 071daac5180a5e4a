//! The `sumproof` command.
#![forbid(unsafe_code)]

mod card;
mod check;
mod lines;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// What every feed downstream gets of a stereo guitar preset, from its bounces.
#[derive(Parser)]
#[command(version, about, after_help = sumproof_cli::exit::text())]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Say of every file what each feed gets: holds, thins or drops out
    #[command(after_help = sumproof_cli::exit::text())]
    Check(check::Arguments),

    /// Say what arrives at the desk over your two lines, what differs between them, and which boxes to take
    #[command(after_help = sumproof_cli::exit::text())]
    Lines(lines::Arguments),

    /// Make the one page for the sound engineer: your lines, what not to add, the presets at risk
    #[command(after_help = sumproof_cli::exit::text())]
    Card(card::Arguments),
}

fn main() -> ExitCode {
    let Arguments { command } = Arguments::parse();
    let code = match command {
        Command::Check(arguments) => check::run(&arguments),
        Command::Lines(arguments) => lines::run(&arguments),
        Command::Card(arguments) => card::run(&arguments),
    };
    ExitCode::from(code)
}
