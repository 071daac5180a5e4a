//! Names the coding of the sound in a container, when no decoder accepts it.
//!
//! Codes: ISO/IEC 14496-12 and the register of MP4 (`mp4ra.org`), the Core Audio Format specification, RFC 9559 (Matroska), and
//! the `WAVE_FORMAT_…` numbers (RFC 2361).

use std::io::{Read, SeekFrom};

use symphonia::core::io::MediaSource;

use crate::kind::Container;
use crate::origin::Origin;

/// Longest table of an MP4's tracks that is searched, bytes.
const LONGEST_TABLE: u64 = 16 << 20;
/// Length of other containers that is searched, bytes.
const HEAD: u64 = 64 << 10;
/// Most boxes of an MP4 skipped before the table.
const MOST_BOXES: usize = 10_000;

/// The coding of the sound.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Coding {
    /// Its name.
    Named(String),
    /// Encrypted (DRM).
    Locked,
    /// There is no sound track.
    NoSound,
    /// Not recognised.
    Unknown,
}

/// Finds the coding of the first sound track of a file.
pub fn coding(origin: &dyn Origin, container: Container) -> Coding {
    origin
        .open()
        .ok()
        .and_then(|mut file| match container {
            Container::Mp4 => match mp4(&mut *file)? {
                // In an MP4 or CAF it would have been decoded.
                Coding::Named(name) if name == "'alac'" => {
                    Some(Coding::Named("ALAC in QuickTime's wrapping".into()))
                }
                coding => Some(coding),
            },
            Container::Matroska => matroska(&head(&mut *file)?),
            Container::Caf => Some(named(head(&mut *file)?.get(28..32)?)),
            Container::Wav | Container::LongWav => wav(&head(&mut *file)?),
            Container::Plain => ogg(&head(&mut *file)?),
        })
        .unwrap_or(Coding::Unknown)
}

fn head(file: &mut dyn MediaSource) -> Option<Vec<u8>> {
    let mut head = Vec::new();
    file.take(HEAD).read_to_end(&mut head).ok()?;
    Some(head)
}

/// The name for a four-character code.
fn named(code: &[u8]) -> Coding {
    let name = match code {
        b"samr" => "AMR",
        b"sawb" | b"sawp" => "AMR wideband",
        b"ac-3" => "AC-3",
        b"ec-3" => "E-AC-3",
        b"ac-4" => "AC-4",
        b"dtsc" | b"dtse" | b"dtsh" | b"dtsl" => "DTS",
        // AAC that the decoder supports has been decoded.
        b"mp4a" | b"aac " => "AAC other than LC",
        b"aach" | b"aacp" => "HE-AAC",
        b"ima4" => "IMA ADPCM",
        b"QDM2" | b"QDMC" => "QDesign music",
        b"Qclp" | b"sqcp" => "QCELP",
        b"sevc" => "EVRC",
        b"agsm" => "GSM",
        b"ilbc" => "iLBC",
        b"Opus" | b"opus" => "Opus",
        b"fLaC" | b"flac" => "FLAC",
        b"drms" | b"enca" => return Coding::Locked,
        _ if code.iter().all(|byte| byte.is_ascii_graphic() || *byte == b' ') => {
            return Coding::Named(format!("'{}'", String::from_utf8_lossy(code).trim()));
        }
        _ => return Coding::Unknown,
    };
    Coding::Named(name.into())
}

/// Skips from box to box to the table of tracks.
fn mp4(file: &mut dyn MediaSource) -> Option<Coding> {
    let len = file.byte_len()?;
    let mut at = 0;
    for _ in 0..MOST_BOXES {
        let mut header = [0; 16];
        file.seek(SeekFrom::Start(at)).ok()?;
        file.read_exact(&mut header[..8]).ok()?;
        let mut size = u64::from(u32::from_be_bytes(*header.first_chunk()?));
        if size == 1 {
            file.read_exact(&mut header[8..]).ok()?;
            size = u64::from_be_bytes(*header.last_chunk()?);
        } else if size == 0 {
            size = len - at;
        }
        if &header[4..8] == b"moov" {
            let mut table = Vec::new();
            file.take(size.min(LONGEST_TABLE)).read_to_end(&mut table).ok()?;
            return Some(in_table(&table));
        }
        at = at.checked_add(size.max(8)).filter(|at| *at < len)?;
    }
    None
}

