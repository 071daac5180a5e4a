//! Venues by chance.

use super::{AutoGain, End, Noise, Recorder, Room, Venue};
use crate::{LineFault, Rng};

/// A venue by its number: polarity, a delay of 0 to 20 ms, a level of ±20 dB, corners of 5 to 200 Hz, sum, left, right or
/// difference, a clock up to 200 ppm off, a room (made up, or one of `rooms`, 48 kHz) or none, a loudspeaker of 80 Hz to
/// 12 kHz or wider, noise down to 6 dB, up to 3 dB of clipping, a phone's automatic gain, a recording that begins early or late.
#[must_use]
pub fn draw(number: u64, rooms: &[Vec<f64>]) -> Venue {
    let mut rng = Rng::stream(number, 6);
    let chance = |rng: &mut Rng, share: f64| rng.uniform() < share;
    let end = match rng.below(6) {
        0 => End::Left,
        1 => End::Right,
        2 => End::Difference,
        _ => End::Sum,
    };
    let flip = chance(&mut rng, 0.5);
    let both = chance(&mut rng, 0.2);
    let delay_s = if chance(&mut rng, 0.3) {
        0.0
    } else {
        rng.between(0.0, 0.020)
    };
    let level_db = if chance(&mut rng, 0.2) {
        0.0
    } else {
        rng.between(-20.0, 20.0)
    };
    let corner = |rng: &mut Rng| {
        let corner = 5.0 * 40f64.powf(rng.uniform());
        (rng.uniform() < 0.6).then_some(corner)
    };
    let (left_corner, right_corner) = (corner(&mut rng), corner(&mut rng));
    let right_late = chance(&mut rng, 0.5);
    let line = |flip, gain_db: f64, delay_s, high_pass_hz| LineFault {
        flip,
        gain_db,
        delay_s,
        high_pass_hz,
        unplugged: false,
    };
    let late = |is: bool| if is { delay_s } else { 0.0 };
    let left = line(both, (-level_db).min(0.0), late(!right_late), left_corner);
    let right = line(both != flip, level_db.min(0.0), late(right_late), right_corner);
    let acoustic = chance(&mut rng, 0.8);
    let room = if !acoustic {
        Room::None
    } else if !rooms.is_empty() && chance(&mut rng, 0.5) {
        Room::Given(rooms[rng.below(rooms.len())].clone())
    } else {
        Room::Synthetic {
            decay_s: rng.between(0.2, 1.6),
            direct_db: rng.between(-6.0, 10.0),
            seed: rng.next_u64(),
        }
    };
    let loudspeaker_hz = acoustic.then(|| {
        if rng.uniform() < 0.5 {
            (80.0, 12_000.0)
        } else {
            (rng.between(40.0, 80.0), rng.between(12_000.0, 18_000.0))
        }
    });
    let below_db = if chance(&mut rng, 0.3) {
        rng.between(6.0, 12.0)
    } else {
        rng.between(12.0, 50.0)
    };
    let noise = (acoustic || chance(&mut rng, 0.5)).then(|| Noise {
        below_db,
        pink: rng.uniform() < 0.5,
        seed: rng.next_u64(),
    });
    let gain = (acoustic && chance(&mut rng, 0.35)).then(|| AutoGain {
        attack_s: rng.between(0.005, 0.05),
        release_s: rng.between(0.3, 3.0),
        ratio: rng.between(2.0, 8.0),
        most_db: rng.between(10.0, 30.0),
    });
    let rates = [48_000.0, 44_100.0, 48_000.0, 44_100.0, 32_000.0, 96_000.0];
    Venue {
        left,
        right,
        end,
        loudspeaker_hz,
        loudspeaker_flipped: acoustic && chance(&mut rng, 0.3),
        room,
        noise,
        recorder: Recorder {
            rate_hz: rates[rng.below(rates.len())],
            drift_ppm: rng.between(-200.0, 200.0),
            before_s: if chance(&mut rng, 0.2) {
                -rng.between(0.0, 2.5)
            } else {
                rng.between(0.0, 6.0)
            },
            behind_s: rng.between(0.0, 6.0),
            gain,
            clipped_db: if chance(&mut rng, 0.25) {
                rng.between(0.5, 3.0)
            } else {
                0.0
            },
            peak_dbfs: Some(rng.between(-20.0, 0.0)),
        },
    }
}
