//! The delay that a Matroska or `WebM` file states for its first audio track.
//!
//! Elements are those of RFC 9559. The reader of the container rounds times to its ticks, usually 1 ms; the delay is stated in
//! nanoseconds.

use std::io::{self, Read, Seek};

/// Bytes from the beginning of a file within which the tracks are described.
const SEARCHED_BYTES: u64 = 1 << 20;

const EBML: u64 = 0x1A45_DFA3;
const SEGMENT: u64 = 0x1853_8067;
const TRACKS: u64 = 0x1654_AE6B;
const TRACK_ENTRY: u64 = 0xAE;
const TRACK_TYPE: u64 = 0x83;
const CODEC_DELAY: u64 = 0x56AA;
/// The type of an audio track.
const AUDIO: u64 = 2;

/// Nanoseconds of the first audio track that come before its sound. The source is left at its beginning.
pub(super) fn codec_delay(source: &mut (impl Read + Seek)) -> io::Result<Option<u64>> {
    let mut bytes = Vec::new();
    source.by_ref().take(SEARCHED_BYTES).read_to_end(&mut bytes)?;
    source.rewind()?;
    if elements(&bytes).next().is_none_or(|(id, _)| id != EBML) {
        return Ok(None);
    }
    let segment = elements(&bytes).find(|(id, _)| *id == SEGMENT).map_or(&[][..], |(_, content)| content);
    let tracks = elements(segment).find(|(id, _)| *id == TRACKS).map_or(&[][..], |(_, content)| content);
    let value = |entry, wanted| elements(entry).find(|(id, _)| *id == wanted).map(|(_, bytes)| unsigned(bytes));
    let audio = elements(tracks)
        .filter(|(id, _)| *id == TRACK_ENTRY)
        .find(|(_, entry)| value(entry, TRACK_TYPE) == Some(AUDIO));
    Ok(audio.and_then(|(_, entry)| value(entry, CODEC_DELAY)))
}

/// The elements within the content of an element. One that is longer than what is there, or of unknown length, ends with it.
fn elements(content: &[u8]) -> impl Iterator<Item = (u64, &[u8])> {
    let mut rest = content;
    std::iter::from_fn(move || {
        let (id, length) = number(rest, false)?;
        let (size, width) = number(rest.get(length..)?, true)?;
        let inner = rest.get(length + width..)?;
        let (this, after) = inner.split_at(inner.len().min(usize::try_from(size).unwrap_or(usize::MAX)));
        rest = after;
        Some((id, this))
    })
}

/// A number of variable width and that width: the leading zeros of the first byte count the bytes that follow it.
fn number(bytes: &[u8], unmarked: bool) -> Option<(u64, usize)> {
    let first = *bytes.first()?;
    let width = first.leading_zeros() as usize + 1;
    let value = unsigned(bytes.get(..width).filter(|_| width <= 8)?);
    let mask = (1_u64 << (7 * width)) - 1;
    Some((if unmarked { value & mask } else { value }, width))
}

fn unsigned(bytes: &[u8]) -> u64 {
    bytes.iter().take(8).fold(0, |value, byte| value << 8 | u64::from(*byte))
}
