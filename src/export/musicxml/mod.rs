//! Notation as `MusicXML` 4.0, plain and compressed, out and in. It must not know paths or MIDI files.
//!
//! What the format cannot hold of a groove, so that its import differs: cycles (written out), cells that change nothing (the smallest
//! grid that serves is found), mute and solo, a
//! layer's own sound and accent depth, the letters a pitch is written with (it is a number, spelled by the score), gain above 0 dB, the swing of other cells than eighths and sixteenths (told in words
//! only) and of tuplets, an attack without pitch of a voice that has one of its own (it comes back with that pitch), a tempo's beat
//! that is no note value (told in quarters), and a groove without layers (one silent layer comes back).

mod document;
mod pack;
mod xml;

use super::ExportInput;
use super::annotations::NotationOptions;
use crate::notation::{FormatError, Score};

/// The document as `MusicXML` 4.0, partwise, in UTF-8.
///
/// # Errors
/// [`FormatError`] if a cell is shorter than the shortest note value, or the section asked for is not there.
pub fn write(piece: &ExportInput<'_>, writing: &NotationOptions) -> Result<Vec<u8>, FormatError> {
    let score = Score::of(piece.groove, piece.section, writing.beams)?;
    Ok(document::document(piece, &score, writing))
}

/// The same, compressed (`.mxl`).
///
/// # Errors
/// As [`write`].
pub fn write_mxl(piece: &ExportInput<'_>, writing: &NotationOptions) -> Result<Vec<u8>, FormatError> {
    pack::pack(&write(piece, writing)?)
}
