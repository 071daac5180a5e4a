//! The passes in which a preset can be recorded: whole, without its effects, without its dry.

/// The pass of a part that a take holds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Pass {
    /// The whole preset.
    #[default]
    Full,
    /// Effects off.
    Dry,
    /// Dry off.
    Wet,
}

impl Pass {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Full, Self::Dry, Self::Wet];

    /// The stable name in files.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::Full => "full",
            Self::Dry => "dry",
            Self::Wet => "wet",
        }
    }
}
