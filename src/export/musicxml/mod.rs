//! Exports notation as `MusicXML` 4.0, plain and compressed.
//!
//! The format cannot hold the following, so that an import does not restore it: cycles (they are written out), the division into cells
//! where nothing sounds (the smallest one is restored), mute and solo, a layer's sample and accent depth, the spelling of pitches,
//! gain above 0 dB, swing of tuplets and of values other than eighths and sixteenths (text only, with a remark), an attack without a
//! pitch on a voice that has one (it gets that pitch), a tempo's beat that is not a note value (given in quarters), and a groove without
//! layers (one silent layer is restored). Layers of drums that share a staff are restored next to each other.

mod document;
mod xml;

use super::{ExportError, ExportInput};
use crate::describe::notes::NotationOptions;
use crate::notation::FormatError;
pub use document::write;
use std::io::{Cursor, Write};
use xml::Xml;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

const MIME_TYPE: &str = "application/vnd.recordare.musicxml";
/// The score in a compressed document.
const SCORE_FILE: &str = "score.musicxml";

/// Writes a compressed document (`.mxl`), a zip archive with a container file that names the score; otherwise as [`write`].
///
/// # Errors
/// As [`write`].
pub fn write_mxl(
    piece: &ExportInput<'_>,
    notation: &NotationOptions,
    out: &mut dyn Write,
) -> Result<Vec<String>, ExportError> {
    let failed = |e: zip::result::ZipError| FormatError::new("", format!("the score cannot be compressed: {e}"));
    let mut xml = Xml::new(None);
    xml.open_all(&["container", "rootfiles"]);
    xml.empty_element("rootfile", &[("full-path", SCORE_FILE), ("media-type", &format!("{MIME_TYPE}+xml"))]);
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let options = |method| SimpleFileOptions::default().compression_method(method);
    let (stored, deflated) = (options(CompressionMethod::Stored), options(CompressionMethod::Deflated));
    // First and uncompressed, so that the first bytes of the archive identify it.
    zip.start_file("mimetype", stored).map_err(failed)?;
    zip.write_all(MIME_TYPE.as_bytes())?;
    zip.start_file("META-INF/container.xml", deflated).map_err(failed)?;
    xml.finish(&mut zip)?;
    zip.start_file(SCORE_FILE, deflated).map_err(failed)?;
    let remarks = write(piece, notation, &mut zip)?;
    out.write_all(&zip.finish().map_err(failed)?.into_inner())?;
    Ok(remarks)
}
