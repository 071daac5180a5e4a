//! A file whose header has been read, and its frames one chunk after the other.

use std::io::{ErrorKind, Read};
use std::ops::RangeInclusive;
use std::path::Path;

use symphonia::core::codecs::audio::AudioDecoder;
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader};
use symphonia::core::io::{MediaSource, MediaSourceStream};
use symphonia::core::meta::MetadataOptions;

use crate::caught::caught;
use crate::coding::{Coding, coding};
use crate::error::ReadError;
use crate::format::{Format, RATES_HZ, in_words};
use crate::kind::{Container, Kind, START, kind};
use crate::long_wav::{LongWav, LongWavError};
use crate::origin::{Origin, unreadable};
use crate::promise::Promise;
use crate::track;

/// Frames, channel by channel.
type Chunk<'a> = (Format, &'a [Vec<f32>]);

/// A file whose header has been read.
pub(crate) struct Opened {
    reader: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    promise: Option<Promise>,
    /// The current frames, channel by channel.
    samples: Vec<Vec<f32>>,
    rate_hz: Option<u32>,
    /// Numbers of channels accepted.
    allowed: RangeInclusive<usize>,
}

/// The source of the bytes, its container, and the number of frames in a header read here.
struct Source {
    stream: Box<dyn MediaSource>,
    container: Option<Container>,
    promised_frames: Option<u64>,
}

impl Opened {
    /// Reads the header of a file with an accepted number of channels.
    ///
    /// # Errors
    /// Every [`ReadError`] that a header can cause.
    pub(crate) fn new(origin: &dyn Origin, allowed: RangeInclusive<usize>) -> Result<Self, ReadError> {
        caught(|| Self::open(origin, allowed)).unwrap_or_else(|| Err(ReadError::broken(origin.path())))
    }

    fn open(origin: &dyn Origin, allowed: RangeInclusive<usize>) -> Result<Self, ReadError> {
        let path = origin.path();
        let source = source(origin)?;
        let mut hint = Hint::new();
        if let Some(extension) = path.extension().and_then(|extension| extension.to_str()) {
            hint.with_extension(extension);
        }
        let reader = symphonia::default::get_probe()
            .probe(
                &hint,
                MediaSourceStream::new(source.stream, Default::default()),
                FormatOptions::default(),
                MetadataOptions::default(),
            )
            .map_err(|error| not_opened(origin, source.container, &error))?;
        let (track, decoder) = track::choose(&*reader, &allowed).map_err(|refused| match refused {
            track::Refused::Channels(channels) => wrong_channels(path, channels),
            track::Refused::Rate(rate_hz) => ReadError::Rate {
                path: path.into(),
                rate_hz,
            },
            track::Refused::Undecodable(detail) => undecodable(origin, source.container, detail.as_deref()),
        })?;
        Ok(Self {
            promise: Promise::of(&*reader, track, source.container, source.promised_frames),
            track: track.id,
            decoder,
            samples: Vec::new(),
            rate_hz: None,
            allowed,
            reader,
        })
    }

    /// The next frames, channel by channel, or `None` at the end. After an error there are no more.
    pub(crate) fn next_chunk(&mut self, path: &Path) -> Result<Option<Chunk<'_>>, ReadError> {
        let format = caught(|| self.decode(path)).unwrap_or_else(|| Err(ReadError::broken(path)))?;
        Ok(format.map(|format| (format, &self.samples[..])))
    }

    /// Decodes the next frames into `samples`.
    fn decode(&mut self, path: &Path) -> Result<Option<Format>, ReadError> {
        let damaged = |detail: String| ReadError::Damaged {
            path: path.into(),
            detail,
        };
        loop {
            let packet = match self.reader.next_packet() {
                Ok(Some(packet)) => packet,
                Ok(None) => return Ok(None),
                // The number of frames decides later whether it is truncated.
                Err(Error::IoError(error)) if error.kind() == ErrorKind::UnexpectedEof => return Ok(None),
                Err(Error::ResetRequired) => {
                    return Err(damaged("several recordings are joined in it".into()));
                }
                Err(error) => return Err(damaged(in_words(&error))),
            };
            if packet.track_id != self.track {
                continue;
            }
            let decoded = match self.decoder.decode(&packet) {
                Ok(decoded) => decoded,
                Err(Error::IoError(error)) if error.kind() == ErrorKind::UnexpectedEof => return Ok(None),
                Err(error) => return Err(damaged(in_words(&error))),
            };
            let spec = decoded.spec();
            let channels = spec.channels().count();
            if !self.allowed.contains(&channels) {
                return Err(wrong_channels(path, channels));
            }
            if !RATES_HZ.contains(&spec.rate()) {
                return Err(ReadError::Rate {
                    path: path.into(),
                    rate_hz: spec.rate(),
                });
            }
            if *self.rate_hz.get_or_insert(spec.rate()) != spec.rate() {
                return Err(damaged("its sample rate changes on the way".into()));
            }
            let format = Format {
                rate_hz: f64::from(spec.rate()),
                promised_frames: self.promise.map(|promise| promise.frames_at(spec.rate())),
                channels,
            };
            decoded.copy_to_vecs_planar(&mut self.samples);
            return Ok(Some(format));
        }
    }

    /// Compares the number of frames found with the header's.
    ///
    /// # Errors
    /// Frames are missing.
    pub(crate) fn verify_length(&self, path: &Path, found: u64) -> Result<(), ReadError> {
        let (Some(promise), Some(rate_hz)) = (self.promise, self.rate_hz) else {
            // A header without a length, or a file without frames, is judged as one without sound.
            return Ok(());
        };
        if promise.is_kept_by(found, rate_hz) {
            return Ok(());
        }
        Err(ReadError::Truncated {
            path: path.into(),
            promised: promise.frames_at(rate_hz),
            found,
        })
    }
}

