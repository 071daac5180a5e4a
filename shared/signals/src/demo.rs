//! The demo that plays when no file is given.

use crate::effects::{PingPong, Room};
use crate::guitar::{Amplifier, Note, Player};
use crate::numbers::to_index;
use crate::{Preset, PresetKind, Rng, Stereo, amplitude};

const BEAT_S: f64 = 60.0 / 92.0;
const SECONDS: f64 = 12.0;
const PEAK_DBFS: f64 = -4.0;

/// Four arpeggios in quavers: E minor 9, C major 7, G with its sixth, D with an open fourth.
const ARPEGGIOS: [[f64; 8]; 4] = [
    [40.0, 52.0, 59.0, 66.0, 67.0, 59.0, 64.0, 59.0],
    [48.0, 55.0, 59.0, 64.0, 67.0, 64.0, 59.0, 55.0],
    [43.0, 55.0, 59.0, 64.0, 71.0, 67.0, 64.0, 59.0],
    [50.0, 57.0, 62.0, 67.0, 69.0, 67.0, 62.0, 57.0],
];

/// 'Gravel and Foam': 12 s of a nearly clean arpeggio with a wide reverb and ping-pong echoes, at any rate from 8 to
/// 192 kHz. Equal dry, wet 5 dB below it, peak at −4 dBFS. Its kind is [`PresetKind::EqualDry`].
pub fn demo_preset(rate_hz: f64) -> Preset {
    let len = to_index((SECONDS * rate_hz).round());
    let strings = Player::new(Rng::stream(2024, 1)).play(&score(), rate_hz, len);
    let amplifier = Amplifier {
        drive_db: 3.0,
        bias: 0.25,
        presence_hz: 2800.0,
        top_hz: 5600.0,
    };
    let reference = amplifier.run(&strings, rate_hz);
    let dry = Stereo::dual_mono(&reference);

    let room = Room {
        reverb_time_s: 1.9,
        pre_delay_s: 0.032,
        damping_hz: (7000.0, 1500.0),
    };
    let mut wet = room.stereo(&mut Rng::stream(2024, 2), &reference, rate_hz, 0.0);
    // Dotted quavers.
    let mut echoes = PingPong {
        time_s: 0.75 * BEAT_S,
        feedback: 0.45,
        damping_hz: 3000.0,
    }
    .run(&reference, rate_hz);
    echoes.scale((0.5 * wet.power() / echoes.power()).sqrt());
    wet = wet.plus(&echoes);
    wet.scale(amplitude(-5.0) * (dry.power() / wet.power()).sqrt());

    let kind = PresetKind::EqualDry;
    Preset {
        name: "Gravel and Foam".into(),
        kind,
        rate_hz,
        dry,
        wet,
        reference,
        stereo_reference: None,
    }
    .normalised(PEAK_DBFS)
}

fn score() -> Vec<Note> {
    let mut notes = Vec::new();
    for (bar, arpeggio) in ARPEGGIOS.iter().enumerate() {
        for (k, pitch) in arpeggio.iter().enumerate() {
            let quaver = (8 * bar + k) as f64 / 2.0;
            // The bass rings through its bar, the others over each other.
            let held_s = if k == 0 { 3.6 } else { 1.6 } * BEAT_S;
            let loudness = if k % 4 == 0 { 0.8 } else { 0.6 };
            // Eight quavers at 92 to the minute would take the four bars past the end: the last bar only begins.
            if bar < 3 || k == 0 {
                notes.push(Note {
                    start_s: 0.05 + quaver * BEAT_S,
                    pitch: *pitch,
                    held_s,
                    loudness,
                });
            }
        }
    }
    for (k, pitch) in ARPEGGIOS[3].iter().take(5).enumerate() {
        let start_s = 0.05 + 12.0 * BEAT_S + 0.03 * k as f64;
        notes.push(Note {
            start_s,
            pitch: *pitch,
            held_s: 3.0 * BEAT_S,
            loudness: 0.55,
        });
    }
    notes
}
