//! What is between the board and the desk: what speaks for a box and against it.

use sumproof_core::dsp::db;
use sumproof_core::routing::boxes::{LOW_E_HZ, Merit, Trouble};

/// What speaks against it; follows 'it' in a sentence.
#[must_use]
pub fn trouble(trouble: Trouble) -> String {
    match trouble {
        Trouble::PhantomOnOutputs => {
            "lets phantom power, which is on, reach your outputs: have it switched off first".into()
        }
        Trouble::PhantomUnknown => {
            "lets phantom power reach your outputs: make sure it is off before you plug".into()
        }
        Trouble::PhantomMissing => "needs phantom power, and it is off".into(),
        Trouble::PhantomToAsk => "needs phantom power: ask for it, and have it on after plugging only".into(),
        Trouble::Hum => "does not isolate, and the supplies differ: hum".into(),
        Trouble::HumPossible => "does not isolate: hums if stage and desk are on different supplies".into(),
        Trouble::LinesDiffer => {
            "makes the two lines differ, which hurts what both carry wherever they are added".into()
        }
        Trouble::Flipped => "has one line flipped: what both carry cancels wherever they are added".into(),
        Trouble::Unplugged => "has a line unplugged".into(),
        Trouble::TooQuiet { level_dbu } => {
            format!("arrives at {level_dbu:+.0} dBu, too quiet for a line input: ask for a mic input")
        }
        Trouble::NeedsPad { level_dbu } => {
            format!("arrives at {level_dbu:+.0} dBu, loud for a mic input: pad in, gain down")
        }
        Trouble::Noise { over_noise_db } => {
            format!("hisses: loud playing is only {over_noise_db:.0} dB over the noise")
        }
        Trouble::LowEnd { corner_hz } => {
            let low_e = 1.0 / (1.0 + (corner_hz / LOW_E_HZ).powi(2));
            format!(
                "has its low-end corner at {corner_hz:.0} Hz: {:.1} dB off the low E",
                -db::from_power(low_e)
            )
        }
        Trouble::Late { delay_s } => format!("arrives {:.1} ms late", 1000.0 * delay_s),
        Trouble::Radio => "needs free radio channels and full batteries".into(),
    }
}

/// What speaks for it; follows 'it' in a sentence.
///
/// ```
/// use sumproof_core::routing::boxes::Merit;
/// use sumproof_wording::boxes;
///
/// assert_eq!(format!("It {}.", boxes::merit(Merit::FullLowEnd)), "It keeps the whole low end.");
/// ```
#[must_use]
pub fn merit(merit: Merit) -> &'static str {
    match merit {
        Merit::Isolates => "isolates: a ground difference stays out of the sound",
        Merit::BlocksPhantom => "keeps phantom power away from your outputs",
        Merit::NoSupply => "needs no power",
        Merit::Alike => "makes both lines alike, so that their sum is safe",
        Merit::FullLowEnd => "keeps the whole low end",
        Merit::LineLevel => "arrives at line level",
    }
}
