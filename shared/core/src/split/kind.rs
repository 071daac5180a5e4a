//! The kind of preset, as the player states it. Nothing in the sound can replace that: no measure distinguishes a
//! mid/side chorus from an ordinary one, and two takes of a part are two dry sounds.

/// The dry's place in the pair, as the player states it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum PresetKind {
    /// Not stated.
    #[default]
    NotSaid,
    /// One dry, in the middle.
    Centre,
    /// One dry, to one side or all the way.
    OneSide,
    /// One part through two amplifiers, one in each channel.
    TwoAmplifiers,
    /// Two performances of the part, one in each channel.
    TwoTakes,
    /// One dry and a copy of it, late, in the other channel.
    LateCopy,
    /// No separate dry: a tremolo, auto-pan, phaser or rotary processes all of it.
    NoDry,
}

impl PresetKind {
    /// All of them, in the order of lists.
    pub const ALL: [Self; 7] = [
        Self::NotSaid,
        Self::Centre,
        Self::OneSide,
        Self::TwoAmplifiers,
        Self::TwoTakes,
        Self::LateCopy,
        Self::NoDry,
    ];

    /// A stable name for files, options and parameters.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::NotSaid => "not-said",
            Self::Centre => "centre",
            Self::OneSide => "one-side",
            Self::TwoAmplifiers => "two-amplifiers",
            Self::TwoTakes => "two-takes",
            Self::LateCopy => "late-copy",
            Self::NoDry => "no-dry",
        }
    }

    /// The kind with that [`PresetKind::id`].
    #[must_use]
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.id() == id)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_found_again() {
        for kind in PresetKind::ALL {
            assert_eq!(PresetKind::from_id(kind.id()), Some(kind));
        }
        assert_eq!(PresetKind::from_id("mono"), None);
    }
}
