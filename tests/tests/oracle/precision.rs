//! The core's figures against the slow ones of `sumproof_tests::obvious`, over sample rates from 8 to 192 kHz, levels
//! from −100 to +6 dBFS, and random rigs and sounds.
use proptest::prelude::*;
use sumproof_core::Complex;
use sumproof_core::alignment::delay::DelayFinder;
use sumproof_core::dsp::db::{NO_READING_DBFS, from_amplitude, to_amplitude};
use sumproof_core::dsp::samples::Cleaner;
use sumproof_core::explain::margin::{self, DelayMargin, Map, part_margin};
use sumproof_core::routing::boxes::{Arrival, Coupling, Drive, Kind, Source};
use sumproof_core::routing::feed::{Ending, Feed, Side, SumLaw};
use sumproof_core::routing::line::{Line, Polarity};
use sumproof_core::routing::response::FeedResponse;
use sumproof_core::score::scorer::{PartResponses, Scorer};
use sumproof_core::session::meter::{LOWEST_HZ, RunningCorrelation};
use sumproof_core::session::monitor::Monitor;
use sumproof_core::session::take::Pass;
use sumproof_core::spectrum::bands::BandMap;
use sumproof_core::spectrum::cross_spectrum::{CrossSpectrum, unbiased_coherence};
use sumproof_core::spectrum::grid::{Grid, block_len};
use sumproof_core::spectrum::welch::{Average, Blocks, spectrum_of};
use sumproof_core::split::two_pass::{PassAudio, TwoPass};
use sumproof_core::split::{Method, Split};
use sumproof_signals::delay::delayed;
use sumproof_signals::{Rng, tones};
use sumproof_tests::obvious;

const RATES_HZ: [f64; 10] = [
    8_000.0, 11_025.0, 16_000.0, 22_050.0, 32_000.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0,
];
/// Levels, dBFS, of the mean square over both channels.
const LEVELS_DBFS: [f64; 6] = [-100.0, -85.0, -70.0, -40.0, -12.0, 6.0];

#[track_caller]
fn near(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!(
        got == want || (got - want).abs() <= tolerance,
        "{what}: {got}, and slowly {want}"
    );
}

/// Partly correlated noise with one channel a little late: a mean square of 1 over both.
fn pair(frames: usize, seed: u64) -> [Vec<f64>; 2] {
    let common = tones::white_noise(frames + 8, 1.0, seed);
    let own = tones::white_noise(frames, 1.0, seed + 1);
    let left: Vec<f64> = common[5..5 + frames].to_vec();
    let right: Vec<f64> = (0..frames).map(|n| 0.6 * common[n + 2] - 0.5 * own[n]).collect();
    let [l, r, _] = obvious::sums(&left, &right);
    let gain = (2.0 * frames as f64 / (l + r)).sqrt();
    [left, right].map(|channel| channel.iter().map(|x| x * gain).collect())
}

fn scaled(channels: &[Vec<f64>; 2], level_dbfs: f64) -> [Vec<f64>; 2] {
    let gain = to_amplitude(level_dbfs);
    // In single precision, like the samples from a host.
    [&channels[0], &channels[1]].map(|channel| channel.iter().map(|x| f64::from((x * gain) as f32)).collect())
}

fn narrow(channel: &[f64]) -> Vec<f32> {
    channel.iter().map(|x| *x as f32).collect()
}

