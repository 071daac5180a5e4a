//! Which feed the findings are.

use super::{Arrival, Estimate, Feeding, Notice, PairFinding, Reader, Reception, Side};
use crate::routing::feed::FeedId;
use crate::routing::line::Polarity;

/// Lines this much apart (ms, dB) are still one cable's.
const SAME_DELAY_S: f64 = 0.000_1;
const SAME_LEVEL_DB: f64 = 2.0;
/// A delay, pad, corner from here on is what the built-in feeds mean.
const LATE_S: f64 = 0.000_3;
const PADDED_DB: f64 = 8.0;
const THIN_HZ: f64 = 15.0;

impl Reader<'_> {
    pub(super) fn feeding(&self, arrivals: [Arrival; 2], pair: Option<&PairFinding>, apart: bool) -> Feeding {
        let unknown = Feeding {
            heard: None,
            feeds: Vec::new(),
            faulty: None,
        };
        let heard = |value, confidence| {
            Some(Estimate {
                value,
                confidence,
                sigma: 0.0,
            })
        };
        if apart {
            return Feeding {
                heard: heard(Reception::Apart, 0.99),
                feeds: vec![FeedId::StereoHouse],
                faulty: None,
            };
        }
        let one = |side: Side, below_db: f64| Feeding {
            heard: heard(Reception::One(side), (below_db / 40.0).clamp(0.6, 0.99)),
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
        match arrivals {
            [Arrival::Yes, Arrival::No { below_db }] => one(Side::Left, below_db),
            [Arrival::No { below_db }, Arrival::Yes] => one(Side::Right, below_db),
            [Arrival::Yes, Arrival::Yes] => pair.map_or(unknown, |pair| self.summed(pair)),
            _ => unknown,
        }
    }

    fn summed(&self, pair: &PairFinding) -> Feeding {
        if self.notices.contains(&Notice::DifferentWays) {
            return Feeding {
                heard: None,
                feeds: vec![FeedId::StereoHouse],
                faulty: None,
            };
        }
        let Some(polarity) = pair.polarity else {
            return Feeding {
                heard: None,
                feeds: Vec::new(),
                faulty: None,
            };
        };
        let low_end = self.notices.contains(&Notice::LowEndOnly);
        let value = |reading: Option<Estimate<f64>>| reading.map_or(0.0, |reading| reading.value);
        let (delay_s, level_db) = (value(pair.delay_s), value(pair.level_db));
        let corners = pair.corners_hz.map_or([0.0; 2], |reading| reading.value);
        let soft = if level_db < 0.0 { Side::Right } else { Side::Left };
        let late = if delay_s > 0.0 { Side::Right } else { Side::Left };
        let soft_corner = corners[usize::from(soft == Side::Right)];
        let alike = delay_s.abs() < SAME_DELAY_S && level_db.abs() < SAME_LEVEL_DB;
        let (feeds, faulty) = match polarity.value {
            // From a mono source, the plug of a line isn't left in a balanced input.
            Polarity::Flipped if low_end => (vec![FeedId::MonoSubsLineFlipped], None),
            Polarity::Flipped if alike => (
                vec![FeedId::WedgeLineFlipped, FeedId::BalancedJackDifference],
                None,
            ),
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
            heard: Some(Estimate {
                value: if polarity.value == Polarity::Flipped {
                    Reception::Difference
                } else {
                    Reception::Sum
                },
                confidence: polarity.confidence,
                sigma: 0.0,
            }),
            feeds,
            faulty,
        }
    }
}
