//! The errors of reading a groove's file.

use super::{FORMAT, MAX_BYTES};
use crate::rhythm::bounds::{OutOfBound, TEMPO};
use crate::rhythm::{Voice, expected};
use std::fmt;
use std::io::{self, ErrorKind};

/// A position in a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TextPosition {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

impl TextPosition {
    /// The position of a byte offset, at most the end of the text.
    pub fn of(text: &str, at: usize) -> Self {
        let mut at = at.min(text.len());
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        let before = &text[..at];
        let start = before.rfind('\n').map_or(0, |n| n + 1);
        Self { line: before.matches('\n').count() + 1, column: before[start..].chars().count() + 1 }
    }
}

/// Why a file cannot be loaded: `FILE:LINE:COLUMN: expected ..., found ...`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoadError {
    /// The file's name, as given.
    pub file: String,
    /// The position in the text, if it is known.
    pub position: Option<TextPosition>,
    /// What is wrong.
    pub problem: Problem,
}

/// What is wrong with a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Problem {
    /// The file does not exist.
    Missing,
    /// The path is a directory.
    Directory,
    /// The path is a pipe or a device.
    NotRegular,
    /// The system's reason.
    Unreadable(String),
    /// The file has this many bytes, more than [`MAX_BYTES`].
    TooLarge(u64),
    /// A file of another type: its name, and a hint that follows the message.
    OtherType(&'static str, &'static str),
    /// A NUL byte.
    Nul,
    /// A byte that is not UTF-8.
    NotUtf8(u8),
    /// Invalid TOML; the parser's message.
    Syntax(String),
    /// An unknown format version.
    Format(i64),
    /// A key of a part, and the format it needs.
    NeedsFormat(&'static str, i64),
    /// An unknown key, and the known keys.
    UnknownKey(String, &'static [&'static str]),
    /// A missing key, and an example.
    MissingKey(&'static str, &'static str),
    /// A value of the wrong type: key, type, expected type.
    WrongType(&'static str, &'static str, &'static str),
    /// A value of the wrong form: key, value, expected form.
    Form(&'static str, String, String),
    /// A number out of bounds.
    Bound(OutOfBound),
    /// A tempo out of bounds, as written.
    Tempo(String),
    /// An unknown voice.
    UnknownVoice(String),
    /// A name used twice: `section` or `layer`, and the name.
    NameTaken(&'static str, String),
    /// A part in an unknown section, and the sections.
    UnknownSection(String, Vec<String>),
    /// A second part of a layer in one section.
    DuplicatePart(String),
    /// Invalid cells, groups or pitches; the message.
    Notation(String),
    /// A key, and another that excludes it.
    Conflict(&'static str, &'static str),
    /// A key without the other one it requires.
    Requires(&'static str, &'static str),
    /// A key that must be in a `[[layer.part]]`.
    CellsOutsidePart(&'static str),
    /// Groups that do not fill their section: their cells, the section's cells.
    GroupSum(u64, usize),
    /// A cycle longer than its section: its cells, the section's cells.
    CycleTooLong(usize, usize),
    /// Different numbers of pitches and attacks.
    PitchCount(usize, usize),
    /// A control character in the value of a key.
    ControlCharacter(&'static str),
    /// Any other error of the groove; the message.
    Invalid(String),
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&match self {
            Self::Missing => "no such file".into(),
            Self::Directory => expected("a file", "a folder"),
            Self::NotRegular => expected("a regular file", "a pipe or a device"),
            Self::Unreadable(reason) => format!("cannot read the file: {reason}"),
            Self::TooLarge(bytes) => expected(format!("at most {MAX_BYTES} bytes"), bytes),
            Self::OtherType(found, hint) => format!("{}{hint}", expected("a groove", found)),
            Self::Nul => expected("text", "a NUL byte"),
            Self::NotUtf8(byte) => expected("UTF-8 text", format!("byte 0x{byte:02X}")),
            Self::Syntax(message) => format!("invalid TOML: {message}"),
            Self::Format(n) => {
                let newer = if *n > FORMAT { ", written by a newer teeter" } else { "" };
                expected(format!("format 1 or {FORMAT}"), format!("format {n}{newer}"))
            }
            Self::NeedsFormat(key, format) => {
                format!("'{key}' in a [[layer.part]]: {}", expected(format!("format = {format}"), "format = 1"))
            }
            Self::UnknownKey(key, known) => unknown("key", key, known.iter()),
            Self::MissingKey(key, example) => format!("missing '{key}'; add a line like {example}"),
            Self::WrongType(key, found, wanted) => format!("'{key}': {}", expected(wanted, found)),
            Self::Form(key, text, form) => format!("'{key}': {}", expected(form, quoted(text))),
            Self::Bound(e) => e.to_string(),
            Self::Tempo(text) => format!("{}: {}", TEMPO.what, expected(TEMPO.range(), text)),
            Self::UnknownVoice(name) => unknown("voice", name, Voice::ALL.iter().map(|v| v.name())),
            Self::NameTaken(kind, name) => format!("another {kind} is named '{name}'; names must be unique"),
            Self::UnknownSection(name, names) => unknown("section", name, names.iter()),
            Self::DuplicatePart(name) => format!("the layer already has a part in section '{name}'"),
            Self::Notation(message) | Self::Invalid(message) => message.clone(),
            Self::Conflict(one, other) => {
                format!("'{other}' conflicts with '{one}'; use only one of cells, groups or cycle")
            }
            Self::Requires(key, other) => format!("'{key}' requires '{other}'"),
            Self::CellsOutsidePart(key) => {
                format!("'{key}' must be in a [[layer.part]], one for each section the layer plays in")
            }
            Self::GroupSum(found, cells) => {
                expected(format!("groups that add up to {cells} cells, the length of the section"), found)
            }
            Self::CycleTooLong(found, cells) => {
                expected(format!("a cycle of at most {cells} cells, the length of the section"), found)
            }
            Self::PitchCount(found, attacks) => {
                expected(format!("{attacks} pitches, one for each attack ('.' for none)"), found)
            }
            Self::ControlCharacter(key) => format!("'{key}': {}", expected("printable text", "a control character")),
        })
    }
}

fn quoted(text: &str) -> String {
    format!("'{}'", text.escape_debug())
}

fn unknown<T: fmt::Display>(kind: &str, name: &str, known: impl Iterator<Item = T>) -> String {
    let known: Vec<String> = known.map(|k| k.to_string()).collect();
    format!("unknown {kind} {}; expected one of: {}", quoted(name), known.join(", "))
}

impl fmt::Display for LoadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.position {
            Some(TextPosition { line, column }) => write!(f, "{}:{line}:{column}: {}", self.file, self.problem),
            None => write!(f, "{}: {}", self.file, self.problem),
        }
    }
}

impl std::error::Error for LoadError {}

/// A problem at a byte offset of the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct ParseError {
    pub(super) at: Option<usize>,
    pub(super) problem: Problem,
}

/// The reason of an error without the system's error number, which remains only for kinds of errors that are not listed here.
pub(crate) fn reason(error: &io::Error) -> String {
    if error.raw_os_error().is_none() {
        return error.to_string();
    }
    let text = match error.kind() {
        ErrorKind::NotFound => "no such file or directory",
        ErrorKind::PermissionDenied => "permission denied",
        ErrorKind::NotADirectory => "not a directory",
        ErrorKind::IsADirectory => "is a directory",
        ErrorKind::StorageFull => "no space left on the device",
        ErrorKind::QuotaExceeded => "disk quota exceeded",
        ErrorKind::FileTooLarge => "file too large",
        ErrorKind::InvalidFilename => "invalid file name",
        ErrorKind::ReadOnlyFilesystem => "read-only file system",
        ErrorKind::BrokenPipe => "broken pipe",
        _ => return error.to_string(),
    };
    text.to_owned()
}
