//! The `sumproof` command.
#![forbid(unsafe_code)]

mod commands;

use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use sumproof_cli::{exit, output};

/// Refers to the subcommands' help.
const BELOW: &str = "Each subcommand's --help has examples and its exit codes.";

/// What every feed downstream gets of a stereo guitar preset, from its bounces.
#[derive(Parser)]
#[command(
    name = "sumproof",
    version,
    about,
    after_help = BELOW
)]
struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    /// Say of every preset what each feed gets: holds, thins or drops out
    #[command(after_help = exit::help(exit::Subcommand::Check))]
    Check(Box<commands::check::Arguments>),

    /// Say what changed between two bounces of one preset, or two folders of them
    #[command(after_help = exit::help(exit::Subcommand::Compare))]
    Compare(commands::compare::Arguments),

    /// Say what arrives at the desk over your two lines, what differs between them, and which boxes to take
    #[command(after_help = exit::help(exit::Subcommand::Lines))]
    Lines(commands::lines::Arguments),

    /// Make the one page for the sound engineer: your lines, what not to add, the presets at risk
    #[command(after_help = exit::help(exit::Subcommand::Card))]
    Card(commands::card::Arguments),

    /// Find out at the sound check what the venue's lines do: polarity, delay, level, low end, and what is summed
    #[command(after_help = BELOW)]
    Linecheck(commands::line_check::Arguments),

    /// Print what lets a shell complete this command
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },

    /// Print the manual page, for `man -l -`
    Manual,
}

/// Printed if only the command's name was typed.
const FIRST_STEPS: &str = "\
A preset, bounced in stereo:    sumproof check lead.wav    (or a folder of them)
What arrives over your lines:   sumproof lines
Everything it does:             sumproof --help
";

fn main() -> ExitCode {
    // The width of something that is no terminal is unknown.
    let width = output::form(None, false).columns;
    let asked = Arguments::command().term_width(width).get_matches();
    let Arguments { command } = Arguments::from_arg_matches(&asked).unwrap_or_else(|error| error.exit());
    let Some(command) = command else {
        return ExitCode::from(output::hand_over(None, FIRST_STEPS.as_bytes(), exit::USAGE));
    };
    let code = match command {
        Command::Check(arguments) => commands::check::run(&arguments),
        Command::Compare(arguments) => commands::compare::run(&arguments),
        Command::Lines(arguments) => commands::lines::run(&arguments),
        Command::Card(arguments) => commands::card::run(&arguments),
        Command::Linecheck(arguments) => commands::line_check::run(&arguments),
        Command::Completions { shell } => completions(shell),
        Command::Manual => manual(),
    };
    ExitCode::from(code)
}

fn completions(shell: clap_complete::Shell) -> u8 {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Arguments::command(), "sumproof", &mut script);
    output::hand_over(None, &script, exit::FINE)
}

/// Prints the manual: the command and its subcommands, one after the other.
fn manual() -> u8 {
    let command = Arguments::command();
    let mut page = Vec::new();
    let written = clap_mangen::Man::new(command.clone())
        .render(&mut page)
        .and_then(|()| {
            command.get_subcommands().try_for_each(|asked| {
                let title = format!("{} {}", command.get_name(), asked.get_name());
                let one = clap_mangen::Man::new(asked.clone().bin_name(title));
                one.render_synopsis_section(&mut page)?;
                one.render_description_section(&mut page)?;
                one.render_options_section(&mut page)
            })
        });
    match written {
        Ok(()) => output::hand_over(None, &page, exit::FINE),
        Err(error) => {
            eprintln!("the manual could not be made ({error})");
            exit::OUTPUT
        }
    }
}
