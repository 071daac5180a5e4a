//! Reading stereo files, streamed.

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::ops::RangeInclusive;
use std::path::Path;

use sumproof_core::dsp::{db, samples};
use sumproof_core::spectrum::pair_sums::PairSums;
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;

use crate::input::caught::caught;
use crate::input::error::ReadError;

/// Sample rates that are analysed, Hz.
pub const RATES_HZ: RangeInclusive<u32> = 8_000..=192_000;

/// A whole stereo file in memory.
#[derive(Clone, Debug, PartialEq)]
pub struct StereoFile {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// The left channel, full scale ±1.
    pub left: Vec<f32>,
    /// The right channel, as long.
    pub right: Vec<f32>,
    /// How many channels the file has: 2, as others are errors.
    pub channels_in_file: usize,
}

/// A whole mono or stereo file in memory.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// One or two channels, full scale ±1.
    pub channels: Vec<Vec<f32>>,
}

/// What is known of a file while it is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Format {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// How many frames the file says it has. Don't reserve memory by it: anything may stand there.
    pub promised_frames: Option<u64>,
    /// Its channels.
    pub channels: usize,
}

/// Reads a WAV, AIFF, FLAC, MP3 or Ogg Vorbis file and hands over its frames in chunks of equal length left and right, none
/// of them empty. Returns how many frames there were.
///
/// What is wrong with the sound itself (silence, samples that are not numbers) can only be known at the end, so the chunks
/// have been handed over by then.
///
/// # Errors
/// Everything in [`ReadError`].
pub fn read(path: &Path, mut on_chunk: impl FnMut(&Format, &[f32], &[f32])) -> Result<u64, ReadError> {
    let mut opened = Opened::new(path, 2..=2)?;
    let mut check = Check::default();
    while let Some((format, channels)) = opened.next_chunk(path)? {
        let [left, right] = channels else {
            // Files with other numbers of channels were refused when they were opened.
            continue;
        };
        if left.is_empty() {
            continue;
        }
        check.add(left, right);
        on_chunk(&format, left, right);
    }
    opened.verify_length(path, check.frames())?;
    check.verdict(path)?;
    Ok(check.frames())
}

/// Reads a whole file into memory.
///
/// # Errors
/// As [`read`].
pub fn read_stereo(path: &Path) -> Result<StereoFile, ReadError> {
    let mut file = StereoFile {
        rate_hz: 0.0,
        left: Vec::new(),
        right: Vec::new(),
        channels_in_file: 2,
    };
    read(path, |format, left, right| {
        file.rate_hz = format.rate_hz;
        file.left.extend_from_slice(left);
        file.right.extend_from_slice(right);
    })?;
    Ok(file)
}

/// Reads a whole mono or stereo file into memory. What its samples are is not judged: it may be silent.
///
/// # Errors
/// As [`read`], but for what is said of samples and of mono files.
pub fn read_recording(path: &Path) -> Result<Recording, ReadError> {
    let mut opened = Opened::new(path, 1..=2)?;
    let mut recording = Recording {
        rate_hz: 0.0,
        channels: Vec::new(),
    };
    while let Some((format, channels)) = opened.next_chunk(path)? {
        recording.rate_hz = format.rate_hz;
        recording.channels.resize(channels.len(), Vec::new());
        for (channel, new) in recording.channels.iter_mut().zip(channels) {
            channel.extend_from_slice(new);
        }
    }
    let frames = recording.channels.first().map_or(0, Vec::len);
    opened.verify_length(path, frames as u64)?;
    if frames == 0 {
        return Err(ReadError::NoFrames { path: path.into() });
    }
    Ok(recording)
}

/// What a file is judged by before anything else is.
#[derive(Default)]
struct Check {
    /// Frames that are not believed.
    invalid: u64,
    /// Sums over the others.
    sums: PairSums,
}

impl Check {
    fn add(&mut self, left: &[f32], right: &[f32]) {
        if samples::all_valid(left, right) {
            self.sums.add_all(left, right);
            return;
        }
        for (&l, &r) in left.iter().zip(right) {
            if samples::is_valid(l, r) {
                self.sums.add(f64::from(l), f64::from(r));
            } else {
                self.invalid += 1;
            }
        }
    }

