//! Chooses the track that is read; in a video, the sound.

use std::ops::RangeInclusive;

use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::formats::{FormatReader, Track, TrackType};

use crate::codecs::codecs;
use crate::format::RATES_HZ;

/// Why no track is read.
pub(crate) enum Refused {
    /// It has this number of channels.
    Channels(usize),
    /// It has this sample rate, Hz.
    Rate(u32),
    /// No decoder accepts it; with the decoder's reason, if there is one.
    Undecodable(Option<String>),
}

/// The default track, or else the first that can be decoded, with its decoder. If there is none, why the default track
/// can't be read.
pub(crate) fn choose<'r>(
    reader: &'r dyn FormatReader,
    allowed: &RangeInclusive<usize>,
) -> Result<(&'r Track, Box<dyn AudioDecoder>), Refused> {
    let meant = reader.default_track(TrackType::Audio);
    let mut refused = None;
    for track in meant.into_iter().chain(reader.tracks()) {
        match decoder(track, allowed) {
            Ok(decoder) => return Ok((track, decoder)),
            Err(Some(why)) => refused = refused.or(Some(why)),
            Err(None) => {}
        }
    }
    Err(refused.unwrap_or(Refused::Undecodable(None)))
}

/// The decoder of a track; `Err(None)` if it is not a sound track.
fn decoder(track: &Track, allowed: &RangeInclusive<usize>) -> Result<Box<dyn AudioDecoder>, Option<Refused>> {
    let parameters = track
        .codec_params
        .as_ref()
        .and_then(|parameters| parameters.audio())
        .ok_or(None)?;
    if let Some(channels) = &parameters.channels
        && !allowed.contains(&channels.count())
    {
        return Err(Some(Refused::Channels(channels.count())));
    }
    if let Some(rate_hz) = parameters.sample_rate
        && !RATES_HZ.contains(&rate_hz)
    {
        return Err(Some(Refused::Rate(rate_hz)));
    }
    codecs()
        .make_audio_decoder(parameters, &AudioDecoderOptions::default())
        .map_err(|error| Some(Refused::Undecodable(Some(crate::format::in_words(&error)))))
}
