//! The synthetic signals of EBU Tech 3341 (version 4, November 2023), table 1: cases 1 to 5 and 9 to 19.
//!
//! Made from the table's description, not taken from the EBU's files: 1 kHz sines, equal in both channels, with peak
//! levels per channel in dBFS. Left out are case 6 (five channels), 7 and 8 (programme material, which can't be
//! synthesised) and 20 to 23 (they depend on a decimation filter).

use crate::numbers::to_index;
use crate::{Stereo, amplitude, tones};

/// The reading a meter must give.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Expected {
    /// Momentary, short-term and integrated loudness all settle at this, LUFS.
    AllLoudness(f64),
    /// Integrated loudness, LUFS.
    Integrated(f64),
    /// Short-term loudness stays at `lufs` from `from_s` seconds on.
    ShortTermFrom {
        /// Short-term loudness, LUFS.
        lufs: f64,
        /// From this time on, seconds.
        from_s: f64,
    },
    /// Momentary loudness stays at `lufs` from `from_s` seconds on.
    MomentaryFrom {
        /// Momentary loudness, LUFS.
        lufs: f64,
        /// From this time on, seconds.
        from_s: f64,
    },
    /// Largest short-term loudness of this file, LUFS.
    MaxShortTerm(f64),
    /// Largest momentary loudness of this file, LUFS.
    MaxMomentary(f64),
    /// Largest short-term loudness of successive segments: −38, −37, … −19 LUFS.
    MaxShortTermSteps,
    /// Largest momentary loudness of successive segments: −38, −37, … −19 LUFS.
    MaxMomentarySteps,
    /// Largest true peak, dBTP.
    TruePeak(f64),
}

impl Expected {
    /// Tolerance below and above the expected value, dB or LU.
    pub fn tolerance(self) -> (f64, f64) {
        match self {
            Self::TruePeak(_) => (0.4, 0.2),
            _ => (0.1, 0.1),
        }
    }
}

/// One file of one case.
#[derive(Debug, Clone)]
pub struct EbuFile {
    /// Case number in the table.
    pub case: u8,
    /// Which of the case's files, from 0; only cases 10 and 13 have more than one.
    pub index: usize,
    /// The expected reading.
    pub expected: Expected,
    /// The signal.
    pub signal: Stereo,
}

/// The cases available here.
pub const CASES: [u8; 16] = [1, 2, 3, 4, 5, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19];

/// All files of one case at `rate_hz` (the table means 48 kHz); empty for a case not in [`CASES`].
pub fn files(case: u8, rate_hz: f64) -> Vec<EbuFile> {
    let one = |expected, segments: &[(f64, f64)]| {
        vec![EbuFile {
            case,
            index: 0,
            expected,
            signal: steps(rate_hz, segments),
        }]
    };
    let many = |expected, segments: fn(f64) -> [(f64, f64); 3]| {
        let file = |index| EbuFile {
            case,
            index,
            expected,
            signal: steps(rate_hz, &segments(index as f64)),
        };
        (0..20).map(file).collect()
    };
    let chain = |segments: fn(f64) -> [(f64, f64); 3]| {
        (0..20).flat_map(|i| segments(f64::from(i))).collect::<Vec<_>>()
    };
    let peak = |expected, divisor: f64, amplitude: f64, phase_deg: f64| {
        let signal = faded_sine(rate_hz, rate_hz / divisor, amplitude, phase_deg.to_radians());
        vec![EbuFile {
            case,
            index: 0,
            expected: Expected::TruePeak(expected),
            signal,
        }]
    };
    match case {
        1 => one(Expected::AllLoudness(-23.0), &[(-23.0, 20.0)]),
        2 => one(Expected::AllLoudness(-33.0), &[(-33.0, 20.0)]),
        3 => one(
            Expected::Integrated(-23.0),
            &[(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)],
        ),
        4 => one(
            Expected::Integrated(-23.0),
            &[
                (-72.0, 10.0),
                (-36.0, 10.0),
                (-23.0, 60.0),
                (-36.0, 10.0),
                (-72.0, 10.0),
            ],
        ),
        5 => one(
            Expected::Integrated(-23.0),
            &[(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)],
        ),
        9 => one(
            Expected::ShortTermFrom {
                lufs: -23.0,
                from_s: 3.0,
            },
            &[(-20.0, 1.34), (-30.0, 1.66)].repeat(5),
        ),
        10 => many(Expected::MaxShortTerm(-23.0), |i| {
            [(SILENT, 0.15 * i), (-23.0, 3.0), (SILENT, 1.0)]
        }),
        11 => one(
            Expected::MaxShortTermSteps,
            &chain(|i| [(SILENT, 0.15 * i), (-38.0 + i, 3.0), (SILENT, 3.0 - 0.15 * i)]),
        ),
        12 => one(
            Expected::MomentaryFrom {
                lufs: -23.0,
                from_s: 1.0,
            },
            &[(-20.0, 0.18), (-30.0, 0.22)].repeat(25),
        ),
        13 => many(Expected::MaxMomentary(-23.0), |i| {
            [(SILENT, 0.02 * i), (-23.0, 0.4), (SILENT, 1.0)]
        }),
        14 => one(
            Expected::MaxMomentarySteps,
            &chain(|i| [(SILENT, 0.02 * i), (-38.0 + i, 0.4), (SILENT, 0.4 - 0.02 * i)]),
        ),
        15 => peak(-6.0, 4.0, 0.5, 0.0),
        16 => peak(-6.0, 4.0, 0.5, 45.0),
        17 => peak(-6.0, 6.0, 0.5, 60.0),
        18 => peak(-6.0, 8.0, 0.5, 67.5),
        19 => peak(3.0, 4.0, 1.41, 45.0),
        _ => Vec::new(),
    }
}