/// Spectra, band levels, band correlation, coherence, sum and difference: the bins of the 1 kHz band, averaged over a
/// take and live.
#[test]
fn spectra_and_what_bands_say() {
    for (number, rate_hz) in (0..).zip(RATES_HZ) {
        let len = block_len(rate_hz);
        let grid = Grid::fft(rate_hz, len);
        let map = BandMap::thirds(&grid);
        let band = map
            .bands()
            .iter()
            .position(|band| band.nominal_hz == 1000.0)
            .unwrap();
        let bins: Vec<usize> = map
            .cells(band)
            .map(|(cell, _)| cell)
            .chain([0, 1, len / 2])
            .collect();
        let unit = pair(2 * len + 1234, 2 * number + 1);
        let level_dbfs = LEVELS_DBFS[number as usize % LEVELS_DBFS.len()];
        let [left, right] = scaled(&unit, level_dbfs);
        let what = format!("{rate_hz} Hz, {level_dbfs} dBFS");

        let (_, whole) = spectrum_of(&left, &right, rate_hz, len);
        let slow = obvious::spectrum(&left, &right, len, &bins, f64::INFINITY);
        same_bins(&whole, &slow, &bins, &what);

        let mut live = CrossSpectrum::silent(len / 2 + 1);
        let mut average = Average::live(rate_hz, len, 0.3);
        let mut blocks = Blocks::new(len);
        Cleaner::default().runs(&narrow(&left), &narrow(&right), |run| {
            blocks.push(run, |block| average.add(block));
        });
        average.read(&mut live);
        let decay_hops = 0.3 * rate_hz / (len / 4) as f64;
        same_bins(
            &live,
            &obvious::spectrum(&left, &right, len, &bins, decay_hops),
            &bins,
            &format!("{what}, live"),
        );

        // The band's figures, from the slow bins alone.
        let of = |value: &dyn Fn(&obvious::Bin) -> f64| {
            obvious::over_band(&grid, &map.bands()[band], |cell| {
                bins.iter()
                    .position(|bin| *bin == cell)
                    .map_or(f64::NAN, |at| value(&slow[at]))
            })
        };
        let (l, r, cross) = (of(&|bin| bin.ll), of(&|bin| bin.rr), of(&|bin| bin.lr.re));
        let reading = whole.band(&grid, &map, band);
        near(reading.left / l, 1.0, 1e-9, &format!("{what}: left"));
        near(reading.right / r, 1.0, 1e-9, &format!("{what}: right"));
        near(
            reading.correlation.unwrap(),
            cross / (l * r).sqrt(),
            1e-9,
            &format!("{what}: correlation"),
        );
        for (got, sign) in [
            (reading.sum_difference_db(), 1.0),
            (reading.flipped_difference_db(), -1.0),
        ] {
            let want = obvious::db(0.5 * (l + r + sign * 2.0 * cross) / (l + r));
            near(got.unwrap(), want, 1e-7, &format!("{what}: sum, sign {sign}"));
        }
        let weight = of(&|bin| (bin.ll * bin.rr).sqrt());
        let raw = of(&|bin| bin.lr.norm_sqr() / (bin.ll * bin.rr).sqrt()) / weight;
        near(
            reading.coherence.unwrap(),
            unbiased_coherence(raw, whole.averages),
            1e-9,
            &format!("{what}: coherence"),
        );
    }
}

fn same_bins(fast: &CrossSpectrum, slow: &[obvious::Bin], bins: &[usize], what: &str) {
    let loud = slow.iter().map(|bin| bin.ll.max(bin.rr)).fold(0.0, f64::max);
    assert!(loud > 0.0, "{what}: nothing is compared");
    for (bin, k) in slow.iter().zip(bins) {
        for (name, off) in [
            ("left", fast.ll[*k] - bin.ll),
            ("right", fast.rr[*k] - bin.rr),
            ("cross", (fast.lr[*k] - bin.lr).norm()),
        ] {
            near(off / loud, 0.0, 1e-10, &format!("{what}, bin {k}, {name}"));
        }
    }
}

