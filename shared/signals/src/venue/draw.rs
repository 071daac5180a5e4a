//! Venues by chance.

use super::{AutoGain, Cut, End, LeftOn, Movement, Noise, Recorder, Room, SecondWay, Suppression, Venue};
use crate::{LineFault, Rng};

/// What is the matter at a venue, but for the lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Situation {
    /// Nothing: the phone lies still, one loudspeaker, one recording of the whole signal.
    AtRest,
    /// The phone is held in a hand.
    HandHeld,
    /// The phone is put somewhere else in the middle.
    PutElsewhere,
    /// A piece of the recording is missing.
    Gap,
    /// A piece of it comes twice.
    Repeat,
    /// A stereo PA, heard from off its centre.
    TwoLoudspeakers,
    /// A wedge that takes one line, and the PA.
    Elsewhere,
    /// A chorus in the preset.
    Chorus,
    /// A reverb in the preset.
    Reverb,
    /// The file says another rate than it was recorded with, or it was played at another.
    OtherRate,
    /// Two signals in one recording, the second with other lines.
    Twice,
    /// The reader is told another length of the sweeps than was played.
    OtherLength,
    /// The reader is told another mode than was played.
    OtherMode,
    /// One mono source, plugs pulled as asked for.
    Mono,
    /// One mono source, and no plug is pulled.
    NothingPulled,
    /// A player that mixes both channels to one.
    MixedToMono,
    /// The signal far below the noise.
    Faint,
}

/// A venue and what is the matter there.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// What is the matter.
    pub situation: Situation,
    /// The venue.
    pub venue: Venue,
}

impl Situation {
    /// All of them, each with its share of the venues, per cent.
    pub const SHARES: [(Self, f64); 17] = [
        (Self::AtRest, 42.0),
        (Self::HandHeld, 8.0),
        (Self::PutElsewhere, 3.0),
        (Self::Gap, 4.0),
        (Self::Repeat, 3.0),
        (Self::TwoLoudspeakers, 7.0),
        (Self::Elsewhere, 6.0),
        (Self::Chorus, 3.0),
        (Self::Reverb, 3.0),
        (Self::OtherRate, 4.0),
        (Self::Twice, 3.0),
        (Self::OtherLength, 2.0),
        (Self::OtherMode, 2.0),
        (Self::Mono, 3.0),
        (Self::NothingPulled, 2.0),
        (Self::MixedToMono, 2.0),
        (Self::Faint, 3.0),
    ];

    fn drawn(rng: &mut Rng) -> Self {
        let mut left = rng.between(0.0, 100.0);
        for (situation, share) in Self::SHARES {
            left -= share;
            if left < 0.0 {
                return situation;
            }
        }
        Self::AtRest
    }
}

fn chance(rng: &mut Rng, share: f64) -> bool {
    rng.uniform() < share
}

/// A venue by its number, with something the matter in more than half of them. `signal_s` is how long the signal lasts. Rooms as
/// in [`at_rest`].
#[must_use]
pub fn draw(number: u64, rooms: &[Vec<f64>], signal_s: f64) -> Drawn {
    let mut rng = Rng::stream(number, 7);
    let situation = Situation::drawn(&mut rng);
    let mut venue = at_rest(number, rooms);
    put_in_order(&mut venue, situation, &mut rng);
    happen(&mut venue, situation, signal_s, &mut rng);
    Drawn { situation, venue }
}

/// Makes a situation of a venue.
fn happen(venue: &mut Venue, situation: Situation, signal_s: f64, rng: &mut Rng) {
    match situation {
        Situation::HandHeld | Situation::PutElsewhere => {
            venue.movement = Some(movement(situation, signal_s, rng));
        }
        Situation::AtRest
        | Situation::Twice
        | Situation::OtherLength
        | Situation::OtherMode
        | Situation::Mono
        | Situation::NothingPulled
        | Situation::OtherRate => {}
        Situation::Gap | Situation::Repeat => {
            let seconds = rng.between(0.0002, 0.02);
            venue.recorder.cut = Some(Cut {
                at_s: venue.recorder.before_s + rng.between(0.32, 0.85) * signal_s,
                seconds: if situation == Situation::Gap {
                    seconds
                } else {
                    -seconds
                },
            });
        }
        Situation::TwoLoudspeakers | Situation::Elsewhere => second_way(venue, situation, rng),
        Situation::Chorus => {
            venue.left_on = Some(LeftOn::Chorus {
                mix: rng.between(0.4, 1.0),
                hz: rng.between(0.3, 2.0),
                shortest_s: rng.between(0.004, 0.012),
                depth_s: rng.between(0.001, 0.006),
            });
        }
        Situation::Reverb => {
            venue.left_on = Some(LeftOn::Reverb {
                wet_db: rng.between(-10.0, 0.0),
                decay_s: rng.between(0.6, 3.0),
                seed: rng.next_u64(),
            });
        }
        Situation::MixedToMono => venue.mixed_to_mono = true,
        Situation::Faint => {
            venue.noise = Some(Noise {
                below_db: rng.between(-22.0, -8.0),
                pink: chance(rng, 0.5),
                seed: rng.next_u64(),
            });
        }
    }
}

