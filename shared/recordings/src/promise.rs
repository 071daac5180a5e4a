//! The length stated in a file's header.

use sumproof_core::dsp::numbers::to_frames;
use symphonia::core::formats::{FormatReader, Track};

use crate::kind::Container;

/// Frames that coders add or drop at either end: their delays, and the padding of the last packet.
const CODERS: u64 = 8192;
/// The same where only a track's own header states a delay or padding.
const OWN_CODERS: u64 = 4096;
/// Largest difference between the container's length and its sound's, s: the container's is that of its longest track.
/// With a single track it is the track's own.
const CONTAINER_S: f64 = 1.0;
const ALONE_S: f64 = 0.1;

/// The length stated in a file's header.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Promise {
    seconds: f64,
    /// Frames and the rate at which they are counted, Hz; `None` where the header gives seconds.
    frames: Option<(u64, u32)>,
    /// Frames that may be missing.
    slack: u64,
}

impl Promise {
    /// The length of a track stated in its header, or `promised_frames` if these are known already.
    pub(crate) fn of(
        reader: &dyn FormatReader,
        track: &Track,
        container: Option<Container>,
        promised_frames: Option<u64>,
    ) -> Option<Self> {
        // A raw AAC stream has no header; the reader only extrapolates from its first packets.
        if reader.format_info().short_name == "aac" {
            return None;
        }
        let rate_hz = track
            .codec_params
            .as_ref()
            .and_then(|parameters| parameters.audio()?.sample_rate)
            .filter(|rate_hz| *rate_hz > 0)?;
        let slack = match container {
            Some(Container::Mp4 | Container::Matroska | Container::Caf) => CODERS,
            _ if track.delay.is_some() || track.padding.is_some() => OWN_CODERS,
            _ => 0,
        };
        if let Some(frames) = promised_frames.or(track.num_frames).filter(|frames| *frames > 0) {
            return Some(Self {
                seconds: frames as f64 / f64::from(rate_hz),
                frames: Some((frames, rate_hz)),
                slack,
            });
        }
        let seconds = |base: Option<symphonia::core::units::TimeBase>, length| {
            let seconds = base?.calc_duration(length?)?.as_secs_f64();
            (seconds > 0.0).then_some(seconds)
        };
        let media = reader.media_info();
        let seconds =
            seconds(track.time_base, track.duration).or(seconds(media.time_base, media.duration))?;
        let apart_s = if reader.tracks().len() > 1 {
            CONTAINER_S
        } else {
            ALONE_S
        };
        Some(Self {
            seconds,
            frames: None,
            slack: slack + to_frames(apart_s * f64::from(rate_hz)),
        })
    }

    /// The length in frames of the decoded sound, whose rate may differ from the header's.
    pub(crate) fn frames_at(&self, rate_hz: u32) -> u64 {
        match self.frames {
            Some((frames, counted_hz)) if counted_hz == rate_hz => frames,
            _ => to_frames(self.seconds * f64::from(rate_hz)),
        }
    }

    /// Whether that many frames are enough.
    pub(crate) fn is_kept_by(&self, found: u64, rate_hz: u32) -> bool {
        found.saturating_add(self.slack) >= self.frames_at(rate_hz)
    }
}
