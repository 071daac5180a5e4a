//! Published facts of hearing against the limits and outcomes (CHECKS, 'Ear').
//!
//! Larsen, Iyer, Lansing & Feng, JASA 124(1), 450–461 (2008); Halmrast, 'Sound coloration from (very) early
//! reflections', ASA 141st meeting (2001), the range of 5 to 20 ms from memory of the same author's DAFx-99 paper;
//! Everest & Pohlmann, Master Handbook of Acoustics, chapter 10 and figure 6-11 (after Olive & Toole).

use crate::support::{RATE_HZ, take, white};
use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::outcome::{Limits, Outcome};
use sumproof_core::score::rig::Rig;
use sumproof_core::score::scorer::FeedScore;
use sumproof_core::session::take::{Pass, Take};
use sumproof_core::spectrum::cross_spectrum::CrossSpectrum;
use sumproof_core::spectrum::welch::spectrum_of;
use sumproof_core::split::{Method, Split};
use sumproof_signals::{PresetKind, PresetSpec, Stereo, render};

/// A sound with a copy of itself, `late` samples late, in the other channel.
fn with_copy(sound: &[f64], late: usize) -> Stereo {
    let mut copy = vec![0.0; late];
    copy.extend_from_slice(&sound[..sound.len() - late]);
    Stereo::new(sound.to_vec(), copy)
}

fn samples(ms: f64) -> usize {
    (ms / 1000.0 * RATE_HZ).round() as usize
}

/// The mono wedge of a separately known dry.
fn wedge(pair: &Stereo, late: usize) -> FeedScore {
    let (grid, dry) = spectrum_of(&pair.left, &pair.right, RATE_HZ, 8192);
    let split = Split::new(
        dry.clone(),
        CrossSpectrum::silent(grid.len()),
        dry,
        Method::TwoPass,
    );
    let sums = crate::support::sums(&pair.left, &pair.right);
    let delay = sumproof_core::alignment::delay::ChannelDelay {
        delay_s: late as f64 / RATE_HZ,
        polarity: sumproof_core::routing::line::Polarity::Normal,
        confidence: 1.0,
    };
    let take = Take::new("copy".into(), Pass::Full, sums, 0, &grid, &split, Some(delay));
    take.rows(&Rig::default(), 0.0)[FeedId::MonoWedge as usize]
        .score
        .unwrap()
}

fn partials_db(ms: f64) -> f64 {
    let late = samples(ms);
    let sound = white(4 * RATE_HZ as usize, 7);
    let score = wedge(&with_copy(&sound, late), late);
    score.colour.partials_db.unwrap().likely
}

/// EAR-1: the smallest noticeable change of the direct-to-reverberant ratio is 2 to 3 dB at ordinary ratios. A feed is
/// called wetter from one to one and a half of these on, so a feed called as mixed sounds as mixed, or nearly.
#[test]
fn wetter_begins_at_one_to_one_and_a_half_noticeable_steps() {
    const SMALLEST_DB: [f64; 2] = [2.0, 3.0];
    let limit = Limits::default().wetter_db;
    assert!(
        (SMALLEST_DB[0]..=1.5 * SMALLEST_DB[1]).contains(&limit),
        "{limit}"
    );
}

/// EAR-2: a lone copy about 10 ms late, at the dry's own level, gives the most disturbing colour. A wedge with one 5 to
/// 20 ms late doesn't hold, whatever its level and its 1/3 octaves.
#[test]
fn a_wedge_with_a_copy_5_to_20_ms_late_does_not_hold() {
    let guitar = render(&PresetSpec {
        seconds: 8.0,
        seed: 3,
        ..PresetSpec::new(PresetKind::DryOnly)
    });
    for ms in [5.0, 10.0, 15.0, 20.0] {
        let take = take(&with_copy(&guitar.dry.left, samples(ms)), RATE_HZ);
        let row = take.rows(&Rig::default(), 0.0)[FeedId::MonoWedge as usize];
        let score = row.score.unwrap();
        assert_eq!(row.outcome, Some(Outcome::Thins), "{ms} ms: {score:?}");
        // Its level alone would hold.
        assert!(score.dry.unwrap().low > Limits::default().dry_holds_db, "{ms} ms");
    }
}

/// EAR-3: teeth 125 Hz apart (8 ms) put about one into a critical band and are heard; at 40 ms so many fall into one
/// that the ear no longer resolves the comb.
#[test]
fn a_comb_counts_while_the_ear_resolves_it() {
    let limit = Limits::default().partials_db;
    let (heard, blurred) = (partials_db(8.0), partials_db(40.0));
    assert!(heard > 1.25 * limit, "8 ms: {heard:.1} dB");
    assert!(blurred < limit, "40 ms: {blurred:.1} dB");
}

/// EAR-4: the threshold of hearing a single reflection hardly changes with its delay over the first 20 ms. Neither does
/// the outcome: a copy is over the limit throughout (8.1 dB at 2 ms, 4.3 at 20).
#[test]
fn a_copy_is_judged_alike_over_the_first_20_ms() {
    let found: Vec<f64> = [2.0, 5.0, 10.0, 15.0, 20.0].map(partials_db).to_vec();
    let limit = Limits::default().partials_db;
    assert!(found.iter().all(|&db| db > limit), "{found:.1?}");
}
