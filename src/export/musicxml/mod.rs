//! Notation as `MusicXML` 4.0, plain and compressed.
//!
//! Not restored by our own import, because the format cannot hold it: cycles (they come back written out), the grid of cells that
//! change nothing (the smallest one comes back), mute and solo, a layer's own sound and accent depth, the spelling of pitches, gain
//! above 0 dB, swing of tuplets and of cells other than eighths and sixteenths (words only), an attack without pitch of a voice that
//! has one (it comes back with that pitch), a tempo's beat that is no note value (given in quarters), and a groove without layers
//! (one silent layer comes back).

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
