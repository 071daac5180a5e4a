//! The parameters as plain numbers, finite and within range.
//!
//! The framework stores a state file's values unchecked and clamps nothing, and a host may send NaN. So every reader of
//! parameters goes through this module, and later code need not check again.

use nice_plug::params::InternalParamMut;
use nice_plug::prelude::{FloatParam, Param};
use sumproof_core::routing::feed::{FeedId, Lines, SumLaw};
use sumproof_core::routing::line::Line;
use sumproof_core::session::span::Over;
use sumproof_core::session::take::Pass;
use sumproof_core::split::kind::PresetKind;

use crate::parameters::arming::Switches;
use crate::parameters::params::{
    CORNER_RANGE_HZ, DELAY_RANGE_MS, GAIN_RANGE_DB, HostParams, LineParams, SPLIT_DEFAULT_MS, SPLIT_RANGE_MS,
};

/// The parameters at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Host bypass.
    pub bypass: bool,
    /// The user wants to audition. Whether a feed is heard is decided where the transport is known.
    pub audition: bool,
    /// The feed to audition.
    pub feed: FeedId,
    /// The lines in the path of every feed, clamped.
    pub lines: Lines,
    /// The lines as they are set, even while they are held straight.
    pub lines_as_set: Lines,
    /// The lines are held straight.
    pub straight: bool,
    /// Law of mono sums.
    pub law: SumLaw,
    /// Loudness match of the audition.
    pub loudness_match: bool,
    /// Integration time of the meter, s.
    pub integration_s: f64,
    /// What readings are averaged over.
    pub over: Over,
    /// A take is to be recorded.
    pub record: bool,
    /// Content of that take.
    pub pass: Pass,
    /// The kind of preset the player has set.
    pub preset: PresetKind,
    /// Audition even while the host bounces or records.
    pub audition_in_bounces: bool,
    /// Every phrase of four seconds or more becomes a take.
    pub takes_by_phrase: bool,
    /// The last phrase becomes a take when this comes on.
    pub take_phrase: bool,
    /// The next name is skipped when this comes on.
    pub next_name: bool,
    /// Split time: sound arriving later than this after the first arrival counts as wet, s; only with a side-chain.
    pub split_s: f64,
}

impl Settings {
    /// Reads the parameters.
    ///
    /// # Real-time
    /// Relaxed atomic loads, no more; and relaxed stores where a value was not a number and is reset to its default.
    pub fn read(params: &HostParams) -> Self {
        let lines_as_set = Lines {
            left: line(&params.left),
            right: line(&params.right),
        };
        let straight = params.straight.value();
        Self {
            bypass: params.bypass.value(),
            audition: params.audition.value(),
            feed: params.feed.value().0,
            lines: if straight { Lines::default() } else { lines_as_set },
            lines_as_set,
            straight,
            takes_by_phrase: params.takes_by_phrase.value(),
            take_phrase: params.take_phrase.value(),
            next_name: params.next_name.value(),
            law: params.law.value().0,
            loudness_match: params.loudness_match.value(),
            integration_s: params.integration.value().0.seconds(),
            over: params.integration.value().0.over(),
            record: params.record.value(),
            pass: params.pass.value().0,
            preset: params.preset.value().0,
            audition_in_bounces: params.audition_in_bounces.value(),
            split_s: params
                .side_chain
                .as_ref()
                .map_or(SPLIT_DEFAULT_MS.into(), |side| {
                    clamped(&side.split_ms, SPLIT_RANGE_MS)
                })
                / 1000.0,
        }
    }
}

impl Settings {
    /// The switches that a loaded state may not arm.
    pub fn switches(&self) -> Switches {
        Switches {
            audition: self.audition,
            in_bounces: self.audition_in_bounces,
            record: self.record,
            takes_by_phrase: self.takes_by_phrase,
        }
    }

    /// The same settings with these switches instead.
    pub fn with(self, switches: Switches) -> Self {
        Self {
            audition: switches.audition,
            audition_in_bounces: switches.in_bounces,
            record: switches.record,
            takes_by_phrase: switches.takes_by_phrase,
            ..self
        }
    }
}

