//! Exports notation as `MusicXML` 4.0, plain and compressed.
//!
//! The format cannot hold the following, so that an import does not restore it: cycles (they are written out), the division into cells
//! where nothing sounds (the smallest one is restored), mute and solo, a layer's sample and accent depth, the spelling of pitches,
//! gain above 0 dB, swing of tuplets and of values other than eighths and sixteenths (text only, with a remark), an attack without a
//! pitch on a voice that has one (it gets that pitch), a tempo's beat that is not a note value (given in quarters), and a groove without
//! layers (one silent layer is restored).

mod document;
mod pack;
mod xml;

use super::{ExportError, ExportInput};
use crate::describe::notes::NotationOptions;
pub use document::write;
use std::io::Write;

/// Writes a compressed document (`.mxl`); otherwise as [`write`].
///
/// # Errors
/// As [`write`].
pub fn write_mxl(
    piece: &ExportInput<'_>,
    notation: &NotationOptions,
    out: &mut dyn Write,
) -> Result<Vec<String>, ExportError> {
    let (packed, remarks) = pack::pack(|out| write(piece, notation, out))?;
    out.write_all(&packed)?;
    Ok(remarks)
}
