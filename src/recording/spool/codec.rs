//! Names of codecs for messages.

use symphonia::core::codecs::audio::AudioCodecId;
use symphonia::core::codecs::audio::well_known as id;

/// The name of a codec.
pub(super) fn name(codec: AudioCodecId) -> Option<String> {
    let name = match codec {
        id::CODEC_ID_OPUS => "Opus",
        id::CODEC_ID_AC3 => "AC-3",
        id::CODEC_ID_EAC3 => "E-AC-3",
        id::CODEC_ID_AC4 => "AC-4",
        id::CODEC_ID_DCA => "DTS",
        id::CODEC_ID_TRUEHD => "TrueHD",
        id::CODEC_ID_WMA => "WMA",
        id::CODEC_ID_WAVPACK => "WavPack",
        id::CODEC_ID_MONKEYS_AUDIO => "Monkey's Audio",
        id::CODEC_ID_MUSEPACK => "Musepack",
        id::CODEC_ID_SPEEX => "Speex",
        id::CODEC_ID_TTA => "TTA",
        // The decoder refuses all but one or two channels of the low-complexity profile.
        id::CODEC_ID_AAC => "AAC in a profile other than LC or with more than two channels",
        _ => return None,
    };
    Some(name.into())
}

/// The name of the codec of a sample entry of an MPEG-4 file (ISO/IEC 14496-12) that no decoder knows.
pub(super) fn name_of_sample_entry(entry: [u8; 4]) -> Option<String> {
    let name = match &entry {
        b"Opus" => "Opus",
        b"ac-3" => "AC-3",
        b"ec-3" => "E-AC-3",
        b"ac-4" => "AC-4",
        b"dtsc" | b"dtsh" | b"dtsl" | b"dtse" => "DTS",
        b"samr" | b"sawb" => "AMR",
        b"QDM2" | b"QDMC" => "QDesign Music",
        _ => return entry.iter().all(u8::is_ascii_graphic).then(|| String::from_utf8_lossy(&entry).into_owned()),
    };
    Some(name.into())
}
