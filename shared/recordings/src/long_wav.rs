//! WAV files of any length: RF64 (EBU Tech 3306), BW64 (ITU-R BS.2088) and W64 (Sony Wave64).
//!
//! They differ from WAV only in how lengths are stored. So their headers are read here, and the sound is passed on
//! after a plain header with the same format.

use std::io::{self, ErrorKind, Read, Seek, SeekFrom};

use symphonia::core::io::MediaSource;

use crate::kind::W64;

/// Longest format chunk, bytes: it usually has a few dozen; a longer one is damaged.
const LONGEST_FORMAT: u64 = 4096;
/// Most chunks skipped before the sound.
const MOST_CHUNKS: usize = 10_000;
/// WAV's placeholder for a length that doesn't fit.
const UNTOLD: u32 = u32::MAX;

/// The sound of such a file, after a plain WAV header.
pub struct LongWav {
    file: Box<dyn MediaSource>,
    header: Vec<u8>,
    /// Offset of the sound in the file, bytes.
    start: u64,
    /// Length of the sound stated by the file, bytes.
    sound_len: u64,
    /// Length of the sound in the file, bytes.
    there: u64,
    at: u64,
    /// Number of frames stated by the header, where a frame has a fixed size.
    pub promised_frames: Option<u64>,
}

/// An error in such a file.
#[derive(Debug)]
pub enum LongWavError {
    /// The system's error.
    Io(io::Error),
    /// A part of the header is missing or invalid.
    Damaged(&'static str),
}

impl From<io::Error> for LongWavError {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            ErrorKind::UnexpectedEof => Self::Damaged("it ends too early"),
            _ => Self::Io(error),
        }
    }
}

/// One chunk's name, and the place of its contents, bytes.
struct Chunk {
    name: [u8; 4],
    start: u64,
    len: u64,
}

impl LongWav {
    /// Reads the header of a file with one of these signatures.
    ///
    /// # Errors
    /// See [`LongWavError`].
    pub fn open(mut file: Box<dyn MediaSource>) -> Result<Self, LongWavError> {
        let file_len = file.byte_len().unwrap_or(0);
        let mut start = [0; 16];
        file.read_exact(&mut start)?;
        let is_w64 = start == W64;
        let mut at = if is_w64 { 40 } else { 12 };
        let (mut format, mut long_len) = (None, None);
        for _ in 0..MOST_CHUNKS {
            file.seek(SeekFrom::Start(at))?;
            let chunk = if is_w64 {
                w64_chunk(&mut *file, at)?
            } else {
                riff_chunk(&mut *file, at)?
            };
            match &chunk.name {
                b"fmt " if chunk.len <= LONGEST_FORMAT => {
                    #[allow(clippy::cast_possible_truncation, reason = "at most `LONGEST_FORMAT`")]
                    let mut bytes = vec![0; chunk.len as usize];
                    file.read_exact(&mut bytes)?;
                    format = Some(bytes);
                }
                b"fmt " => return Err(LongWavError::Damaged("its format is too long")),
                b"ds64" => {
                    let mut lengths = [0; 16];
                    file.read_exact(&mut lengths)?;
                    long_len = lengths.last_chunk().map(|len| u64::from_le_bytes(*len));
                }
                b"data" => {
                    let format = format.ok_or(LongWavError::Damaged("its format is missing"))?;
                    let len = match long_len {
                        Some(long) if chunk.len == u64::from(UNTOLD) => long,
                        _ => chunk.len,
                    };
                    return Self::new(file, &format, chunk.start, len, file_len);
                }
                _ => {}
            }
            // Chunks begin at even offsets, in W64 at multiples of eight.
            let align = if is_w64 { 8 } else { 2 };
            at = chunk
                .start
                .checked_add(chunk.len)
                .and_then(|end| end.checked_next_multiple_of(align))
                .ok_or(LongWavError::Damaged("a length in it can't be"))?;
        }
        Err(LongWavError::Damaged("its sound is missing"))
    }

    fn new(
        file: Box<dyn MediaSource>,
        format: &[u8],
        start: u64,
        len: u64,
        file_len: u64,
    ) -> Result<Self, LongWavError> {
        let there = file_len.saturating_sub(start);
        // A file that was never finished has no length.
        let sound_len = if len == 0 { there } else { len };
        let [tag, block] = [0, 12].map(|at| {
            let bytes = format.get(at..).and_then(|rest| rest.first_chunk());
            bytes.map(|bytes| u16::from_le_bytes(*bytes))
        });
        let (Some(tag), Some(block)) = (tag, block) else {
            return Err(LongWavError::Damaged("its format is cut off"));
        };
        // Integers, floats, or the extensible form of these: frames have a fixed size.
        let promised_frames = match (tag, block) {
            (1 | 3 | 0xfffe, 1..) => Some(sound_len / u64::from(block)),
            _ => None,
        };
        let mut header = Vec::from(*b"RIFF\xff\xff\xff\xffWAVEfmt ");
        header.extend(u32::try_from(format.len()).unwrap_or(UNTOLD).to_le_bytes());
        header.extend(format);
        header.extend([0].iter().take(format.len() % 2));
        header.extend(*b"data");
        header.extend(u32::try_from(sound_len).unwrap_or(UNTOLD).to_le_bytes());
        Ok(Self {
            file,
            header,
            start,
            sound_len,
            there: there.min(sound_len),
            at: 0,
            promised_frames,
        })
    }

    fn header_len(&self) -> u64 {
        self.header.len() as u64
    }
}

fn riff_chunk(file: &mut dyn MediaSource, at: u64) -> io::Result<Chunk> {
    let mut bytes = [0; 8];
    file.read_exact(&mut bytes)?;
    let [a, b, c, d, len @ ..] = bytes;
    Ok(Chunk {
        name: [a, b, c, d],
        start: at + 8,
        len: u64::from(u32::from_le_bytes(len)),
    })
}

fn w64_chunk(file: &mut dyn MediaSource, at: u64) -> Result<Chunk, LongWavError> {
    let mut bytes = [0; 24];
    file.read_exact(&mut bytes)?;
    // The first four of a name's sixteen bytes are those of WAV; the length includes the name and itself.
    let [a, b, c, d, ..] = bytes;
    let len = bytes.last_chunk().map_or(0, |len| u64::from_le_bytes(*len));
    Ok(Chunk {
        name: [a, b, c, d],
        start: at + 24,
        len: len
            .checked_sub(24)
            .ok_or(LongWavError::Damaged("a length in it can't be"))?,
    })
}

impl Read for LongWav {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let count = if let Some(rest) = usize::try_from(self.at)
            .ok()
            .and_then(|at| self.header.get(at..))
            .filter(|rest| !rest.is_empty())
        {
            let count = rest.len().min(out.len());
            out[..count].copy_from_slice(&rest[..count]);
            count
        } else {
            let done = self.at - self.header_len();
            let left = self.there.saturating_sub(done);
            let count = out.len().min(usize::try_from(left).unwrap_or(usize::MAX));
            self.file.seek(SeekFrom::Start(self.start + done))?;
            self.file.read(&mut out[..count])?
        };
        self.at += count as u64;
        Ok(count)
    }
}

impl Seek for LongWav {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let at = match to {
            SeekFrom::Start(at) => Some(at),
            SeekFrom::Current(by) => self.at.checked_add_signed(by),
            SeekFrom::End(by) => (self.header_len() + self.there).checked_add_signed(by),
        };
        self.at = at.ok_or_else(|| io::Error::from(ErrorKind::InvalidInput))?;
        Ok(self.at)
    }
}

impl MediaSource for LongWav {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.header_len() + self.sound_len)
    }
}
