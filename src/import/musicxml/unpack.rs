//! The compressed form: a zip archive with a container that names the score. It must not know what the score says.

use crate::notation::FormatError;
use quick_xml::Reader;
use quick_xml::events::Event;
use std::io::{Cursor, Read};
use zip::ZipArchive;
use zip::result::ZipError;

/// Unpacks the score that the container names; it may have at most `most` bytes.
pub(super) fn unpack(bytes: &[u8], most: usize) -> Result<Vec<u8>, FormatError> {
    // Its list of contents stands at the end: what the library says of a missing one is no help.
    let broken =
        |_| FormatError::new("", "no whole zip archive: it ends early or is damaged, allowed is a packed score (.mxl)");
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(broken)?;
    let container = entry(&mut zip, "META-INF/container.xml", 1 << 16)?;
    let container = String::from_utf8_lossy(&container);
    let root = root_of(&container).map_err(|words| FormatError::new("META-INF/container.xml", words))?;
    entry(&mut zip, &root, most)
}

fn entry(zip: &mut ZipArchive<Cursor<&[u8]>>, name: &str, most: usize) -> Result<Vec<u8>, FormatError> {
    let refuse = |words: String| FormatError::new(name, words);
    let file = zip.by_name(name).map_err(|e| match e {
        ZipError::FileNotFound => refuse("is not in the archive".into()),
        e => refuse(format!("not to be had from the archive: {e}")),
    })?;
    let mut bytes = Vec::new();
    // The size that the archive tells is not believed.
    file.take(most as u64 + 1).read_to_end(&mut bytes).map_err(|e| refuse(format!("cannot be unpacked: {e}")))?;
    if bytes.len() > most {
        return Err(refuse(format!("more than {most} bytes when unpacked, which is not read")));
    }
    if bytes.starts_with(b"PK\x03\x04") {
        return Err(refuse("an archive within the archive, expected a score".into()));
    }
    Ok(bytes)
}

/// The first root file that is a score: one without a kind, or of a kind that says so.
fn root_of(container: &str) -> Result<String, String> {
    let mut reader = Reader::from_str(container);
    loop {
        match reader.read_event().map_err(|e| format!("no well-formed XML: {e}"))? {
            Event::Start(e) | Event::Empty(e) if e.local_name().as_ref() == "rootfile" => {
                let value = |name: &str| {
                    let found = e.attributes().flatten().find(|a| a.key.as_ref() == name)?;
                    quick_xml::escape::unescape(&found.value).ok().map(std::borrow::Cow::into_owned)
                };
                let is_score =
                    value("media-type").is_none_or(|kind| kind.contains("musicxml") || kind.ends_with("/xml"));
                if let (Some(path), true) = (value("full-path"), is_score) {
                    return Ok(path);
                }
            }
            Event::DocType(kind) if kind.contains("<!ENTITY") => {
                return Err("the document type declares entities; they are not read".into());
            }
            Event::Eof => return Err("names no root file".into()),
            _ => {}
        }
    }
}