    fn frames(&self) -> u64 {
        self.invalid + self.sums.frames
    }

    fn verdict(&self, path: &Path) -> Result<(), ReadError> {
        let path = || path.to_path_buf();
        if self.frames() == 0 {
            return Err(ReadError::NoFrames { path: path() });
        }
        if self.invalid > 0 {
            return Err(ReadError::NotNumbers {
                path: path(),
                frames: self.invalid,
                all: self.frames(),
            });
        }
        if db::from_power(self.sums.mean_power()) <= db::NO_READING_DBFS {
            return Err(ReadError::Silence { path: path() });
        }
        Ok(())
    }
}

/// Frames, channel by channel.
type Chunk<'a> = (Format, &'a [Vec<f32>]);

/// A file whose header has been read.
struct Opened {
    reader: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    promised_frames: Option<u64>,
    /// Frames that a lossy coder may put at either end on top.
    slack: u64,
    /// The frames at hand, channel by channel.
    samples: Vec<Vec<f32>>,
    rate_hz: Option<u32>,
    /// How many channels it may have.
    allowed: RangeInclusive<usize>,
}

impl Opened {
    fn new(path: &Path, allowed: RangeInclusive<usize>) -> Result<Self, ReadError> {
        caught(|| Self::open(path, allowed)).unwrap_or_else(|| Err(gave_up(path)))
    }

    fn open(path: &Path, allowed: RangeInclusive<usize>) -> Result<Self, ReadError> {
        let unreadable = |error: std::io::Error| ReadError::Unreadable {
            path: path.into(),
            reason: match error.kind() {
                ErrorKind::NotFound => "there is no such file; check the name".into(),
                ErrorKind::PermissionDenied => "may not be read; check its permissions".into(),
                _ => format!("cannot be read ({error})"),
            },
        };
        let mut file = File::open(path).map_err(unreadable)?;
        let about = file.metadata().map_err(unreadable)?;
        if about.is_dir() {
            return Err(ReadError::Unreadable {
                path: path.into(),
                reason: "is a folder; name the files in it".into(),
            });
        }
        if about.is_file() && about.len() == 0 {
            return Err(ReadError::Empty { path: path.into() });
        }
        let mut start = [0u8; 12];
        let known = about.is_file() && {
            let got = file.by_ref().take(12).read(&mut start).map_err(unreadable)?;
            file = File::open(path).map_err(unreadable)?;
            is_known(&start[..got])
        };
        let mut hint = Hint::new();
        if let Some(extension) = path.extension().and_then(|extension| extension.to_str()) {
            hint.with_extension(extension);
        }
        // What begins like an audio file and can't be opened is a broken one; all else is none.
        let failed = |error: Error| match (known, error) {
            (true, Error::Unsupported(detail)) if !detail.contains("missing") => ReadError::Unsupported {
                path: path.into(),
                detail: detail.into(),
            },
            (true, error) => ReadError::Damaged {
                path: path.into(),
                detail: in_words(&error),
            },
            (false, _) => ReadError::NotAudio { path: path.into() },
        };
        let stream = MediaSourceStream::new(Box::new(file), Default::default());
        let reader = symphonia::default::get_probe()
            .probe(
                &hint,
                stream,
                FormatOptions::default(),
                MetadataOptions::default(),
            )
            .map_err(failed)?;
        let none = || ReadError::NotAudio { path: path.into() };
        let track = reader.default_track(TrackType::Audio).ok_or_else(none)?;
        let parameters = track
            .codec_params
            .as_ref()
            .and_then(|parameters| parameters.audio())
            .ok_or_else(none)?;
        if let Some(channels) = &parameters.channels {
            right_channels(path, channels.count(), &allowed)?;
        }
        if let Some(rate_hz) = parameters.sample_rate {
            in_range(path, rate_hz)?;
        }
        let decoder = symphonia::default::get_codecs()
            .make_audio_decoder(parameters, &AudioDecoderOptions::default())
            .map_err(|error| ReadError::Unsupported {
                path: path.into(),
                detail: in_words(&error),
            })?;
        let lossy = track.delay.is_some() || track.padding.is_some();
        Ok(Self {
            promised_frames: track.num_frames,
            slack: if lossy { 4096 } else { 0 },
            track: track.id,
            reader,
            decoder,
            samples: Vec::new(),
            rate_hz: None,
            allowed,
        })
    }

