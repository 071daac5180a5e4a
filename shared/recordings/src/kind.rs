//! Identifies a file by its first bytes.
//!
//! Signatures: RFC 4867 (AMR), RFC 3533 (Ogg), RFC 9559 (Matroska), ISO/IEC 14496-12 (MP4), EBU Tech 3306 (RF64), ITU-R
//! BS.2088 (BW64), the Core Audio Format specification; the others as in `file(1)`.

/// Number of bytes examined.
pub const START: usize = 64;

/// The kind of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A supported container.
    Readable(Container),
    /// Sound that isn't supported, with its name.
    Sound(&'static str),
    /// Something else, with its name.
    Other(&'static str),
}

/// Supported containers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Container {
    /// WAV of up to 4 GB.
    Wav,
    /// WAV of any length: RF64, BW64 or W64.
    LongWav,
    /// MP4, M4A, MOV, 3GP.
    Mp4,
    /// Matroska and WebM.
    Matroska,
    /// Core Audio Format.
    Caf,
    /// AIFF, FLAC, Ogg, or a file that begins with an ID3 tag.
    Plain,
}

/// A signature, with its offset in bytes.
type Signature = (usize, &'static [u8]);

/// First bytes of W64 (Sony Wave64; the GUID of `riff`).
pub const W64: [u8; 16] = *b"riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00";

const READABLE: [(Signature, Container); 11] = [
    ((0, b"RF64"), Container::LongWav),
    ((0, b"BW64"), Container::LongWav),
    ((0, &W64), Container::LongWav),
    ((4, b"ftyp"), Container::Mp4),
    ((0, b"\x1a\x45\xdf\xa3"), Container::Matroska),
    ((0, b"caff"), Container::Caf),
    ((0, b"fLaC"), Container::Plain),
    ((0, b"ID3"), Container::Plain),
    ((8, b"WAVE"), Container::Wav),
    ((8, b"AIFF"), Container::Plain),
    ((8, b"AIFC"), Container::Plain),
];

const SOUND: [(Signature, &str); 24] = [
    ((0, b"#!AMR-WB"), "an AMR wideband recording"),
    ((0, b"#!AMR"), "an AMR recording"),
    ((0, b"\x30\x26\xb2\x75\x8e\x66\xcf\x11"), "a Windows Media file"),
    ((28, b"Speex   "), "a Speex recording"),
    ((8, b"AVI "), "an AVI video"),
    ((0, b"FLV\x01"), "a Flash video"),
    ((0, b"\x00\x00\x01\xba"), "an MPEG video"),
    ((0, b"wvpk"), "a WavPack file"),
    ((0, b"MAC "), "a Monkey's Audio file"),
    ((0, b"TTA1"), "a True Audio file"),
    ((0, b"MPCK"), "a Musepack file"),
    ((0, b"MP+"), "a Musepack file"),
    ((0, b"ADIF"), "an AAC stream of the ADIF kind"),
    ((0, b"\x0b\x77"), "an AC-3 stream"),
    ((0, b"\x7f\xfe\x80\x01"), "a DTS stream"),
    ((0, b"DSD "), "a DSD file"),
    ((0, b"FRM8"), "a DSD file"),
    ((0, b".snd"), "a Sun audio file"),
    ((8, b"8SVX"), "an Amiga sound"),
    ((0, b"#!SILK"), "a SILK recording"),
    ((1, b"#!SILK"), "a SILK recording"),
    // Old QuickTime, without the `ftyp` box.
    ((4, b"moov"), "a QuickTime file of the old kind"),
    ((4, b"mdat"), "a QuickTime file of the old kind"),
    ((4, b"wide"), "a QuickTime file of the old kind"),
];

const OTHER: [(Signature, &str); 12] = [
    ((0, b"MThd"), "a MIDI file: notes, no sound"),
    ((0, b"PK\x03\x04"), "an archive; unpack it"),
    ((0, b"7z\xbc\xaf"), "an archive; unpack it"),
    ((0, b"Rar!"), "an archive; unpack it"),
    ((0, b"\x1f\x8b"), "an archive; unpack it"),
    ((0, b"%PDF"), "a PDF"),
    ((0, b"\x89PNG"), "a picture"),
    ((0, b"\xff\xd8\xff"), "a picture"),
    ((0, b"GIF8"), "a picture"),
    ((8, b"WEBP"), "a picture"),
    ((0, b"<!DOCTYPE"), "a page of the web"),
    ((0, b"<html"), "a page of the web"),
];

/// The kind of a file that starts with these bytes; `None` if unknown.
pub fn kind(start: &[u8]) -> Option<Kind> {
    let has = |(at, signature): Signature| start.get(at..).is_some_and(|rest| rest.starts_with(signature));
    let chunked = start.starts_with(b"RIFF") || start.starts_with(b"FORM");
    if let Some((_, name)) = SOUND.iter().find(|(signature, _)| has(*signature)) {
        return Some(Kind::Sound(name));
    }
    if let Some((_, name)) = OTHER.iter().find(|(signature, _)| has(*signature)) {
        return Some(Kind::Other(name));
    }
    // A file truncated within its first bytes still counts as a damaged one of its kind.
    if chunked && start.len() < 12 {
        return Some(Kind::Readable(Container::Plain));
    }
    READABLE
        .iter()
        .find(|((at, signature), _)| has((*at, signature)) && (*at != 8 || chunked))
        .map(|(_, container)| Kind::Readable(*container))
        .or_else(|| {
            start
                .starts_with(b"OggS")
                .then_some(Kind::Readable(Container::Plain))
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_known_by_their_first_bytes() {
        let readable = |start: &[u8]| matches!(kind(start), Some(Kind::Readable(_)));
        assert!(readable(b"RIFF\0\0\0\0WAVEfmt "));
        assert!(readable(b"FORM\0\0\0\0AIFCCOMM"));
        assert!(readable(b"\0\0\0\x1cftypM4A \0\0\0\0"));
        assert!(readable(b"OggS\0\x02") && readable(b"fLaC") && readable(&W64));
        assert_eq!(
            kind(b"BW64\xff\xff\xff\xffWAVEds64"),
            Some(Kind::Readable(Container::LongWav))
        );
        assert_eq!(kind(b"#!AMR\n<"), Some(Kind::Sound("an AMR recording")));
        assert_eq!(
            kind(b"#!AMR-WB\n"),
            Some(Kind::Sound("an AMR wideband recording"))
        );
        assert_eq!(kind(b"RIFF\0\0\0\0AVI LIST"), Some(Kind::Sound("an AVI video")));
        assert_eq!(kind(b"%PDF-1.7"), Some(Kind::Other("a PDF")));
        for unknown in [
            b"".as_slice(),
            b"key = 1\n",
            b"FORM\0\0\0\0ILBM",
            b"\xff\xfb\x90\x00",
        ] {
            assert_eq!(kind(unknown), None, "{unknown:?}");
        }
    }
}