/// Correlation, levels, sums of a take; levels of a reading; the running meter. Below −80 dBFS there is no reading.
#[test]
fn broadband_figures_of_takes_and_meters() {
    for (number, rate_hz) in (0..).zip(RATES_HZ) {
        let unit = pair((0.4 * rate_hz) as usize + 77, 50 + 2 * number);
        for level_dbfs in LEVELS_DBFS {
            let what = format!("{rate_hz} Hz, {level_dbfs} dBFS");
            let [left, right] = scaled(&unit, level_dbfs);
            let (l, r) = (narrow(&left), narrow(&right));
            let mut monitor = Monitor::for_takes(rate_hz);
            monitor.start_take();
            monitor.push(&l, &r);
            let take = monitor.finish_take(what.clone(), Pass::Full).unwrap();
            let sums = obvious::sums(&left, &right);
            let readable = level_dbfs > NO_READING_DBFS;
            assert_eq!(take.sums.correlation().is_some(), readable, "{what}");
            assert_eq!(take.sums.sum_difference_db().is_some(), readable, "{what}");
            near(
                take.sums.mean_power() / ((sums[0] + sums[1]) / (2.0 * left.len() as f64)),
                1.0,
                1e-12,
                &what,
            );
            // The take's spectrum contains the sound's whole power, whatever its length.
            near(
                take.split.total.mean_power() / take.sums.mean_power(),
                1.0,
                1e-6,
                &format!("{what}: total"),
            );
            near(
                take.sums.level_difference_db().unwrap(),
                obvious::db(sums[0] / sums[1]),
                1e-10,
                &format!("{what}: left over right"),
            );
            let mut meter = RunningCorrelation::new(rate_hz, 0.1);
            l.chunks(100)
                .zip(r.chunks(100))
                .for_each(|(l, r)| meter.push(l, r));
            let slow = obvious::running(&left, &right, rate_hz, 0.1, LOWEST_HZ);
            let (got_left, got_right) = meter.powers();
            near(got_left / slow[0], 1.0, 1e-9, &format!("{what}: meter, left"));
            near(got_right / slow[1], 1.0, 1e-9, &format!("{what}: meter, right"));
            if readable {
                near(
                    take.sums.correlation().unwrap(),
                    obvious::correlation(sums),
                    1e-12,
                    &what,
                );
                near(
                    meter.correlation().unwrap(),
                    obvious::correlation(slow),
                    1e-9,
                    &format!("{what}: meter"),
                );
                for (got, sign) in [
                    (take.sums.sum_difference_db(), 1.0),
                    (take.sums.flipped_difference_db(), -1.0),
                ] {
                    let want = obvious::sum_difference_db(&left, &right, sign);
                    near(got.unwrap(), want, 1e-9, &format!("{what}: sum, sign {sign}"));
                }
            } else {
                assert_eq!(meter.correlation(), None, "{what}");
            }
        }
    }
}

/// A delay between the channels, of any fraction of a sample, at any rate and level.
#[test]
fn delays_between_the_channels() {
    let mut rng = Rng::new(3);
    for (number, rate_hz) in (0..).zip(RATES_HZ) {
        let len = block_len(rate_hz);
        let sound = tones::white_noise(4 * len, 1.0, 80 + number);
        for level_dbfs in [-100.0, -30.0, 6.0] {
            let samples = rng.between(-40.0, 40.0);
            let sign = if rng.below(2) == 0 { 1.0 } else { -1.0 };
            let gain = to_amplitude(level_dbfs);
            let late =
                |by: f64| -> Vec<f64> { delayed(&sound, by.max(0.0)).iter().map(|x| x * gain).collect() };
            let (mut left, right) = (late(-samples), late(samples));
            left.iter_mut().for_each(|x| *x *= sign);
            let frames = left.len().min(right.len());
            let (left, right) = (&left[..frames], &right[..frames]);
            let (_, spectrum) = spectrum_of(left, right, rate_hz, len);
            let found = DelayFinder::new(rate_hz, len).find(&spectrum).unwrap();
            let what = format!("{samples:.3} samples at {rate_hz} Hz, {level_dbfs} dBFS");
            near(found.delay_s * rate_hz, samples, 0.02, &what);
            assert_eq!(
                found.polarity,
                if sign > 0.0 {
                    Polarity::Normal
                } else {
                    Polarity::Flipped
                },
                "{what}"
            );
            let slow = obvious::whole_delay(&left[..2000], &right[..2000], 45);
            near(slow as f64, samples, 0.51, &format!("{what}: slowly"));
        }
    }
}

/// Dry and wet from passes: their shares are those of the samples' squares.
#[test]
fn shares_of_passes() {
    let mut rng = Rng::new(4);
    for (number, rate_hz) in (0..).zip(RATES_HZ) {
        for level_dbfs in [-70.0, -20.0, 6.0] {
            let frames = (0.3 * rate_hz) as usize;
            let (dry, wet) = (
                scaled(&pair(frames, 100 + number), level_dbfs),
                scaled(&pair(frames, 200 + number), level_dbfs + rng.between(-9.0, 3.0)),
            );
            let pass = |sound: &[Vec<f64>; 2]| [narrow(&sound[0]), narrow(&sound[1])];
            let (d, w) = (pass(&dry), pass(&wet));
            let audio = |[left, right]: &'_ [Vec<f32>; 2]| -> Option<f64> {
                (left.len() == right.len()).then_some(rate_hz)
            };
            assert!(audio(&d).is_some() && audio(&w).is_some());
            let found = TwoPass::of_audio(
                &PassAudio {
                    rate_hz,
                    left: &d[0],
                    right: &d[1],
                },
                &PassAudio {
                    rate_hz,
                    left: &w[0],
                    right: &w[1],
                },
                None,
            )
            .unwrap();
            let energy = |sound: &[Vec<f64>; 2]| {
                let [l, r, _] = obvious::sums(&sound[0], &sound[1]);
                l + r
            };
            let want = obvious::db(energy(&wet) / energy(&dry));
            near(
                found.split.wet_over_dry_db().unwrap(),
                want,
                1e-6,
                &format!("{rate_hz} Hz, {level_dbfs} dBFS"),
            );
        }
    }
}

