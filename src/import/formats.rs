//! The import formats, as a table for the command line and the editor.

use super::{Imported, midi, musicxml};
use crate::notation::FormatError;
use crate::rhythm::{Fraction, expected};

pub(crate) struct ImportFormat {
    /// File extensions.
    pub extensions: &'static [&'static str],
    /// For lists of formats.
    pub description: &'static str,
    /// One file of the format, with its article.
    pub noun: &'static str,
    /// Whether bytes begin as those of the format.
    pub matches: fn(&[u8]) -> bool,
    pub max_bytes: u64,
    /// Imports a file with a tolerance in ms, for formats whose times are rounded or played.
    pub read: fn(&[u8], Fraction) -> Result<Imported, FormatError>,
}

pub(crate) const FORMATS: &[ImportFormat] = &[
    ImportFormat {
        extensions: &["mid", "midi", "rmi"],
        description: "Standard MIDI Files (.mid)",
        noun: "a Standard MIDI File",
        matches: |bytes| bytes.starts_with(b"MThd") || bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"RMID"),
        max_bytes: midi::MAX_BYTES,
        read: midi::import_with_tolerance,
    },
    ImportFormat {
        extensions: &["musicxml", "mxl", "xml"],
        description: "MusicXML (.musicxml, .mxl)",
        noun: "a MusicXML score",
        matches: musicxml::is_score,
        max_bytes: musicxml::MAX_BYTES,
        read: |bytes, _| musicxml::read(bytes),
    },
];

pub(crate) fn extensions() -> impl Iterator<Item = &'static str> {
    FORMATS.iter().flat_map(|f| f.extensions.iter().copied())
}

/// The descriptions of all formats, separated by commas.
pub(crate) fn descriptions() -> String {
    FORMATS.iter().map(|f| f.description).collect::<Vec<_>>().join(", ")
}

/// Most bytes of a file in any format.
pub(crate) fn max_bytes() -> u64 {
    FORMATS.iter().map(|f| f.max_bytes).max().unwrap_or(0)
}

/// Imports a file. Its format is that of the extension, or else that of its first bytes. `stem` becomes the title of a groove
/// without one; `tolerance` is in ms, 0 to 100.
///
/// # Errors
/// [`FormatError`] if the format is unknown, the extension is that of another format, or the file is too long or invalid.
pub(crate) fn import(
    bytes: &[u8],
    extension: Option<&str>,
    stem: &str,
    tolerance: Fraction,
) -> Result<Imported, FormatError> {
    let error = |wanted: String, found: &str| FormatError::new("", expected(wanted, found));
    let has_extension =
        |f: &&ImportFormat| f.extensions.iter().any(|e| extension.is_some_and(|x| x.eq_ignore_ascii_case(e)));
    let by_content = FORMATS.iter().find(|f| (f.matches)(bytes));
    let format = FORMATS.iter().find(has_extension).or(by_content);
    let format = format.ok_or_else(|| error(descriptions(), "an unknown format"))?;
    if let (Some(other), Some(extension)) = (by_content.filter(|_| !(format.matches)(bytes)), extension) {
        let extensions: Vec<String> = other.extensions.iter().map(|e| format!(".{e}")).collect();
        let wanted = format!("a file name ending in {} for {}", extensions.join(", "), other.noun);
        return Err(error(wanted, &format!(".{extension}")));
    }
    if bytes.len() as u64 > format.max_bytes {
        return Err(error(format!("at most {} bytes", format.max_bytes), "more"));
    }
    let mut imported = (format.read)(bytes, tolerance)?;
    if imported.groove.title().is_empty() {
        let stem = if stem.is_empty() || stem == "-" { "untitled" } else { stem };
        imported.groove = imported.groove.titled(stem, imported.groove.note());
    }
    Ok(imported)
}
