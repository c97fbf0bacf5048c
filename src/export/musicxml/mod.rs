//! Exports notation as `MusicXML` 4.0, plain and compressed.
//!
//! The format cannot hold the following, so that an import does not restore it: cycles (they are written out), the division into cells
//! where nothing sounds (the smallest one is restored), mute and solo, a layer's sample and accent depth, the spelling of pitches,
//! gain above 0 dB, swing of tuplets and of cells other than eighths and sixteenths (text only), an attack without a pitch on a voice
//! that has one (it gets that pitch), a tempo's beat that is not a note value (given in quarters), and a groove without layers (one
//! silent layer is restored).

mod document;
mod pack;
mod xml;

use super::ExportInput;
use crate::describe::notes::NotationOptions;
use crate::notation::{FormatError, Score};

/// A partwise document in UTF-8.
///
/// # Errors
/// [`FormatError`] for a cell shorter than 1/1024, or a section that does not exist.
pub fn write(piece: &ExportInput<'_>, notation: &NotationOptions) -> Result<Vec<u8>, FormatError> {
    let score = Score::of(piece.groove, piece.section, notation.beams)?;
    Ok(document::document(piece, &score, notation))
}

/// A compressed document (`.mxl`).
///
/// # Errors
/// As [`write`].
pub fn write_mxl(piece: &ExportInput<'_>, notation: &NotationOptions) -> Result<Vec<u8>, FormatError> {
    pack::pack(&write(piece, notation)?)
}
