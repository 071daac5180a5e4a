//! The decoders: symphonia's own, and the reference decoder of Opus (RFC 6716), for which symphonia has none.

use std::sync::OnceLock;

use symphonia::core::codecs::registry::CodecRegistry;

/// All decoders. DEVELOPERS.md ("The decoders") gives the reasons for the choice.
pub fn codecs() -> &'static CodecRegistry {
    static CODECS: OnceLock<CodecRegistry> = OnceLock::new();
    CODECS.get_or_init(|| {
        let mut codecs = CodecRegistry::new();
        symphonia::default::register_enabled_codecs(&mut codecs);
        #[cfg(feature = "opus")]
        codecs.register_audio_decoder::<symphonia_adapter_libopus::OpusDecoder>();
        codecs
    })
}
