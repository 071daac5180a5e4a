//! Which feed the findings are.

use super::{
    Answer, Arrival, Estimate, Feeding, LOW_END_HZ, LineFinding, Notice, PairFinding, Reader, Reception,
    Side, Trust, Unknown,
};
use crate::routing::feed::FeedId;
use crate::routing::line::Polarity;

/// From this far below on, a line that isn't seen is surely missing, dB: no pad takes off as much.
const SURELY_DB: f64 = 40.0;
/// The line that arrives stands so far out of the noise where the other one is surely missing, dB: below, what lies behind the noise
/// isn't what chance makes.
const CLEARLY_DB: f64 = 20.0;
/// A delay, pad, corner from here on is what the built-in feeds mean.
const LATE_S: f64 = 0.000_3;
const PADDED_DB: f64 = 8.0;
const THIN_HZ: f64 = 15.0;

impl Reader {
    pub(super) fn feeding(
        &self,
        lines: &[LineFinding; 2],
        pair: Option<&PairFinding>,
        apart: bool,
        reaches_hz: f64,
    ) -> Feeding {
        let arrivals = [lines[0].arrival, lines[1].arrival];
        let unknown = |why| Feeding {
            heard: Answer::Unknown(why),
            feeds: Vec::new(),
            faulty: None,
        };
        let doubtful = [
            Notice::Moved,
            Notice::Cut,
            Notice::Changing,
            Notice::Contradiction,
        ]
        .iter()
        .any(|notice| self.notices.contains(notice));
        let heard = |value, trust| {
            Answer::Known(Estimate {
                value,
                trust: if doubtful { Trust::Likely } else { trust },
                within: 0.0,
            })
        };
        if apart {
            return Feeding {
                heard: heard(Reception::Apart, Trust::Sure),
                feeds: vec![FeedId::StereoHouse],
                faulty: None,
            };
        }
        // Passes of a mono source, too, look like several signals of which one line is in each.
        let is_lone = !self.notices.contains(&Notice::SeveralSignals);
        let one = |side: Side, below_db: f64| Feeding {
            heard: heard(
                Reception::One(side),
                if below_db >= SURELY_DB
                    && is_lone
                    && lines[usize::from(side == Side::Right)].is_clear(CLEARLY_DB)
                {
                    Trust::Sure
                } else {
                    Trust::Likely
                },
            ),
            feeds: vec![
                match side {
                    Side::Left => FeedId::LeftLineOnly,
                    Side::Right => FeedId::RightLineOnly,
                },
                FeedId::WedgeLineUnplugged,
            ],
            faulty: Some(match side {
                Side::Left => Side::Right,
                Side::Right => Side::Left,
            }),
        };
        if arrivals != [Arrival::Yes; 2] && self.notices.contains(&Notice::Faint) {
            return unknown(Unknown::Noise);
        }
        match arrivals {
            [Arrival::Yes, Arrival::No { below_db }] => one(Side::Left, below_db),
            [Arrival::No { below_db }, Arrival::Yes] => one(Side::Right, below_db),
            [Arrival::Yes, Arrival::Yes] => {
                pair.map_or(unknown(Unknown::Noise), |pair| self.summed(pair, reaches_hz))
            }
            _ => unknown(Unknown::Noise),
        }
    }

    fn summed(&self, pair: &PairFinding, reaches_hz: f64) -> Feeding {
        let polarity = match pair.polarity {
            Answer::Known(polarity) => polarity,
            Answer::Unknown(why) => {
                return Feeding {
                    heard: Answer::Unknown(why),
                    feeds: Vec::new(),
                    faulty: None,
                };
            }
        };
        let low_end = self.notices.contains(&Notice::LowEndOnly);
        let value = |answer: Answer<f64>| answer.value().unwrap_or(0.0);
        let (delay_s, level_db) = (value(pair.delay_s), value(pair.level_db));
        let corners = pair.corners_hz.value().unwrap_or([0.0; 2]);
        let soft = if level_db < 0.0 { Side::Right } else { Side::Left };
        let late = if delay_s > 0.0 { Side::Right } else { Side::Left };
        let soft_corner = corners[usize::from(soft == Side::Right)];
        let (feeds, faulty) = match polarity.value {
            // From a mono source, the plug of a line isn't left in a balanced input.
            Polarity::Flipped if low_end => (vec![FeedId::MonoSubsLineFlipped], None),
            Polarity::Flipped => (
                vec![FeedId::WedgeLineFlipped, FeedId::BalancedJackDifference],
                None,
            ),
            Polarity::Normal if low_end => (vec![FeedId::MonoSubs], None),
            Polarity::Normal if level_db.abs() >= PADDED_DB && soft_corner >= THIN_HZ => (
                vec![FeedId::WedgeLineTransformer, FeedId::WedgeLinePadded],
                Some(soft),
            ),
            Polarity::Normal if level_db.abs() >= PADDED_DB => (vec![FeedId::WedgeLinePadded], Some(soft)),
            Polarity::Normal if delay_s.abs() >= LATE_S => (vec![FeedId::WedgeLineLate], Some(late)),
            Polarity::Normal => (vec![FeedId::MonoWedge], None),
        };
        Feeding {
            heard: Answer::Known(Estimate {
                value: if polarity.value == Polarity::Flipped {
                    Reception::Difference
                } else {
                    Reception::Sum
                },
                // Ways of different lengths look alike where only the low end arrives: both lines may be heard from elsewhere.
                trust: if reaches_hz < LOW_END_HZ {
                    Trust::Likely
                } else {
                    polarity.trust
                },
                within: 0.0,
            }),
            feeds,
            faulty,
        }
    }
}
