//! Reads the compressed form: a zip archive with a container file that names the score.

use super::dom;
use crate::notation::FormatError;
use crate::rhythm::expected;
use std::io::{Cursor, Read};
use zip::ZipArchive;
use zip::result::ZipError;

const CONTAINER: &str = "META-INF/container.xml";

/// Unpacks the score that the container file names.
pub(super) fn unpack(bytes: &[u8], max_bytes: usize) -> Result<Vec<u8>, FormatError> {
    // The directory is at the end of an archive, so the library's message about a truncated one is misleading.
    let damaged = |_| FormatError::new("", expected("a complete .mxl archive", "a truncated or damaged one"));
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(damaged)?;
    let container = entry(&mut zip, CONTAINER, 1 << 16)?;
    let container = String::from_utf8_lossy(&container);
    let root = root_file(&container).map_err(|e| FormatError::new(CONTAINER, e.to_string()))?;
    entry(&mut zip, &root, max_bytes)
}

fn entry(zip: &mut ZipArchive<Cursor<&[u8]>>, name: &str, max_bytes: usize) -> Result<Vec<u8>, FormatError> {
    let error = |message: String| FormatError::new(name, message);
    let file = zip.by_name(name).map_err(|e| match e {
        ZipError::FileNotFound => error("not in the archive".into()),
        e => error(format!("cannot be read from the archive: {e}")),
    })?;
    let mut bytes = Vec::new();
    // The size stored in the archive is not trusted.
    file.take(max_bytes as u64 + 1).read_to_end(&mut bytes).map_err(|e| error(format!("cannot be unpacked: {e}")))?;
    if bytes.len() > max_bytes {
        return Err(error(expected(format!("at most {max_bytes} bytes when unpacked"), "more")));
    }
    if bytes.starts_with(b"PK\x03\x04") {
        return Err(error(expected("a score", "a nested zip archive")));
    }
    Ok(bytes)
}

/// The first root file without a media type or with that of a score.
fn root_file(container: &str) -> Result<String, FormatError> {
    let tree = dom::parse(container)?;
    let is_score = |kind: &str| kind.contains("musicxml") || kind.ends_with("/xml");
    let files = tree.root_element().descendants().filter(|e| e.tag_name().name() == "rootfile");
    let mut scores = files.filter(|e| e.attribute("media-type").is_none_or(is_score));
    let path = scores.find_map(|e| e.attribute("full-path"));
    path.map(str::to_owned).ok_or_else(|| FormatError::new("", expected("a root file", "none")))
}