/// The loads and losses of every box: gain, corner and polarity are those of its circuit.
#[test]
fn boxes_are_their_circuits() {
    let mut rng = Rng::new(5);
    for kind in Kind::ALL {
        for _ in 0..50 {
            let source = Source {
                level_dbu: rng.between(-20.0, 20.0),
                peak_dbu: None,
                impedance_ohm: rng.between(1.0, 1000.0),
                drive: if rng.below(2) == 0 {
                    Drive::SingleEnded
                } else {
                    Drive::Symmetric
                },
            };
            let (spec, load_ohm) = (kind.spec(), rng.between(600.0, 20_000.0));
            let arrival = Arrival::new(&spec, load_ohm, &source);
            let (legs, swing) = match (spec.takes_both_legs, source.drive) {
                (true, _) => (2.0, 1.0),
                (false, Drive::SingleEnded) => (1.0, 1.0),
                (false, Drive::Symmetric) => (1.0, 0.5),
            };
            let source_ohm = legs * source.impedance_ohm;
            // A box's response at a frequency, including its high-pass.
            let at = |hz: f64| match spec.coupling {
                Coupling::Wire => load_ohm / (source_ohm + load_ohm),
                Coupling::Transformer {
                    turns_ratio,
                    primary_henry,
                    primary_ohm,
                    secondary_ohm,
                } => {
                    let parts = [turns_ratio, primary_henry, primary_ohm, secondary_ohm];
                    obvious::transformer_gain(hz, source_ohm, load_ohm, parts).norm()
                }
                Coupling::Buffer {
                    gain_db,
                    input_ohm,
                    output_ohm,
                    corner_hz,
                } => {
                    let into = input_ohm / (source_ohm + input_ohm) * 10f64.powf(gain_db / 20.0);
                    into * load_ohm / (output_ohm + load_ohm) / (1.0 + (corner_hz / hz).powi(2)).sqrt()
                }
            };
            for hz in [20.0, 100.0, 1000.0, 20_000.0] {
                let high_pass = 1.0 / (1.0 + (arrival.high_pass_hz / hz).powi(2)).sqrt();
                near(
                    arrival.gain_db + from_amplitude(high_pass),
                    from_amplitude(swing * at(hz)),
                    1e-6,
                    &format!("{} at {hz} Hz", kind.id()),
                );
            }
            near(
                arrival.level_dbu,
                source.level_dbu + arrival.gain_db,
                1e-12,
                kind.id(),
            );
            near(arrival.line().gain_db, arrival.gain_db, 0.0, kind.id());
        }
    }
}

fn some_line() -> impl Strategy<Value = Line> {
    let corner = prop_oneof![Just(0.0), 1.0..200.0];
    (
        any::<bool>(),
        -40.0..20.0,
        prop_oneof![Just(0.0), 0.0..0.03],
        corner,
        0u8..12,
    )
        .prop_map(|(flipped, gain_db, delay_s, corner_hz, luck)| Line {
            polarity: if flipped {
                Polarity::Flipped
            } else {
                Polarity::Normal
            },
            gain_db,
            delay_s,
            high_pass_hz: [corner_hz, if luck == 1 { 30.0 } else { 0.0 }],
            unplugged: luck == 0,
        })
}

fn some_feed() -> impl Strategy<Value = Feed> {
    let ending = prop_oneof![
        Just(Ending::Stereo),
        prop::sample::select(&SumLaw::ALL[..]).prop_map(Ending::Sum),
        Just(Ending::One(Side::Left)),
        Just(Ending::One(Side::Right)),
        Just(Ending::Difference),
    ];
    (
        some_line(),
        some_line(),
        ending,
        prop::option::weighted(0.2, 40.0..400.0),
    )
        .prop_map(|(left, right, ending, low_pass_hz)| Feed {
            left,
            right,
            ending,
            low_pass_hz,
        })
}

