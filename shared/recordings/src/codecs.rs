//! The decoders: symphonia's own, and the reference decoder of Opus (RFC 6716), which symphonia has none of.

use std::sync::OnceLock;

use symphonia::core::codecs::registry::CodecRegistry;

/// All decoders there are. DEVELOPERS.md ("The decoders") says why these.
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
