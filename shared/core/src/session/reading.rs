//! One full reading: plain data of fixed size.

use crate::alignment::delay::ChannelDelay;
use crate::explain::diagnosis::Diagnosis;
use crate::routing::feed::FeedId;
use crate::score::board::{Board, FEEDS, Row};
use crate::score::outcome::Outcome;
use crate::score::verdict::Verdict;
use crate::session::span::PhraseNow;
use crate::spectrum::bands::{MAX_THIRDS, MAX_TWENTY_FOURTHS};
use crate::split::Method;
use crate::split::kind::PresetKind;
use crate::split::ways::{Bounds, Closed};

/// The present reading of one 1/3-octave band (or of a merged group of them).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BandNow {
    /// Lower edge, Hz.
    pub lower_hz: f32,
    /// Upper edge, Hz.
    pub upper_hz: f32,
    /// Nominal middle of the lowest band in the group, Hz.
    pub nominal_hz: f32,
    /// Nominal middle of the highest band in the group, Hz.
    pub nominal_last_hz: f32,
    /// Half the sample rate lies inside the band.
    pub partial: bool,
    /// Correlation, −1 to +1; `None` when the band is silent.
    pub correlation: Option<f32>,
    /// Coherence, 0 to 1, bias removed; `None` when it can't be told.
    pub coherence: Option<f32>,
    /// Standard deviation by chance of the correlation of unrelated sound in this band, `1/√(2BT)`: a reading below
    /// about twice this is not significant.
    pub spread: f32,
    /// Mean power of both channels in the band, dBFS.
    pub level_db: f32,
}

/// Sum difference over frequency of one feed, per 1/24 octave, dB; NaN where there's no such sound.
#[derive(Clone, Copy, Debug)]
pub struct Curves {
    /// Of the dry.
    pub dry_db: [f32; MAX_TWENTY_FOURTHS],
    /// Of the wet.
    pub wet_db: [f32; MAX_TWENTY_FOURTHS],
    /// Of both.
    pub total_db: [f32; MAX_TWENTY_FOURTHS],
}

impl Default for Curves {
    fn default() -> Self {
        let nothing = [f32::NAN; MAX_TWENTY_FOURTHS];
        Self {
            dry_db: nothing,
            wet_db: nothing,
            total_db: nothing,
        }
    }
}

/// Everything the window shows of the sound. About 10 kB, no pointers.
#[derive(Clone, Copy, Debug)]
pub struct Reading {
    /// Sample rate, Hz; 0 before the first reading.
    pub rate_hz: f64,
    /// Frames taken since the last reset.
    pub frames: u64,
    /// Frames that were invalid and left out.
    pub invalid_frames: u64,
    /// Mean power of the left channel, dBFS, above 40 Hz.
    pub left_db: f64,
    /// Mean power of the right channel, dBFS, above 40 Hz.
    pub right_db: f64,
    /// Correlation of the whole sound above 40 Hz; `None` means 'no reading', not zero.
    pub correlation: Option<f64>,
    /// Number of independent averages the reading amounts to.
    pub averages: f64,
    /// The single delay between the channels, if there's one.
    pub delay: Option<ChannelDelay>,
    /// The diagnosis.
    pub diagnosis: Diagnosis,
    /// How dry and wet were told apart.
    pub method: Method,
    /// Wet over dry power in stereo, dB; `None` when silent.
    pub wet_over_dry_db: Option<f64>,
    /// Its least and largest possible value, dB, where it is an estimate
    /// ([`crate::split::Split::wet_over_dry_range_db`]).
    pub wet_over_dry_range_db: Option<[f64; 2]>,
    /// The kind of preset as the player stated it.
    pub kind: PresetKind,
    /// The bounds of dry and wet where they are estimated.
    pub bounds: Option<Bounds>,
    /// What the player could do to get a plain verdict; `None` where nothing would.
    pub asks_for: Option<AskFor>,
    /// The board.
    pub rows: [Row; FEEDS],
    /// Each row's worst outcome in this phrase, where it is worse than the present one.
    pub worst: [Option<Outcome>; FEEDS],
    /// The phrase this is a reading of. The bands are those of the last second.
    pub phrase: PhraseNow,
    /// The 1/3-octave bands of the last second, not of the phrase; the first [`Self::band_count`] count.
    pub bands: [BandNow; MAX_THIRDS],
    /// Number of bands.
    pub band_count: usize,
    /// Middles of the 1/24-octave bands of the curves, Hz; the first [`Self::curve_points`] count.
    pub curve_hz: [f32; MAX_TWENTY_FOURTHS],
    /// Number of points of the curves.
    pub curve_points: usize,
    /// Which feed [`Self::selected_curves`] belongs to.
    pub selected: FeedId,
    /// Sum difference of the selected feed.
    pub selected_curves: Curves,
    /// Sum difference of the mono wedge.
    pub wedge_curves: Curves,
    /// A take is being recorded.
    pub recording: bool,
    /// Length of the take being recorded, or of all since the reset, seconds.
    pub take_s: f64,
}

/// A step of the player's that would tell more than the sound does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AskFor {
    /// State the kind of preset: the dry isn't known well enough for a plain outcome.
    Kind,
    /// Stop the strings and let the effects ring: the wet isn't known well enough for a plain balance.
    MutedEnd,
    /// Record a dry pass: nothing else would tell.
    DryPass,
}

impl AskFor {
    /// The step that would make a verdict plain; `None` if all are, or if none would.
    #[must_use]
    pub fn of(rows: &[Row; FEEDS], bounds: &Bounds) -> Option<Self> {
        let open = |plain: Option<bool>| plain == Some(false);
        let dry = rows.iter().any(|row| open(row.verdict.map(Verdict::is_plain)));
        let wet = rows.iter().any(|row| open(row.balance.map(Verdict::is_plain)));
        match bounds.closed {
            None if dry => Some(Self::Kind),
            None | Some(Closed::Kind) if wet && bounds.one_direction && bounds.wet.is_none() => {
                Some(Self::MutedEnd)
            }
            _ if dry || wet => Some(Self::DryPass),
            _ => None,
        }
    }
}

impl Default for Reading {
    fn default() -> Self {
        Self {
            rate_hz: 0.0,
            frames: 0,
            invalid_frames: 0,
            left_db: f64::NEG_INFINITY,
            right_db: f64::NEG_INFINITY,
            correlation: None,
            averages: 0.0,
            delay: None,
            diagnosis: Diagnosis::default(),
            method: Method::Estimated,
            wet_over_dry_db: None,
            wet_over_dry_range_db: None,
            kind: PresetKind::NotSaid,
            bounds: None,
            asks_for: None,
            rows: Board::empty_rows(),
            worst: [None; FEEDS],
            phrase: PhraseNow::default(),
            bands: [BandNow::default(); MAX_THIRDS],
            band_count: 0,
            curve_hz: [0.0; MAX_TWENTY_FOURTHS],
            curve_points: 0,
            selected: FeedId::MonoWedge,
            selected_curves: Curves::default(),
            wedge_curves: Curves::default(),
            recording: false,
            take_s: 0.0,
        }
    }
}

impl Reading {
    /// The row of a feed.
    #[must_use]
    pub fn row(&self, id: FeedId) -> &Row {
        // The rows are in the order of `FeedId::ALL`, which is the order of the enum.
        &self.rows[(id as usize).min(FEEDS - 1)]
    }
}
