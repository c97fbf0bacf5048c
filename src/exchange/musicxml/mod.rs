//! Notation as `MusicXML` 4.0, plain and compressed, out and in. It must not know paths or MIDI files.
//!
//! What the format cannot hold of a groove, so that its import differs: cycles (written out), cells that change nothing (the smallest
//! grid that serves is found), mute and solo, a
//! layer's own sound and accent depth, the letters a pitch is written with (it is a number, spelled by the score), gain above 0 dB, the swing of other cells than eighths and sixteenths (told in words
//! only) and of tuplets, an attack without pitch of a voice that has one of its own (it comes back with that pitch), a tempo's beat
//! that is no note value (told in quarters), and a groove without layers (one silent layer comes back).

mod packed;
pub mod read;
#[cfg(test)]
mod tests;
mod write;
mod xml;

pub use read::{read, written};

use super::Piece;
use super::finding::Refused;
use super::score::Score;
use super::writing::Writing;

/// Most bytes of a file, and of a document that is unpacked.
pub const LIMIT: u64 = 32 << 20;

/// The document as `MusicXML` 4.0, partwise, in UTF-8.
///
/// # Errors
/// [`Refused`] if a cell is shorter than the shortest note value, or the section asked for is not there.
pub fn write(piece: &Piece<'_>, writing: &Writing) -> Result<Vec<u8>, Refused> {
    let score = Score::of(piece.groove, piece.section, writing.beams)?;
    Ok(write::document(piece, &score, writing))
}

/// The same, compressed (`.mxl`).
///
/// # Errors
/// As [`write`].
pub fn write_mxl(piece: &Piece<'_>, writing: &Writing) -> Result<Vec<u8>, Refused> {
    packed::pack(&write(piece, writing)?)
}

/// Whether bytes begin as a score may: packed, as XML, or as UTF-16.
pub fn is_one(bytes: &[u8]) -> bool {
    let starts: [&[u8]; 6] = [b"PK\x03\x04", b"<", b"\xef\xbb\xbf<", b"\xfe\xff", b"\xff\xfe", b"\n<"];
    starts.iter().any(|s| bytes.starts_with(s))
}
