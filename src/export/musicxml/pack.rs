//! Writes a compressed document: a zip archive with a container file that names the score.

use super::xml::Xml;
use crate::export::ExportError;
use crate::notation::FormatError;
use std::io::{Cursor, Write};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

const MIME: &str = "application/vnd.recordare.musicxml";
const ROOT: &str = "score.musicxml";

/// Packs the document that `write` writes, and also returns what that returns.
pub(super) fn pack<T>(
    write: impl FnOnce(&mut dyn Write) -> Result<T, ExportError>,
) -> Result<(Vec<u8>, T), ExportError> {
    let failed = |e: zip::result::ZipError| FormatError::new("", format!("the score cannot be packed: {e}"));
    let mut xml = Xml::new(None);
    xml.open_all(&["container", "rootfiles"]);
    xml.empty_element("rootfile", &[("full-path", ROOT), ("media-type", "application/vnd.recordare.musicxml+xml")]);
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    let deflated = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    // First and uncompressed, so that the first bytes of the archive identify it.
    zip.start_file("mimetype", stored).map_err(failed)?;
    zip.write_all(MIME.as_bytes())?;
    zip.start_file("META-INF/container.xml", deflated).map_err(failed)?;
    xml.finish(&mut zip)?;
    zip.start_file(ROOT, deflated).map_err(failed)?;
    let result = write(&mut zip)?;
    Ok((zip.finish().map_err(failed)?.into_inner(), result))
}