/// A random valid spectrum of two channels: in each cell two powers and a cross term no larger than they allow, under a
/// slope.
fn some_sound(cells: usize, level_dbfs: f64, seed: u64) -> CrossSpectrum {
    let mut rng = Rng::new(seed);
    let mut sound = CrossSpectrum::silent(cells);
    let (slope, likeness) = (rng.between(0.0, 1.5), rng.uniform());
    for cell in 0..cells {
        let power = 1.0 / (1.0 + cell as f64).powf(slope);
        sound.ll[cell] = power * rng.uniform();
        sound.rr[cell] = power * rng.uniform();
        let share = likeness * (sound.ll[cell] * sound.rr[cell]).sqrt();
        sound.lr[cell] = Complex::from_polar(share, rng.between(-1.0, 1.0) * rng.between(0.0, 3.0));
    }
    let gain = 10f64.powf(level_dbfs / 10.0) / sound.mean_power();
    sound
        .ll
        .iter_mut()
        .chain(&mut sound.rr)
        .for_each(|power| *power *= gain);
    sound.lr.iter_mut().for_each(|cross| *cross *= gain);
    sound.averages = 100.0;
    sound
}

/// Either grid: a reading's FFT bins, or a take's cells.
fn some_grid(rate_hz: f64, of_take: bool) -> Grid {
    if of_take {
        Grid::twenty_fourth_octave(rate_hz)
    } else {
        Grid::fft(rate_hz, block_len(rate_hz))
    }
}