    /// The next frames, channel by channel, or `None` at the end. After an error there are no others.
    fn next_chunk(&mut self, path: &Path) -> Result<Option<Chunk<'_>>, ReadError> {
        let format = caught(|| self.decode(path)).unwrap_or_else(|| Err(gave_up(path)))?;
        Ok(format.map(|format| (format, &self.samples[..])))
    }

    /// Puts the next frames into `samples`.
    fn decode(&mut self, path: &Path) -> Result<Option<Format>, ReadError> {
        let damaged = |detail: String| ReadError::Damaged {
            path: path.into(),
            detail,
        };
        loop {
            let packet = match self.reader.next_packet() {
                Ok(Some(packet)) => packet,
                Ok(None) => return Ok(None),
                // Whether it should have gone on is judged by the frames.
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
            right_channels(path, spec.channels().count(), &self.allowed)?;
            in_range(path, spec.rate())?;
            if *self.rate_hz.get_or_insert(spec.rate()) != spec.rate() {
                return Err(damaged("its sample rate changes on the way".into()));
            }
            let format = Format {
                rate_hz: f64::from(spec.rate()),
                promised_frames: self.promised_frames,
                channels: spec.channels().count(),
            };
            decoded.copy_to_vecs_planar(&mut self.samples);
            return Ok(Some(format));
        }
    }

    fn verify_length(&self, path: &Path, found: u64) -> Result<(), ReadError> {
        match self.promised_frames {
            // A header that promises nothing is judged as one without sound.
            Some(promised) if found + self.slack < promised => Err(ReadError::Truncated {
                path: path.into(),
                promised,
                found,
            }),
            _ => Ok(()),
        }
    }
}

fn right_channels(path: &Path, channels: usize, allowed: &RangeInclusive<usize>) -> Result<(), ReadError> {
    match channels {
        channels if allowed.contains(&channels) => Ok(()),
        1 => Err(ReadError::Mono { path: path.into() }),
        0 => Err(ReadError::NoFrames { path: path.into() }),
        channels => Err(ReadError::ManyChannels {
            path: path.into(),
            channels,
        }),
    }
}

fn in_range(path: &Path, rate_hz: u32) -> Result<(), ReadError> {
    if RATES_HZ.contains(&rate_hz) {
        Ok(())
    } else {
        Err(ReadError::Rate {
            path: path.into(),
            rate_hz,
        })
    }
}

/// Whether a file begins like one of the containers that are read.
fn is_known(start: &[u8]) -> bool {
    let form = |outer: &[u8], inner: &[&[u8]]| {
        start.starts_with(outer) && (start.len() < 12 || inner.contains(&&start[8..12]))
    };
    form(b"RIFF", &[b"WAVE"])
        || form(b"FORM", &[b"AIFF", b"AIFC"])
        || start.starts_with(b"fLaC")
        || start.starts_with(b"OggS")
        || start.starts_with(b"ID3")
}

/// A decoder panicked.
fn gave_up(path: &Path) -> ReadError {
    ReadError::Damaged {
        path: path.into(),
        detail: "what it says can't be".into(),
    }
}

/// A decoder's complaint without what is said around it anyway.
fn in_words(error: &Error) -> String {
    match error {
        Error::IoError(error) if error.kind() == ErrorKind::UnexpectedEof => "it ends too early".into(),
        Error::DecodeError(detail) | Error::Unsupported(detail) | Error::LimitError(detail) => {
            (*detail).into()
        }
        other => other.to_string(),
    }
}
