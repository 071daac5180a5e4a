//! The state of a side-chain, in sentences.

/// Least unexplained share of the sound that is worth a warning, 0 to 1. Common practice, no source: a tenth of the
/// energy changes a wet/dry ratio of −6 dB by about 1.5 dB.
pub const MUCH_UNEXPLAINED: f64 = 0.10;

/// The side-chain of a plugin that has one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SideChain {
    /// Sound later than this after the first arrival counts as wet, ms.
    pub split_ms: f32,
    /// Its state.
    pub state: SideChainState,
}

/// The state of a side-chain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SideChainState {
    /// Nothing has been heard yet.
    Waiting,
    /// There is sound, and nothing on the side-chain: dry and wet are estimated.
    NoReference,
    /// It has a signal, whose arrival in the sound is not known yet.
    Searching,
    /// Dry and wet are told apart with it.
    Found {
        /// The dry's arrival after the side-chain, ms (negative: before it); `None` if none stands out.
        arrival_ms: Option<f32>,
        /// Share of the sound that is not linear in it, 0 to 1; a lower limit.
        unexplained: f32,
        /// How much sound that is based on, seconds.
        heard_s: f32,
    },
}

impl SideChain {
    /// The state in one or two sentences.
    #[must_use]
    pub fn sentence(&self) -> String {
        let split = format!("{:.0}\u{a0}ms", self.split_ms);
        match self.state {
            SideChainState::Waiting => format!("Side-chain: waiting for sound (split time {split})."),
            SideChainState::NoReference => String::from(
                "Side-chain: nothing comes on it, so dry and wet are estimated. Send it the sound as it is after the \
                 amplifier, before the effects.",
            ),
            SideChainState::Searching => {
                String::from("Side-chain: looking for the delay to it; until then dry and wet are estimated.")
            }
            SideChainState::Found {
                arrival_ms,
                unexplained,
                heard_s,
            } => {
                let arrival = match arrival_ms {
                    Some(ms) if ms.abs() < 0.05 => {
                        format!(
                            "Side-chain: the dry comes with it, and what comes within {split} counts as dry"
                        )
                    }
                    Some(ms) => format!(
                        "Side-chain: the dry comes {:.1}\u{a0}ms {} it, and what comes within {split} of that counts as dry",
                        ms.abs(),
                        if ms > 0.0 { "after" } else { "before" }
                    ),
                    None => format!(
                        "Side-chain: no first arrival stands out; what comes within {split} of it counts as dry"
                    ),
                };
                let rest = if f64::from(unexplained) > MUCH_UNEXPLAINED {
                    format!(
                        " At least {:.0}\u{a0}% of the sound has nothing linear to do with it and counts as wet.",
                        100.0 * unexplained
                    )
                } else {
                    String::new()
                };
                format!("{arrival} (from {heard_s:.0}\u{a0}s of sound).{rest}")
            }
        }
    }
}

/// For a take with hardly any signal on the side-chain.
#[must_use]
pub fn nothing_came(take: &str) -> String {
    format!("\u{2018}{take}\u{2019}: nothing came on the side-chain, so its dry and wet are estimated.")
}

/// For a take that ended before the side-chain was found in it.
#[must_use]
pub fn too_short(take: &str) -> String {
    format!("\u{2018}{take}\u{2019} is too short for the side-chain, so its dry and wet are estimated.")
}

/// For a take with gaps.
#[must_use]
pub fn interrupted(take: &str) -> String {
    format!(
        "\u{2018}{take}\u{2019} was interrupted: dry and wet are told apart by the response of its longest piece."
    )
}

/// For a take of which at least `share`, 0 to 1, isn't explained by the side-chain; `None` below [`MUCH_UNEXPLAINED`].
#[must_use]
pub fn unexplained(take: &str, share: f64) -> Option<String> {
    (share > MUCH_UNEXPLAINED).then(|| {
        format!(
            "\u{2018}{take}\u{2019}: at least {:.0}\u{a0}% of it has nothing linear to do with the side-chain and counts as \
             wet. Is the side-chain tapped after the amplifier?",
            100.0 * share
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(state: SideChainState) -> String {
        SideChain {
            split_ms: 20.0,
            state,
        }
        .sentence()
    }

    #[test]
    fn every_state_says_what_counts() {
        assert!(said(SideChainState::NoReference).contains("estimated"));
        assert!(said(SideChainState::Searching).contains("looking for the delay"));
        assert!(said(SideChainState::Waiting).contains("20\u{a0}ms"));
        let found = |arrival_ms, unexplained| {
            said(SideChainState::Found {
                arrival_ms,
                unexplained,
                heard_s: 7.6,
            })
        };
        let late = found(Some(12.34), 0.01);
        assert!(
            late.contains("12.3\u{a0}ms after it") && late.contains("8\u{a0}s"),
            "{late}"
        );
        assert!(!late.contains("At least"), "{late}");
        assert!(found(Some(-3.0), 0.0).contains("3.0\u{a0}ms before it"));
        assert!(found(Some(0.01), 0.0).contains("comes with it"));
        let torn = found(None, 0.25);
        assert!(
            torn.contains("no first arrival") && torn.contains("25\u{a0}%"),
            "{torn}"
        );
    }
}
