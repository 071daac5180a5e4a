//! Prints the confusion table of the diagnosis as Markdown, for the documentation: `sumproof-confusion [DRAW]`, where a
//! number other than 0 draws other riffs, rooms, noise and levels than the tests use.

use std::io::Write as _;

use sumproof_tests::why::{judge_all, markdown};

fn main() -> std::io::Result<()> {
    let draw = std::env::args().nth(1).map_or(Ok(0), |draw| draw.parse());
    let Ok(draw) = draw else {
        return Err(std::io::Error::other(
            "the draw must be a whole number, 0 or more",
        ));
    };
    std::io::stdout().write_all(markdown(&judge_all(draw)).as_bytes())
}
