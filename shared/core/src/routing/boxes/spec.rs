//! The usual figures of each kind of box. Common practice, no source, except for what follows from the circuit.

use crate::routing::line::Polarity;

use super::Kind;

/// How the sound passes through the box.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Coupling {
    /// A wire.
    Wire,
    /// A transformer.
    Transformer {
        /// Turns of the primary for one of the secondary.
        turns_ratio: f64,
        /// Inductance of the primary, henry.
        primary_henry: f64,
        /// Resistance of the primary winding, ohm.
        primary_ohm: f64,
        /// Resistance of the secondary winding, ohm.
        secondary_ohm: f64,
    },
    /// Electronics.
    Buffer {
        /// Gain with no load, dB.
        gain_db: f64,
        /// Input impedance, ohm.
        input_ohm: f64,
        /// Output impedance, ohm.
        output_ohm: f64,
        /// Corner of its high-pass, Hz.
        corner_hz: f64,
    },
}

/// The input at the desk or stage box.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DeskInput {
    /// A microphone input: phantom power may be on.
    Mic,
    /// A line input: no phantom power.
    Line,
}

impl DeskInput {
    /// Usual impedance, ohm: 1.5 kohm and 10 kohm.
    #[must_use]
    pub fn usual_ohm(self) -> f64 {
        match self {
            Self::Mic => 1500.0,
            Self::Line => 10_000.0,
        }
    }

    /// Equivalent input noise at full gain, dBu, 150 ohm source: good mic preamps have −127, a line input has no such
    /// gain.
    pub(super) fn input_noise_dbu(self) -> f64 {
        match self {
            Self::Mic => -127.0,
            Self::Line => f64::NEG_INFINITY,
        }
    }
}

/// The ground connection between board and desk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Isolation {
    /// Both are joined by the shield.
    None,
    /// The sound crosses without a wire between the two; the shield can be opened with the ground lift.
    Transformer,
    /// No wire at all.
    NoWire,
}

impl Isolation {
    /// Whether a ground difference between board and desk can be kept out of the sound.
    #[must_use]
    pub fn isolates(self) -> bool {
        self != Self::None
    }
}

/// Its relation to phantom power.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Phantom {
    /// It doesn't work without phantom power.
    Needed,
    /// Not needed, and harmless once everything is plugged in.
    Harmless,
    /// It reaches the player's output, which may be muted or damaged.
    MustBeOff,
}

/// How much the impedances of the two legs differ; common-mode rejection depends on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Legs {
    /// By this, ohm.
    Differ(f64),
    /// By this share of the source's impedance.
    ShareOfSource(f64),
}

/// The figures of a kind of box.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spec {
    /// How the sound passes through the box.
    pub coupling: Coupling,
    /// The input it usually goes into.
    pub input: DeskInput,
    /// Whether it takes both legs of the player's output, or the tip alone.
    pub takes_both_legs: bool,
    /// Delay, seconds.
    pub delay_s: f64,
    /// Its polarity. All are built to keep it (pin 2 positive, AES14); a cable may be wired otherwise.
    pub polarity: Polarity,
    /// The ground connection.
    pub isolation: Isolation,
    /// Whether direct current from the player's output stops here.
    pub blocks_dc: bool,
    /// Whether phantom power from the desk stops here.
    pub blocks_phantom: bool,
    /// Its relation to phantom power.
    pub phantom: Phantom,
    /// Common-mode impedance to ground, ohm.
    pub common_mode_ohm: f64,
    /// How much the legs differ.
    pub legs: Legs,
    /// Noise of its own electronics at its output, dBu; −∞ without electronics.
    pub noise_dbu: f64,
}

/// A balanced input without a transformer: impedance of each leg to ground, ohm.
const ACTIVE_INPUT_CM_OHM: f64 = 10_000.0;
/// Impedance of a transformer's interwinding capacitance at mains frequency, ohm.
const TRANSFORMER_CM_OHM: f64 = 10_000_000.0;

impl Kind {
    /// Its usual figures.
    #[must_use]
    pub fn spec(self) -> Spec {
        let wire = Spec {
            coupling: Coupling::Wire,
            input: DeskInput::Mic,
            takes_both_legs: true,
            delay_s: 0.0,
            polarity: Polarity::Normal,
            isolation: Isolation::None,
            blocks_dc: false,
            blocks_phantom: false,
            phantom: Phantom::MustBeOff,
            common_mode_ohm: ACTIVE_INPUT_CM_OHM,
            // Two resistors of 1 %.
            legs: Legs::ShareOfSource(0.02),
            noise_dbu: f64::NEG_INFINITY,
        };
        let transformer = Spec {
            isolation: Isolation::Transformer,
            blocks_dc: true,
            blocks_phantom: true,
            phantom: Phantom::Harmless,
            common_mode_ohm: TRANSFORMER_CM_OHM,
            legs: Legs::Differ(10.0),
            ..wire
        };
        match self {
            Self::AdapterCable => wire,
            Self::StageBoxLine => Spec {
                input: DeskInput::Line,
                ..wire
            },
            Self::LineIsolator => Spec {
                coupling: Coupling::Transformer {
                    turns_ratio: 1.0,
                    primary_henry: 5.0,
                    primary_ohm: 50.0,
                    secondary_ohm: 50.0,
                },
                input: DeskInput::Line,
                ..transformer
            },
            // An inexpensive one: the built-in feed 'one line through a 12:1 transformer' is the same.
            Self::PassiveDirectBox => Spec {
                coupling: Coupling::Transformer {
                    turns_ratio: 12.0,
                    primary_henry: 12.0,
                    primary_ohm: 2000.0,
                    secondary_ohm: 150.0,
                },
                takes_both_legs: false,
                ..transformer
            },
            Self::ActiveDirectBox => Spec {
                coupling: Coupling::Buffer {
                    gain_db: 0.0,
                    input_ohm: 1_000_000.0,
                    output_ohm: 150.0,
                    corner_hz: 5.0,
                },
                takes_both_legs: false,
                blocks_dc: true,
                blocks_phantom: true,
                phantom: Phantom::Needed,
                legs: Legs::Differ(1.5),
                noise_dbu: -105.0,
                ..wire
            },
            Self::Wireless => Spec {
                coupling: Coupling::Buffer {
                    gain_db: 0.0,
                    input_ohm: 1_000_000.0,
                    output_ohm: 150.0,
                    corner_hz: 20.0,
                },
                input: DeskInput::Line,
                takes_both_legs: false,
                // Digital ones take 2 to 6 ms.
                delay_s: 0.003,
                isolation: Isolation::NoWire,
                blocks_dc: true,
                blocks_phantom: true,
                phantom: Phantom::Harmless,
                legs: Legs::Differ(1.5),
                noise_dbu: -95.0,
                ..wire
            },
        }
    }
}
