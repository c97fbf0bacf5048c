//! Writes a compressed document: a zip archive with a container file that names the score.

use super::xml::Xml;
use crate::notation::FormatError;
use std::io::{Cursor, Write};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

const MIME: &str = "application/vnd.recordare.musicxml";
const ROOT: &str = "score.musicxml";

pub(super) fn pack(document: &[u8]) -> Result<Vec<u8>, FormatError> {
    let failed = |e: &dyn std::fmt::Display| FormatError::new("", format!("the score cannot be packed: {e}"));
    let mut xml = Xml::new(None);
    xml.open_all(&["container", "rootfiles"]);
    xml.empty("rootfile", &[("full-path", ROOT), ("media-type", "application/vnd.recordare.musicxml+xml")]);
    let container = xml.finish();
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    let deflated = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    // First and uncompressed, so that the first bytes of the archive identify it.
    for (name, bytes, options) in [
        ("mimetype", MIME.as_bytes(), stored),
        ("META-INF/container.xml", &container[..], deflated),
        (ROOT, document, deflated),
    ] {
        zip.start_file(name, options).map_err(|e| failed(&e))?;
        zip.write_all(bytes).map_err(|e| failed(&e))?;
    }
    Ok(zip.finish().map_err(|e| failed(&e))?.into_inner())
}