/// How the phone moves.
fn movement(situation: Situation, signal_s: f64, rng: &mut Rng) -> Movement {
    if situation == Situation::HandHeld {
        Movement::Sway {
            metres: rng.between(0.01, 0.04),
            hz: rng.between(0.15, 0.8),
            seed: rng.next_u64(),
        }
    } else {
        Movement::Step {
            metres: rng.between(0.05, 0.8),
            // Between the first line's part and both lines'.
            at_s: rng.between(0.3, 0.75) * signal_s,
            within_s: rng.between(0.2, 0.8),
            seed: rng.next_u64(),
        }
    }
}

/// What a situation needs to be one at all.
fn put_in_order(venue: &mut Venue, situation: Situation, rng: &mut Rng) {
    let acoustic = matches!(
        situation,
        Situation::HandHeld
            | Situation::PutElsewhere
            | Situation::TwoLoudspeakers
            | Situation::Elsewhere
            | Situation::Faint
    );
    if acoustic && venue.room == Room::None {
        venue.room = synthetic(rng, 0.2, 1.6);
        venue.loudspeaker_hz = Some((rng.between(50.0, 90.0), rng.between(10_000.0, 18_000.0)));
    }
    let both_lines = matches!(
        situation,
        Situation::TwoLoudspeakers
            | Situation::Chorus
            | Situation::Reverb
            | Situation::Gap
            | Situation::Repeat
            | Situation::NothingPulled
            | Situation::MixedToMono
    );
    if both_lines && matches!(venue.end, End::Left | End::Right) {
        venue.end = End::Sum;
    }
    if matches!(situation, Situation::Gap | Situation::Repeat) {
        venue.recorder.before_s = venue.recorder.before_s.abs();
    }
    if situation == Situation::NothingPulled || situation == Situation::MixedToMono {
        // Lines that cancel bring nothing at all then.
        (venue.left.flip, venue.right.flip, venue.end) = (false, false, End::Sum);
    }
    if situation == Situation::Elsewhere {
        venue.end = if chance(rng, 0.5) { End::Left } else { End::Right };
    }
    if matches!(situation, Situation::Mono | Situation::OtherMode) {
        // What stands in a balanced input isn't a mono source's.
        if venue.end == End::Difference {
            venue.end = End::Sum;
        }
        venue.recorder.before_s = venue.recorder.before_s.abs();
        venue.recorder.cut = None;
    }
}

fn second_way(venue: &mut Venue, situation: Situation, rng: &mut Rng) {
    let (low_s, high_s) = if situation == Situation::Elsewhere {
        (0.5, 2.5)
    } else {
        (0.3, 2.0)
    };
    let right_only = situation == Situation::TwoLoudspeakers;
    venue.second = Some(SecondWay {
        right_only,
        gain_db: if right_only {
            rng.between(-5.0, 5.0)
        } else {
            rng.between(-18.0, -3.0)
        },
        delay_s: if right_only {
            rng.between(0.0, 0.008)
        } else {
            rng.between(0.003, 0.022)
        },
        room: Room::Synthetic {
            decay_s: rng.between(low_s, high_s),
            direct_db: if right_only {
                rng.between(-6.0, 8.0)
            } else {
                rng.between(-12.0, 2.0)
            },
            seed: rng.next_u64(),
        },
    });
}

fn synthetic(rng: &mut Rng, low_s: f64, high_s: f64) -> Room {
    Room::Synthetic {
        decay_s: rng.between(low_s, high_s),
        direct_db: rng.between(-6.0, 10.0),
        seed: rng.next_u64(),
    }
}