fn agrees(got: f64, want: f64, tolerance: f64, what: &str) -> Result<(), TestCaseError> {
    // Far below any reading, the difference of two nearly equal powers is rounding.
    let nothing = |db: f64| db < -100.0;
    prop_assert!(
        got == want || (got - want).abs() <= tolerance || (nothing(got) && nothing(want)),
        "{}: {}, and slowly {}",
        what,
        got,
        want
    );
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 48, ..ProptestConfig::default() })]

    /// Every figure of a feed.
    #[test]
    fn feeds_have_their_figures(
        feed in some_feed(),
        rate_hz in prop::sample::select(&RATES_HZ[..]),
        of_take in prop::bool::weighted(0.7),
        level_dbfs in -100.0..6.0,
        wet_db in -20.0..10.0,
        lowest_hz in prop_oneof![Just(0.0), Just(LOWEST_HZ)],
        seed in any::<u64>(),
    ) {
        let grid = some_grid(rate_hz, of_take);
        let dry = some_sound(grid.len(), level_dbfs, seed);
        let wet = some_sound(grid.len(), level_dbfs + wet_db, seed ^ 1);
        let split = Split::of_parts(dry, wet, &grid, Method::TwoPass);
        let mut scorer = Scorer::new(grid.clone(), lowest_hz);
        let response = FeedResponse::new(&feed, &grid, 0.0);
        let score = scorer.score(&PartResponses::same(&response), &split);
        let cells = scorer.cells();
        let heard: f64 = cells.clone().map(|cell| 0.5 * (split.total.ll[cell] + split.total.rr[cell])).sum();
        prop_assert_eq!(score.is_some(), obvious::db(heard) > NO_READING_DBFS);
        let Some(score) = score else { return Ok(()) };
        let want = obvious::figures(
            &feed,
            &grid,
            [&split.dry, &split.wet, &split.total],
            cells.start,
            scorer.thirds().bands(),
            scorer.twenty_fourths().bands(),
        );
        agrees(score.makeup_db, want.makeup_db, 1e-9, "make-up")?;
        if score.makeup_db == f64::INFINITY {
            // Nothing arrives.
            prop_assert_eq!(score.total_db, f64::NEG_INFINITY);
            return Ok(());
        }
        agrees(score.level_lu, want.level_lu, 1e-3, "level")?;
        agrees(score.total_db, want.change_db[2], 1e-3, "total")?;
        agrees(score.total_against_mono_db.unwrap(), want.against_mono_db[1], 1e-3, "total against mono")?;
        let floor = score.dry_at_floor;
        if !floor {
            agrees(score.dry_db.unwrap(), want.change_db[0], 1e-3, "dry")?;
            agrees(score.dry_against_mono_db.unwrap(), want.against_mono_db[0], 1e-3, "dry against mono")?;
        }
        agrees(score.wet_db.unwrap(), want.change_db[1], 1e-3, "wet")?;
        if let (Some(shift), false) = (score.balance_shift_db, floor) {
            agrees(shift, want.change_db[1] - want.change_db[0], 2e-3, "balance shift")?;
        }
        match (score.tone_db, want.tone_db) {
            (Some(got), Some(want)) => agrees(got, want, 1e-2, "tone")?,
            (got, want) => prop_assert_eq!(got, want),
        }
        match (score.dip, want.dip) {
            (Some(got), Some((hz, depth_db))) => {
                agrees(got.depth_db, depth_db, 1e-2, "dip")?;
                // Two bands may be equally deep.
                prop_assert!((got.hz / hz - 1.0).abs() < 1e-9 || (got.depth_db - depth_db).abs() < 1e-6);
            }
            // The limit is 1 dB, and rounding may put it on either side.
            (Some(got), None) => prop_assert!(got.depth_db > -1.01),
            (None, Some((_, depth_db))) => prop_assert!(depth_db > -1.01),
            (None, None) => {}
        }
    }

    /// The delay margin, the map, and the offset of a flipped sum.
    #[test]
    fn margins_are_where_the_sum_says(
        rate_hz in prop::sample::select(&RATES_HZ[..]),
        of_take in prop::bool::weighted(0.8),
        level_dbfs in -79.0..6.0,
        loss_db in 0.5..3.0,
        flipped_db in -20.0..-1.0,
        delay_s in prop_oneof![Just(0.0), -0.001..0.001],
        seed in any::<u64>(),
    ) {
        let rate_hz = if of_take { rate_hz } else { 8_000.0 };
        let grid = some_grid(rate_hz, of_take);
        let mut sound = some_sound(grid.len(), level_dbfs, seed);
        sound.delay_s = if of_take { delay_s } else { 0.0 };
        let found = part_margin(&sound, &grid, loss_db, flipped_db).unwrap();
        let level = |delay_s: f64, sign: f64| obvious::late_sum_db(&sound, &grid, delay_s, sign);
        for point in [0, 1, 7, 30, 100] {
            let late_s = Map::delay_s(point);
            for (got, sign) in [(found.map.straight_db[point], 1.0), (found.map.flipped_db[point], -1.0)] {
                let want = level(late_s, sign).min(level(-late_s, sign));
                // Compared as powers: the depth of a null is limited by rounding.
                agrees(10f64.powf(f64::from(got) / 10.0), 10f64.powf(want / 10.0), 2e-4, "map")?;
            }
        }
        let on_time = level(0.0, 1.0);
        match found.delay {
            DelayMargin::Reached { delay_s, line } => {
                let direction = if line == Side::Right { 1.0 } else { -1.0 };
                agrees(level(direction * delay_s, 1.0) - on_time, -loss_db, 2e-3, "loss at the margin")?;
                // No shorter delay reaches it, in steps of 0.1 ms.
                let mut before_s = 1e-4;
                while before_s < delay_s - 1e-5 {
                    let worst = level(before_s, 1.0).min(level(-before_s, 1.0)) - on_time;
                    prop_assert!(worst > -loss_db - 2e-3, "{} dB at {} s, before {}", worst, before_s, delay_s);
                    before_s += 1e-4;
                }
            }
            DelayMargin::NotReached { deepest_db } => {
                for point in (0..=100).step_by(5) {
                    let late_s = Map::delay_s(point);
                    let worst = level(late_s, 1.0).min(level(-late_s, 1.0)) - on_time;
                    prop_assert!(worst > -loss_db - 2e-3 && worst >= deepest_db - 2e-3, "{} dB at {} s", worst, late_s);
                }
            }
        }
        let (left, right) = sound.powers();
        let cross = margin::cross_at(&sound, &grid, 0.0);
        let sums_apart = |offset_db: f64, louder: Side| {
            let k = 10f64.powf(offset_db / 20.0);
            let (l, r) = if louder == Side::Left { (k, 1.0) } else { (1.0, k) };
            let (both, product) = (l * l * left + r * r * right, l * r * cross);
            obvious::db((both - 2.0 * product) / (both + 2.0 * product))
        };
        let (offset_db, louder) = (found.offset.offset_db, found.offset.louder);
        let now = sums_apart(0.0, louder);
        if offset_db == 0.0 {
            prop_assert!(now >= flipped_db - 1e-6, "nothing is needed, and the flipped sum is at {} dB", now);
        } else {
            agrees(sums_apart(offset_db, louder), flipped_db, 1e-6, "flipped sum with the offset")?;
            prop_assert!(sums_apart(0.9 * offset_db, louder) < flipped_db);
        }
    }
}