fn line(params: &LineParams) -> Line {
    Line {
        polarity: params.polarity.value().0,
        gain_db: clamped(&params.gain_db, GAIN_RANGE_DB),
        delay_s: clamped(&params.delay_ms, DELAY_RANGE_MS) / 1000.0,
        high_pass_hz: [clamped(&params.corner_hz, CORNER_RANGE_HZ), 0.0],
        unplugged: params.unplugged.value(),
    }
}

/// The value clamped to its range.
fn clamped(param: &FloatParam, (least, most): (f32, f32)) -> f64 {
    let value = param.value();
    if value.is_finite() {
        f64::from(value.clamp(least, most))
    } else {
        healed(param, (least, most))
    }
}

/// Resets a value that a host set to NaN or infinity to its default. Otherwise it would stay, and be saved in a state
/// that no version could load, since JSON has no such number.
#[cold]
fn healed(param: &FloatParam, (least, most): (f32, f32)) -> f64 {
    let default = param.default_plain_value();
    // SAFETY: the method stores to the parameter's own atomics and runs its callback; ours have none. It is marked
    // unsafe only because setting values is the wrapper's task; host and editor see the value when they ask.
    unsafe { param._internal_set_plain_value(default) };
    f64::from(default.clamp(least, most))
}

#[cfg(test)]
mod tests {
    use nice_plug::prelude::Enum;
    use sumproof_core::routing::line::limits;

    use sumproof_wording::Name;

    use super::*;
    use crate::parameters::choices::{Choice, Listed};

    fn set(param: &FloatParam, value: f32) {
        // SAFETY: as in `healed`; this is what the wrapper does when it loads a state.
        unsafe { param._internal_set_plain_value(value) };
    }

    #[test]
    fn ranges_and_feeds_are_the_cores() {
        let as_f32 = |range: std::ops::RangeInclusive<f64>, factor: f64| {
            ((range.start() * factor) as f32, (range.end() * factor) as f32)
        };
        assert_eq!(as_f32(limits::GAIN_DB, 1.0), GAIN_RANGE_DB);
        assert_eq!(as_f32(limits::DELAY_S, 1000.0), DELAY_RANGE_MS);
        assert_eq!(as_f32(limits::HIGH_PASS_HZ, 1.0), CORNER_RANGE_HZ);
        let (shortest, longest) = sumproof_core::split::side_chain::SPLIT_RANGE_S;
        assert_eq!(as_f32(shortest..=longest, 1000.0), SPLIT_RANGE_MS);
        assert_eq!(
            (1000.0 * sumproof_core::split::side_chain::SPLIT_S) as f32,
            SPLIT_DEFAULT_MS
        );
        let (ids, names) = (<FeedId as Listed>::IDS, <FeedId as Listed>::NAMES);
        assert_eq!((ids.len(), names.len()), (FeedId::ALL.len(), FeedId::ALL.len()));
        for (index, feed) in FeedId::ALL.into_iter().enumerate() {
            assert_eq!(ids[index], feed.id());
            assert_eq!(names[index].to_lowercase(), feed.name().to_lowercase());
            assert_eq!((Choice::from_index(index), feed.index()), (Choice(feed), index));
        }
    }

    #[test]
    fn what_a_state_file_holds_is_clamped() {
        let params = HostParams::default();
        assert_eq!(Settings::read(&params).lines, Lines::default());
        set(&params.left.gain_db, 1e30);
        set(&params.left.delay_ms, -5.0);
        set(&params.right.gain_db, -400.0);
        set(&params.right.corner_hz, f32::MAX);
        let lines = Settings::read(&params).lines;
        assert_eq!((lines.left.gain_db, lines.left.delay_s), (20.0, 0.0));
        assert_eq!(
            (lines.right.gain_db, lines.right.high_pass_hz),
            (-40.0, [200.0, 0.0])
        );
        // A value out of range is kept as found: a later version may accept it.
        assert_eq!(params.left.gain_db.value(), 1e30);
    }

    #[test]
    fn what_is_no_number_is_put_back() {
        let params = HostParams::default();
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            set(&params.left.gain_db, bad);
            set(&params.right.delay_ms, bad);
            assert_eq!(Settings::read(&params).lines, Lines::default());
            assert_eq!(params.left.gain_db.value(), 0.0);
            assert_eq!(params.right.delay_ms.unmodulated_plain_value(), 0.0);
        }
    }
}
