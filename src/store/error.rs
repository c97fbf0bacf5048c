//! Errors of reading a groove's file, with their messages.

use super::{FORMAT, LIMIT};
use crate::rhythm::bounds::{OutOfBound, TEMPO};
use crate::rhythm::{Voice, expected};
use std::fmt;

/// A position in a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Position {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

impl Position {
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

/// Why a file is not a groove: `FILE:LINE:COLUMN: expected ..., found ...`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoadError {
    /// The file's name, as given.
    pub file: String,
    /// Where in the text, if the text is at fault.
    pub place: Option<Position>,
    /// What is wrong.
    pub problem: Problem,
}

/// What is wrong with a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Problem {
    /// There is no such file.
    Missing,
    /// It is a directory.
    Directory,
    /// It is a pipe or a device.
    NotPlain,
    /// It cannot be read; the reason of the system.
    Unreadable(String),
    /// It has more than [`LIMIT`] bytes.
    TooLarge(u64),
    /// It is a file of another type: which, and a hint that follows the message.
    Foreign(&'static str, &'static str),
    /// It has a NUL byte.
    Nul,
    /// It has a byte that is not UTF-8.
    NotUtf8(u8),
    /// It is not TOML: the message of the parser, and what it expected if it says so.
    Syntax(String, Option<String>),
    /// An unknown format version.
    Format(i64),
    /// An unknown key, and the known ones.
    UnknownKey(String, &'static [&'static str]),
    /// A missing key, and an example of it.
    MissingKey(&'static str, &'static str),
    /// A value of the wrong type: its key, its type, the expected type.
    WrongType(String, &'static str, &'static str),
    /// A string of the wrong form: its key, the string, the expected form.
    Form(&'static str, String, String),
    /// A number out of bounds.
    Bound(OutOfBound),
    /// A tempo out of bounds, as written.
    Tempo(String),
    /// An unknown voice.
    UnknownVoice(String),
    /// A name used twice: `section` or `layer`, and the name.
    NameTaken(&'static str, String),
    /// A part in an unknown section, and the names of the sections.
    UnknownSection(String, Vec<String>),
    /// A second part of a layer in one section.
    PartTaken(String),
    /// Cells, a line of groups or a pitch that cannot be read; the message.
    Drawing(String),
    /// Two keys that exclude each other.
    Both(&'static str, &'static str),
    /// A key that requires another one: the key, the other.
    Without(&'static str, &'static str),
    /// Cells of the layer itself where it has parts or there are several sections: the key.
    CellsOfNoSection(&'static str),
    /// Groups that do not fill their section: their cells, the cells of the section.
    GroupSum(u64, usize),
    /// A cycle longer than its section: its cells, the cells of the section.
    CycleTooLong(usize, usize),
    /// A number of pitches other than the number of attacks: pitches, attacks.
    PitchCount(usize, usize),
    /// A control character in a name or title: the key.
    Control(&'static str),
    /// Any other error of the groove; the message.
    Invalid(String),
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&match self {
            Self::Missing => "no such file".into(),
            Self::Directory => expected("a file", "a directory"),
            Self::NotPlain => expected("a regular file", "a pipe or a device"),
            Self::Unreadable(reason) => format!("cannot read the file: {reason}"),
            Self::TooLarge(bytes) => expected(format!("at most {LIMIT} bytes"), bytes),
            Self::Foreign(found, hint) => format!("{}{hint}", expected("a groove", found)),
            Self::Nul => expected("text", "a NUL byte"),
            Self::NotUtf8(byte) => expected("UTF-8 text", format!("byte 0x{byte:02X}")),
            Self::Syntax(message, None) => format!("invalid TOML: {message}"),
            Self::Syntax(message, Some(wanted)) => format!("invalid TOML: {message}, expected {wanted}"),
            Self::Format(n) if *n > FORMAT => {
                expected(format!("format {FORMAT}"), format!("format {n}, written by a newer teeter"))
            }
            Self::Format(n) => expected(format!("format {FORMAT}"), format!("format {n}")),
            Self::UnknownKey(key, known) => unknown("key", key, known.iter()),
            Self::MissingKey(key, example) => format!("missing '{key}'; add a line like {example}"),
            Self::WrongType(key, found, wanted) => format!("'{key}': {}", expected(wanted, found)),
            Self::Form(key, text, form) => format!("'{key}': {}", expected(form, quoted(text))),
            Self::Bound(e) => e.to_string(),
            Self::Tempo(text) => format!("{}: {}", TEMPO.what, expected(TEMPO.range(), text)),
            Self::UnknownVoice(name) => unknown("voice", name, Voice::ALL.iter().map(|v| v.name())),
            Self::NameTaken(kind, name) => format!("another {kind} is named '{name}'; names must be unique"),
            Self::UnknownSection(name, names) => unknown("section", name, names.iter()),
            Self::PartTaken(name) => format!("the layer has another part in section '{name}'"),
            Self::Drawing(e) => e.clone(),
            Self::Both(one, other) => format!("'{other}' conflicts with '{one}'; use one of cells, groups and cycle"),
            Self::Without(key, other) => format!("'{key}' requires '{other}'"),
            Self::CellsOfNoSection(key) => {
                format!("'{key}' must be in a [[layer.part]], one for each section the layer plays in")
            }
            Self::GroupSum(found, cells) => {
                expected(format!("groups of {cells} cells in all, the length of the section"), found)
            }
            Self::CycleTooLong(found, cells) => {
                expected(format!("a cycle of at most {cells} cells, the length of the section"), found)
            }
            Self::PitchCount(found, attacks) => {
                expected(format!("{attacks} pitches, one for each attack ('.' for none)"), found)
            }
            Self::Control(key) => format!("'{key}': {}", expected("printable text", "a control character")),
            Self::Invalid(message) => message.clone(),
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
        match self.place {
            Some(Position { line, column }) => write!(f, "{}:{line}:{column}: {}", self.file, self.problem),
            None => write!(f, "{}: {}", self.file, self.problem),
        }
    }
}

impl std::error::Error for LoadError {}

/// A problem at a byte offset, not yet converted to line and column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct ParseError {
    pub(super) at: Option<usize>,
    pub(super) problem: Problem,
}

/// The message of a system error without its number.
pub(crate) fn reason(error: &std::io::Error) -> String {
    let words = error.to_string();
    words.split(" (os error").next().unwrap_or(&words).to_owned()
}
