//! The import formats, as a table for the command line and the editor.

use super::{Imported, midi, musicxml};
use crate::notation::FormatError;
use crate::rhythm::{Fraction, expected};

/// A format grooves are made from.
pub(crate) struct Source {
    /// Endings of its files, without a dot.
    pub endings: &'static [&'static str],
    /// What it is.
    pub words: &'static str,
    /// One of its files.
    pub one: &'static str,
    /// Whether bytes begin as it does.
    pub begins: fn(&[u8]) -> bool,
    /// Most bytes of a file.
    pub limit: u64,
    /// Makes a groove, with a tolerance in ms for formats whose times are rounded or played.
    pub read: fn(&[u8], Fraction) -> Result<Imported, FormatError>,
}

/// Every format that grooves are made from.
pub(crate) const SOURCES: &[Source] = &[
    Source {
        endings: &["mid", "midi", "rmi"],
        words: "Standard MIDI Files (.mid)",
        one: "a Standard MIDI File",
        begins: |bytes| bytes.starts_with(b"MThd") || bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"RMID"),
        limit: midi::LIMIT,
        read: midi::import_with,
    },
    Source {
        endings: &["musicxml", "mxl", "xml"],
        words: "MusicXML (.musicxml, .mxl)",
        one: "a MusicXML score",
        begins: musicxml::is_one,
        limit: musicxml::LIMIT,
        read: |bytes, _| musicxml::read(bytes),
    },
];

/// What grooves can be made from, in words.
pub(crate) fn sources() -> String {
    SOURCES.iter().map(|f| f.words).collect::<Vec<_>>().join(", ")
}

/// Most bytes of anything that is read.
pub(crate) fn longest() -> u64 {
    SOURCES.iter().map(|f| f.limit).max().unwrap_or(0)
}

/// Makes a groove of a file's bytes. Its format is that of the file's ending, or else the one it begins as; `stem` becomes its title
/// where it has none of its own; `tolerance` in ms, 0 to 100, is for formats whose times are rounded or played.
///
/// # Errors
/// [`FormatError`] where no format is known here, the file is too long or is not what it says it is.
pub(crate) fn bring(
    bytes: &[u8],
    ending: Option<&str>,
    stem: &str,
    tolerance: Fraction,
) -> Result<Imported, FormatError> {
    let named = |f: &&Source| ending.is_some_and(|e| f.endings.iter().any(|n| e.eq_ignore_ascii_case(n)));
    let format = SOURCES.iter().find(named).or_else(|| SOURCES.iter().find(|f| (f.begins)(bytes)));
    let unknown = || FormatError::new("", expected(sources(), "an unknown format"));
    let format = format.ok_or_else(unknown)?;
    let other = SOURCES.iter().find(|f| (f.begins)(bytes)).filter(|_| !(format.begins)(bytes));
    if let (Some(other), Some(ending)) = (other, ending) {
        let own: Vec<String> = other.endings.iter().map(|e| format!(".{e}")).collect();
        let words =
            expected(format!("a file name ending in {} for {}", own.join(", "), other.one), format!(".{ending}"));
        return Err(FormatError::new("", words));
    }
    if bytes.len() as u64 > format.limit {
        let words = expected(format!("at most {} bytes", format.limit), "more");
        return Err(FormatError::new("", words));
    }
    let mut made = (format.read)(bytes, tolerance)?;
    if made.groove.title().is_empty() {
        let stem = if stem.is_empty() || stem == "-" { "untitled" } else { stem };
        made.groove = made.groove.titled(stem, made.groove.note());
    }
    Ok(made)
}
