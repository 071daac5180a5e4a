//! The kind of each preset, as given on the command line for all of them or by name.

use sumproof_core::split::kind::PresetKind;

use crate::input::wildcard;

/// One `--kind`: a kind for every preset, or for those whose name matches a pattern.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    pattern: Option<String>,
    kind: PresetKind,
}

impl Said {
    /// Parses `KIND` or `NAMES=KIND`, in which `*` stands for any characters and `?` for one.
    ///
    /// # Errors
    /// One line if there is no such kind.
    pub fn parse(text: &str) -> Result<Self, String> {
        let (pattern, id) = match text.rsplit_once('=') {
            Some((pattern, id)) => (Some(pattern.to_owned()), id),
            None => (None, text),
        };
        let kind = PresetKind::from_id(id).ok_or_else(|| {
            let ids = PresetKind::ALL.map(PresetKind::id);
            format!(
                "there is no kind '{id}': it is one of {}, alone or behind names: '*-wide={}'",
                ids.join(", "),
                PresetKind::TwoAmplifiers.id()
            )
        })?;
        Ok(Self { pattern, kind })
    }

    /// The kind of a preset: from the last pattern that its name matches, or else the one for all; `None` if none was
    /// given.
    #[must_use]
    pub fn of(said: &[Self], name: &str) -> Option<PresetKind> {
        let fits = |said: &&Self| {
            said.pattern
                .as_ref()
                .is_some_and(|pattern| wildcard::matches(pattern, name))
        };
        let of_all = |said: &&Self| said.pattern.is_none();
        let last = said.iter().rfind(fits).or_else(|| said.iter().rfind(of_all));
        last.map(|said| said.kind)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_says_more_than_a_kind_for_all() {
        let said = |texts: &[&str]| -> Vec<Said> {
            let parse = |text: &&str| Said::parse(text).expect("a kind");
            texts.iter().map(parse).collect()
        };
        let some = said(&["*wide*=two-amplifiers", "centre", "verse wide=no-dry"]);
        assert_eq!(Said::of(&some, "lead"), Some(PresetKind::Centre));
        assert_eq!(Said::of(&some, "Chorus WIDE"), Some(PresetKind::TwoAmplifiers));
        assert_eq!(Said::of(&some, "verse wide"), Some(PresetKind::NoDry));
        assert_eq!(
            Said::of(&said(&["a=b=one-side"]), "a=b"),
            Some(PresetKind::OneSide)
        );
        assert_eq!(Said::of(&said(&["a=one-side"]), "b"), None);
        for wrong in ["wide", "*=", "*=wide", ""] {
            assert!(Said::parse(wrong).is_err(), "{wrong}");
        }
    }
}
