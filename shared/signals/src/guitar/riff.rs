//! Riffs: strummed chords, picked notes, muted chugs and rests in and around E minor pentatonic.

use crate::Rng;

/// One note of a riff.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Note {
    pub start_s: f64,
    /// MIDI note number, 69 is 440 Hz.
    pub pitch: f64,
    pub held_s: f64,
    /// Loudness, linear.
    pub loudness: f64,
}

/// E minor pentatonic upwards from the open low string.
const SCALE: [f64; 13] = [
    40.0, 43.0, 45.0, 47.0, 50.0, 52.0, 55.0, 57.0, 59.0, 62.0, 64.0, 67.0, 69.0,
];

/// Chord shapes over the six strings, low to high: E minor, G, D, A minor, C, B minor 7.
const CHORDS: [&[f64]; 6] = [
    &[40.0, 47.0, 52.0, 55.0, 59.0, 64.0],
    &[43.0, 47.0, 50.0, 55.0, 59.0, 67.0],
    &[50.0, 57.0, 62.0, 66.0],
    &[45.0, 52.0, 57.0, 60.0, 64.0],
    &[48.0, 52.0, 55.0, 60.0, 64.0],
    &[47.0, 54.0, 57.0, 62.0, 66.0],
];

/// A riff that begins at once and starts its last note before `until_s`.
pub(crate) fn riff(rng: &mut Rng, until_s: f64) -> Vec<Note> {
    let beat_s = 60.0 / rng.between(96.0, 132.0);
    let transpose = rng.below(5) as f64;
    let mut notes = Vec::new();
    let mut at_s = 0.03;
    // The first figure is a chord, so even a short riff sounds; the others are random.
    let mut figure = 0;
    while at_s < until_s {
        at_s += match figure {
            0 | 1 => strum(&mut notes, rng, at_s, beat_s),
            2 => chugs(&mut notes, rng, at_s, beat_s),
            3..=5 => picked(&mut notes, rng, at_s, beat_s),
            _ => beat_s,
        };
        figure = rng.below(7);
    }
    notes.retain(|note| note.start_s < until_s);
    notes.iter_mut().for_each(|note| note.pitch += transpose);
    notes
}

/// Two strokes over one chord, down and then up; returns the time it takes.
fn strum(notes: &mut Vec<Note>, rng: &mut Rng, at_s: f64, beat_s: f64) -> f64 {
    let chord = CHORDS[rng.below(CHORDS.len())];
    let string_s = rng.between(0.008, 0.016);
    for (stroke, (start_s, held_s)) in [(at_s, 1.4 * beat_s), (at_s + 1.5 * beat_s, 1.3 * beat_s)]
        .into_iter()
        .enumerate()
    {
        for (k, pitch) in chord.iter().enumerate() {
            let order = if stroke == 0 { k } else { chord.len() - 1 - k };
            let start_s = start_s + string_s * order as f64;
            notes.push(Note {
                start_s,
                pitch: *pitch,
                held_s,
                loudness: 0.55,
            });
        }
    }
    3.0 * beat_s
}

/// Short damped fifths on the low strings.
fn chugs(notes: &mut Vec<Note>, rng: &mut Rng, at_s: f64, beat_s: f64) -> f64 {
    let root = SCALE[rng.below(4)];
    for k in 0..6 {
        let loudness = if k % 3 == 0 { 0.9 } else { 0.65 };
        for (pitch, late_s) in [(root, 0.0), (root + 7.0, 0.004)] {
            let start_s = at_s + 0.5 * beat_s * f64::from(k) + late_s;
            notes.push(Note {
                start_s,
                pitch,
                held_s: 0.22 * beat_s,
                loudness,
            });
        }
    }
    3.0 * beat_s
}

/// A run of quavers wandering over the scale.
fn picked(notes: &mut Vec<Note>, rng: &mut Rng, at_s: f64, beat_s: f64) -> f64 {
    let count = 4 + rng.below(5);
    let mut degree = 4 + rng.below(6);
    for k in 0..count {
        let loudness = rng.between(0.6, 0.9);
        let start_s = at_s + 0.5 * beat_s * k as f64;
        let held_s = if k + 1 == count {
            1.2 * beat_s
        } else {
            0.48 * beat_s
        };
        notes.push(Note {
            start_s,
            pitch: SCALE[degree],
            held_s,
            loudness,
        });
        let step = [1, 2, 1, 3][rng.below(4)];
        degree = if rng.below(2) == 0 {
            degree.saturating_sub(step)
        } else {
            (degree + step).min(SCALE.len() - 1)
        };
    }
    0.5 * beat_s * count as f64 + beat_s
}