/// A venue with the phone at rest and one way from the lines to it, by its number: polarity, a delay of 0 to 20 ms, a level of
/// ±20 dB, corners of 5 to 200 Hz, sum, left, right or difference, a clock up to 200 ppm off, a room (made up, of up to 1.6 s and
/// in some of 2 to 4, or one of `rooms`, 48 kHz) or none, a loudspeaker of 80 Hz to 12 kHz or wider, or a subwoofer, noise down to
/// 6 dB, up to 3 dB of clipping, a phone's automatic gain and noise suppression, a recording that begins early or late.
#[must_use]
pub fn at_rest(number: u64, rooms: &[Vec<f64>]) -> Venue {
    let mut rng = Rng::stream(number, 6);
    let end = match rng.below(6) {
        0 => End::Left,
        1 => End::Right,
        2 => End::Difference,
        _ => End::Sum,
    };
    let (left, right) = lines(&mut rng);
    let acoustic = chance(&mut rng, 0.8);
    let room = if !acoustic {
        Room::None
    } else if !rooms.is_empty() && chance(&mut rng, 0.5) {
        Room::Given(rooms[rng.below(rooms.len())].clone())
    } else if chance(&mut rng, 0.25) {
        synthetic(&mut rng, 2.0, 4.0)
    } else {
        synthetic(&mut rng, 0.2, 1.6)
    };
    let loudspeaker_hz = acoustic.then(|| match rng.uniform() {
        share if share < 0.08 => (rng.between(28.0, 45.0), rng.between(80.0, 150.0)),
        share if share < 0.5 => (80.0, 12_000.0),
        _ => (rng.between(40.0, 80.0), rng.between(12_000.0, 18_000.0)),
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
    Venue {
        left,
        right,
        end,
        loudspeaker_hz,
        loudspeaker_flipped: acoustic && chance(&mut rng, 0.3),
        room,
        noise,
        recorder: recorder(&mut rng, acoustic),
        ..Venue::straight(end)
    }
}

fn lines(rng: &mut Rng) -> (LineFault, LineFault) {
    let flip = chance(rng, 0.5);
    let both = chance(rng, 0.2);
    let delay_s = if chance(rng, 0.3) {
        0.0
    } else {
        rng.between(0.0, 0.020)
    };
    let level_db = if chance(rng, 0.2) {
        0.0
    } else {
        rng.between(-20.0, 20.0)
    };
    let corner = |rng: &mut Rng| {
        let corner = 5.0 * 40f64.powf(rng.uniform());
        (rng.uniform() < 0.6).then_some(corner)
    };
    let (left_corner, right_corner) = (corner(rng), corner(rng));
    let right_late = chance(rng, 0.5);
    let line = |flip, gain_db: f64, delay_s, high_pass_hz| LineFault {
        flip,
        gain_db,
        delay_s,
        high_pass_hz,
        unplugged: false,
    };
    let late = |is: bool| if is { delay_s } else { 0.0 };
    (
        line(both, (-level_db).min(0.0), late(!right_late), left_corner),
        line(both != flip, level_db.min(0.0), late(right_late), right_corner),
    )
}

fn recorder(rng: &mut Rng, acoustic: bool) -> Recorder {
    let gain = (acoustic && chance(rng, 0.35)).then(|| AutoGain {
        attack_s: rng.between(0.005, 0.05),
        release_s: rng.between(0.3, 3.0),
        ratio: rng.between(2.0, 8.0),
        most_db: rng.between(10.0, 30.0),
    });
    let suppression = (acoustic && chance(rng, 0.12)).then(|| Suppression {
        most_db: rng.between(8.0, 20.0),
        over: rng.between(1.5, 4.0),
    });
    let rates = [48_000.0, 44_100.0, 48_000.0, 44_100.0, 32_000.0, 96_000.0];
    Recorder {
        rate_hz: rates[rng.below(rates.len())],
        drift_ppm: rng.between(-200.0, 200.0),
        before_s: if chance(rng, 0.2) {
            // Up to a little before the first main part of the signal.
            -rng.between(0.0, 6.5)
        } else {
            rng.between(0.0, 6.0)
        },
        behind_s: rng.between(0.0, 6.0),
        suppression,
        gain,
        cut: None,
        clipped_db: if chance(rng, 0.25) {
            rng.between(0.5, 3.0)
        } else {
            0.0
        },
        peak_dbfs: Some(rng.between(-20.0, 0.0)),
    }
}
