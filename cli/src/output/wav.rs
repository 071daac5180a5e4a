//! Writes WAV files: players and phones all accept 24 bits.

use sumproof_core::dsp::numbers::to_integer;

/// A stereo WAV file of 24 bits; samples beyond full scale are clipped.
///
/// # Panics
/// If the channels aren't equally long.
#[must_use]
pub fn pcm24(left: &[f32], right: &[f32], rate_hz: u32) -> Vec<u8> {
    assert_eq!(left.len(), right.len(), "both channels are equally long");
    let data_len = u32::try_from(left.len() * 6).unwrap_or(u32::MAX - 36);
    let mut bytes = Vec::with_capacity(44 + left.len() * 6);
    bytes.extend_from_slice(b"RIFF");
    bytes.extend_from_slice(&(36 + data_len).to_le_bytes());
    bytes.extend_from_slice(b"WAVEfmt ");
    bytes.extend_from_slice(&16u32.to_le_bytes());
    // PCM, two channels.
    bytes.extend_from_slice(&1u16.to_le_bytes());
    bytes.extend_from_slice(&2u16.to_le_bytes());
    bytes.extend_from_slice(&rate_hz.to_le_bytes());
    bytes.extend_from_slice(&(rate_hz * 6).to_le_bytes());
    bytes.extend_from_slice(&6u16.to_le_bytes());
    bytes.extend_from_slice(&24u16.to_le_bytes());
    bytes.extend_from_slice(b"data");
    bytes.extend_from_slice(&data_len.to_le_bytes());
    for (l, r) in left.iter().zip(right) {
        for x in [l, r] {
            let value = to_integer(
                (f64::from(*x) * 8_388_607.0)
                    .round()
                    .clamp(-8_388_608.0, 8_388_607.0),
            );
            bytes.extend_from_slice(&value.to_le_bytes()[..3]);
        }
    }
    bytes
}