/// Opens a file and examines its first bytes.
fn source(origin: &dyn Origin) -> Result<Source, ReadError> {
    let path = origin.path();
    let mut stream = origin.open()?;
    let container = match begins_as(path, &mut *stream)? {
        Some(Kind::Sound(what)) => {
            return Err(ReadError::Foreign {
                path: path.into(),
                what: what.into(),
            });
        }
        Some(Kind::Other(what)) => {
            return Err(ReadError::Other {
                path: path.into(),
                what,
            });
        }
        Some(Kind::Readable(container)) => Some(container),
        None => None,
    };
    if container == Some(Container::LongWav) {
        let long = LongWav::open(stream).map_err(|error| match error {
            LongWavError::Io(error) => unreadable(path, &error),
            LongWavError::Damaged(detail) => ReadError::Damaged {
                path: path.into(),
                detail: detail.into(),
            },
        })?;
        return Ok(Source {
            promised_frames: long.promised_frames,
            stream: Box::new(long),
            container,
        });
    }
    Ok(Source {
        stream,
        container,
        promised_frames: None,
    })
}

/// The kind of a file by its first bytes; `None` for a pipe, which can't be rewound.
fn begins_as(path: &Path, stream: &mut dyn MediaSource) -> Result<Option<Kind>, ReadError> {
    if !stream.is_seekable() {
        return Ok(None);
    }
    if stream.byte_len() == Some(0) {
        return Err(ReadError::Empty { path: path.into() });
    }
    let mut start = Vec::new();
    (&mut *stream)
        .take(START as u64)
        .read_to_end(&mut start)
        .and_then(|_| stream.rewind())
        .map_err(|error| unreadable(path, &error))?;
    Ok(kind(&start))
}

/// A file that begins like a recording and can't be opened is damaged, or has an unsupported coding; any other is no
/// audio.
fn not_opened(origin: &dyn Origin, container: Option<Container>, error: &Error) -> ReadError {
    let path = origin.path();
    match (container, error) {
        (None, _) => ReadError::NotAudio { path: path.into() },
        (Some(_), Error::Unsupported(detail)) if !detail.contains("missing") && !detail.contains("probe") => {
            undecodable(origin, container, Some(&in_words(error)))
        }
        (Some(_), _) => ReadError::Damaged {
            path: path.into(),
            detail: in_words(error),
        },
    }
}

/// Sound that no decoder accepts, with the coding's name where it is known.
fn undecodable(origin: &dyn Origin, container: Option<Container>, detail: Option<&str>) -> ReadError {
    let path = origin.path().to_path_buf();
    let Some(container) = container else {
        return ReadError::NotAudio { path };
    };
    match (coding(origin, container), detail) {
        (Coding::Named(name), _) => ReadError::Foreign {
            path,
            what: format!("coded as {name}"),
        },
        (Coding::Locked, _) => ReadError::Unsupported {
            path,
            detail: "a licence locks it".into(),
        },
        (Coding::NoSound, _) => ReadError::NoFrames { path },
        (Coding::Unknown, Some(detail)) => ReadError::Unsupported {
            path,
            detail: detail.into(),
        },
        (Coding::Unknown, None) => ReadError::NotAudio { path },
    }
}

fn wrong_channels(path: &Path, channels: usize) -> ReadError {
    match channels {
        1 => ReadError::Mono { path: path.into() },
        0 => ReadError::NoFrames { path: path.into() },
        channels => ReadError::ManyChannels {
            path: path.into(),
            channels,
        },
    }
}