const SILENT: f64 = f64::NEG_INFINITY;

/// A 1 kHz sine with a level for each segment `(peak dBFS, seconds)`; its phase is continuous.
pub fn steps(rate_hz: f64, segments: &[(f64, f64)]) -> Stereo {
    // The ends are rounded, not the lengths, so many short segments do not drift.
    let mut end_s = 0.0;
    let ends: Vec<usize> = segments
        .iter()
        .map(|(_, seconds)| {
            end_s += seconds;
            to_index((end_s * rate_hz).round())
        })
        .collect();
    let mut signal = tones::sine(ends.last().copied().unwrap_or(0), rate_hz, 1000.0, 1.0, 0.0);
    let mut start = 0;
    for ((peak_dbfs, _), end) in segments.iter().zip(ends) {
        let gain = amplitude(*peak_dbfs);
        signal[start..end].iter_mut().for_each(|x| *x *= gain);
        start = end;
    }
    Stereo::dual_mono(&signal)
}

/// One second with 10 ms fades: a hard edge would overshoot between the samples.
fn faded_sine(rate_hz: f64, hz: f64, amplitude: f64, phase_rad: f64) -> Stereo {
    let len = to_index(rate_hz.round());
    let fade = 0.01 * rate_hz;
    let mut signal = tones::sine(len, rate_hz, hz, amplitude, phase_rad);
    for (n, x) in signal.iter_mut().enumerate() {
        *x *= (n.min(len - 1 - n) as f64 / fade).min(1.0);
    }
    Stereo::dual_mono(&signal)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn peaks_and_lengths_are_those_of_the_table() {
        // EBU Tech 3341 table 1: peak levels in dBFS and durations in seconds.
        for (case, peak_dbfs, seconds) in [
            (1, -23.0, 20.0),
            (2, -33.0, 20.0),
            (3, -23.0, 80.0),
            (4, -23.0, 100.0),
            (5, -20.0, 60.1),
            (9, -20.0, 15.0),
            (11, -19.0, 120.0),
            (12, -20.0, 10.0),
            (14, -19.0, 16.0),
        ] {
            let files = files(case, 48_000.0);
            assert_eq!(files.len(), 1);
            let signal = &files[0].signal;
            assert_eq!(
                signal.len(),
                (seconds * 48_000.0f64).round() as usize,
                "case {case}"
            );
            assert!(
                (20.0 * signal.peak().log10() - peak_dbfs).abs() < 1e-9,
                "case {case}"
            );
            assert_eq!(signal.left, signal.right);
        }
    }

    #[test]
    fn twenty_files_where_the_table_has_twenty() {
        for case in CASES {
            let files = files(case, 48_000.0);
            assert_eq!(
                files.len(),
                if matches!(case, 10 | 13) { 20 } else { 1 },
                "case {case}"
            );
        }
        let last = &files(13, 48_000.0)[19].signal;
        assert!(last.left[..18_240].iter().all(|x| *x == 0.0));
        assert!(last.left[18_241] != 0.0 && last.len() == 85_440);
        assert!(files(7, 48_000.0).is_empty());
    }

    #[test]
    fn true_peak_cases_hide_their_peaks_between_samples() {
        // Sample peaks of the sines in the table: amplitude times the largest sine of the phases that occur.
        for (case, amplitude, largest_deg) in [
            (15, 0.5f64, 90.0f64),
            (16, 0.5, 45.0),
            (17, 0.5, 60.0),
            (18, 0.5, 67.5),
            (19, 1.41, 45.0),
        ] {
            let expected = amplitude * largest_deg.to_radians().sin();
            let peak = files(case, 48_000.0)[0].signal.peak();
            assert!(
                (peak - expected).abs() < 1e-9,
                "case {case}: {peak} instead of {expected}"
            );
        }
    }
}