/// The sample description of the first sound track.
fn in_table(table: &[u8]) -> Coding {
    // `hdlr`, version, flags, four unused bytes, and the handler's type.
    let Some(sound) = table
        .windows(16)
        .position(|part| part.starts_with(b"hdlr") && part.ends_with(b"soun"))
    else {
        return Coding::NoSound;
    };
    let rest = &table[sound..];
    // `stsd`, version, flags, count, the first one's length, and its code.
    let entry = rest
        .windows(20)
        .find(|part| part.starts_with(b"stsd"))
        .and_then(|part| part.last_chunk::<4>());
    entry.map_or(Coding::Unknown, |code| named(code))
}

/// The codec id of the first track whose id begins with `A_`.
fn matroska(head: &[u8]) -> Option<Coding> {
    // The id of the element, its length, and the text.
    let found = head
        .windows(4)
        .position(|part| part[0] == 0x86 && part[1] & 0x80 != 0 && part[2..] == *b"A_");
    let Some(at) = found else {
        // There are only video tracks.
        let pictures = head.windows(4).any(|part| part[0] == 0x86 && part[2..] == *b"V_");
        return pictures.then_some(Coding::NoSound);
    };
    let len = usize::from(head[at + 1] & 0x7f);
    let text = head.get(at + 4..at + 2 + len)?;
    let text = text.iter().all(u8::is_ascii_graphic).then_some(text)?;
    Some(Coding::Named(
        String::from_utf8_lossy(text).replace(['/', '_'], " "),
    ))
}

/// The start of the first stream's first packet, after a page header with one length in it (RFC 3533).
fn ogg(head: &[u8]) -> Option<Coding> {
    let opus = head.starts_with(b"OggS") && head.get(28..)?.starts_with(b"OpusHead");
    opus.then(|| Coding::Named("Opus".into()))
}

fn wav(head: &[u8]) -> Option<Coding> {
    let at = head.windows(4).position(|part| part == b"fmt ")?;
    // After the chunk's length; W64's lengths and names are longer by sixteen bytes in all.
    let at = at + if head.starts_with(b"riff") { 24 } else { 8 };
    let number = u16::from_le_bytes(*head.get(at..)?.first_chunk()?);
    let name = match number {
        0x0031 => "GSM 6.10",
        0x0040 | 0x0045 | 0x0064 | 0x0065 => "G.726 or the like",
        0x0050 => "MPEG audio",
        0x0055 => "MP3",
        0x00ff | 0x1600 | 0x1601 => "AAC",
        0x0160..=0x0163 => "Windows Media",
        0x2000 => "AC-3",
        0x2001 => "DTS",
        // With these codings something else is wrong.
        0x0001 | 0x0003 | 0xfffe => return None,
        _ => return Some(Coding::Named(format!("WAV's number {number}"))),
    };
    Some(Coding::Named(name.into()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn is(name: &str) -> Coding {
        Coding::Named(name.into())
    }

    #[test]
    fn the_first_sound_track_names_its_coding() {
        let track = |handler: &[u8], code: &[u8]| {
            [
                b"hdlr\0\0\0\0\0\0\0\0",
                handler,
                b"....stsd\0\0\0\0\0\0\0\x01\0\0\0\x20",
                code,
            ]
            .concat()
        };
        let table = [track(b"vide", b"avc1"), track(b"soun", b"samr")].concat();
        assert_eq!(in_table(&table), is("AMR"));
        assert_eq!(in_table(&track(b"soun", b"zzzz")), is("'zzzz'"));
        assert_eq!(in_table(&track(b"vide", b"avc1")), Coding::NoSound);
        assert_eq!(in_table(&track(b"soun", b"ac-3")[..20]), Coding::Unknown);
    }

    #[test]
    fn matroska_and_wav_name_theirs() {
        assert_eq!(
            matroska(b"....\x86\x8fV_MPEG4/ISO/AVC..\x86\x85A_AC3..."),
            Some(is("AC3"))
        );
        assert_eq!(matroska(b"....\x86\x8fV_MPEG4/ISO/AVC.."), Some(Coding::NoSound));
        assert_eq!(matroska(b"...."), None);
        assert_eq!(wav(b"RIFF....WAVEfmt \x14\0\0\0\x31\0"), Some(is("GSM 6.10")));
        assert_eq!(
            wav(b"RIFF....WAVEfmt \x14\0\0\0\x34\x12"),
            Some(is("WAV's number 4660"))
        );
        assert_eq!(wav(b"RIFF....WAVEfmt \x14\0\0\0\x01\0"), None);
        assert_eq!(wav(b"RIFF....WAVEfmt "), None);
    }
}
