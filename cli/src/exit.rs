//! Every exit code of the command, in one table.

use sumproof_recordings::ReadError;
use sumproof_report::Form;

/// Code and meaning, as printed by `--help` and repeated in the README. Numbers never change their meaning.
pub const TABLE: [(u8, &str); 21] = [
    (0, "every file was read and judged"),
    (
        1,
        "every file was read, and a preset has the outcome named with --fail-on or a worse one",
    ),
    (2, "the command line was not understood"),
    (3, "the output could not be written"),
    (10, "a file is missing or may not be read"),
    (11, "a file holds no audio that can be read"),
    (12, "a file is truncated or damaged"),
    (13, "a file is empty (0 bytes)"),
    (14, "a file has a header but no sound in it"),
    (15, "a file is mono"),
    (16, "a file has more than two channels"),
    (17, "a file is silent"),
    (18, "a file holds samples that are not numbers, or above +60 dBFS"),
    (19, "a file's sample rate is outside 8 to 192 kHz"),
    (20, "the passes given with --dry don't belong together"),
    (21, "a rig file, or a file of takes for the card, is wrong"),
    (30, "the test signal isn't in the recording"),
    (31, "only a part of the test signal is in the recording"),
    (32, "a recording is too short to hold the test signal"),
    (33, "a recording is too long to look through"),
    (34, "the test signal is there, but too weak for what was asked"),
];

/// Every file was read.
pub const FINE: u8 = 0;
/// A preset has the outcome named with `--fail-on`, or a worse one.
pub const FAILED: u8 = 1;
/// The command line was not understood.
pub const USAGE: u8 = 2;
/// The passes of a two-pass split don't belong together.
pub const PASSES: u8 = 20;
/// A rig file has an error.
pub const RIG_FILE: u8 = 21;
/// A file has a header but no sound in it.
pub const NO_FRAMES: u8 = 14;
/// A file is silent.
pub const SILENT: u8 = 17;
/// A file holds samples that are not numbers.
pub const NOT_NUMBERS: u8 = 18;
/// The test signal isn't in the recording.
pub const NO_SIGNAL: u8 = 30;
/// Only a part of the test signal is in the recording.
pub const SIGNAL_PART: u8 = 31;
/// The recording is too short for the test signal.
pub const SIGNAL_SHORT: u8 = 32;
/// The recording is longer than those that are searched.
pub const SIGNAL_LONG: u8 = 33;
/// The test signal is in the recording, but too weak.
pub const SIGNAL_WEAK: u8 = 34;
/// The output could not be written.
pub const OUTPUT: u8 = 3;

/// The code for a file that can't be judged.
#[must_use]
pub fn of(error: &ReadError) -> u8 {
    match error {
        ReadError::Unreadable { .. } => 10,
        ReadError::NotAudio { .. }
        | ReadError::Other { .. }
        | ReadError::Foreign { .. }
        | ReadError::Unsupported { .. } => 11,
        ReadError::Truncated { .. } | ReadError::Damaged { .. } => 12,
        ReadError::Empty { .. } => 13,
        ReadError::NoFrames { .. } => NO_FRAMES,
        ReadError::Mono { .. } => 15,
        ReadError::ManyChannels { .. } => 16,
        ReadError::Silence { .. } => SILENT,
        ReadError::NotNumbers { .. } => NOT_NUMBERS,
        ReadError::Rate { .. } => 19,
        ReadError::TooLong { .. } => SIGNAL_LONG,
    }
}

/// A subcommand, for its help text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subcommand {
    /// `check`
    Check,
    /// `compare`
    Compare,
    /// `lines`
    Lines,
    /// `card`
    Card,
    /// `linecheck make`
    Make,
    /// `linecheck read`
    Read,
}

impl Subcommand {
    /// Whether it can end with this code.
    fn ends_with(self, code: u8) -> bool {
        match self {
            Self::Check => code <= 21,
            Self::Compare => code != FAILED && code != PASSES && code <= 21,
            Self::Lines | Self::Card => matches!(code, FINE | USAGE | OUTPUT | 10 | RIG_FILE),
            Self::Make => matches!(code, FINE | USAGE | OUTPUT),
            Self::Read => code != FAILED && code != PASSES && code != 15,
        }
    }

    /// Examples of its use.
    fn examples(self) -> &'static str {
        match self {
            Self::Check => {
                "  sumproof check lead.wav                            one preset, every feed
  sumproof check bounces/ --format html -o set.html  a page, the worst first
  sumproof check bounces/ --rig my-rig.toml --fail-on drops-out"
            }
            Self::Compare => {
                "  sumproof compare before/lead.wav after/lead.wav
  sumproof compare before/ after/ --format html -o trend.html
  sumproof compare old.wav new.wav --feed mono-wedge"
            }
            Self::Lines => {
                "  sumproof lines                                   every kind of box compared
  sumproof lines my-rig.toml --mains separate --inputs mic"
            }
            Self::Card => {
                "  sumproof card my-rig.toml -o card.pdf
  sumproof card my-rig.toml takes.json -o card.html  with the presets at risk"
            }
            Self::Make => {
                "  sumproof linecheck make                            writes line-check.wav
  sumproof linecheck make -o check.wav --level -30"
            }
            Self::Read => {
                "  sumproof linecheck read phone.wav
  sumproof linecheck read phone.wav --save my-rig.toml --name 'tonight'"
            }
        }
    }
}

/// The text below a subcommand's options: examples, and its exit codes, one line each.
#[must_use]
pub fn help(subcommand: Subcommand) -> String {
    let codes = TABLE.iter().filter(|(code, _)| subcommand.ends_with(*code));
    let of_several = match subcommand {
        Subcommand::Check | Subcommand::Compare => " (with several bad files: that of the first)",
        _ => "",
    };
    let mut text = format!(
        "Examples:\n{}\n\nExit codes{of_several}:\n",
        subcommand.examples()
    );
    for &(code, meaning) in codes {
        let meaning = match (code, subcommand) {
            (FINE, Subcommand::Lines | Subcommand::Card | Subcommand::Make) => "it is done",
            (FINE, Subcommand::Read) => "the recording was read and judged",
            _ => meaning,
        };
        text.push_str(&Form::default().hanging(&format!("  {code:>2}  "), meaning, 6));
    }
    text.trim_end().into()
}
