//! What may be wrong with a groove's file, and the words for it. It must not know how a file is read.

use super::{FORMAT, LIMIT};
use crate::rhythm::Voice;
use crate::rhythm::bounds::{OutOfBound, TEMPO};
use std::fmt;

/// A place in a text: line and column, both from 1, columns in characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Position {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

impl Position {
    /// The place of a byte offset; beyond the end it is the end.
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

/// Why a file is not a groove: `FILE:LINE:COLUMN: found ..., allowed is ...`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoadError {
    /// The file's name, as it was given.
    pub file: String,
    /// Where in the file, if it is a matter of its text.
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
    /// It is a pipe, a device or the like.
    NotPlain,
    /// The system will not give it; its reason.
    Unreadable(String),
    /// It has more than [`LIMIT`] bytes.
    TooLarge(u64),
    /// It is a file of another kind: which, and what is allowed in its stead.
    Foreign(&'static str, &'static str),
    /// It has a NUL byte.
    Nul,
    /// It has a byte that is not UTF-8.
    NotUtf8(u8),
    /// It is not TOML: the parser's words, and what it expected if it says so.
    Syntax(String, Option<String>),
    /// Its format is newer than [`FORMAT`], or not a version at all.
    Format(i64),
    /// A key that is not known here, and those that are.
    UnknownKey(String, &'static [&'static str]),
    /// A key that must be there is not; an example of it.
    MissingKey(&'static str, &'static str),
    /// A value of the wrong type: its key, what it is, what it should be.
    WrongType(String, &'static str, &'static str),
    /// A text that has not the form its key asks for: its key, the text, the form.
    Form(&'static str, String, String),
    /// A number out of its bound.
    Bound(OutOfBound),
    /// A tempo out of its bound, as written.
    Tempo(String),
    /// A voice there is not.
    UnknownVoice(String),
    /// Two of a kind have one name: `section` or `layer`, and the name.
    NameTaken(&'static str, String),
    /// A part of a section there is not, and the names there are.
    UnknownSection(String, Vec<String>),
    /// A second part of a layer in one section.
    PartTaken(String),
    /// A drawing, a line of groups or a pitch that cannot be read: what was found, what is allowed.
    Drawing(String, String),
    /// Two keys that say the same in two ways.
    Both(&'static str, &'static str),
    /// A key that needs another: the key, the other.
    Without(&'static str, &'static str),
    /// A layer's own cells where there are several sections, or parts beside them: the key.
    CellsOfNoSection(&'static str),
    /// Groups that do not fill their section: cells they have, cells it has.
    GroupSum(u64, usize),
    /// A cycle longer than its section: cells it has, cells the section has.
    CycleTooLong(usize, usize),
    /// Pitches that are not as many as the attacks: pitches, attacks.
    PitchCount(usize, usize),
    /// A control character in a name or title: the key.
    Control(&'static str),
    /// Anything else the groove refuses.
    Refused(String),
}

impl Problem {
    /// What was found.
    pub fn found(&self) -> String {
        match self {
            Self::Missing => "no such file".into(),
            Self::Directory => "a directory".into(),
            Self::NotPlain => "a pipe, a device or the like".into(),
            Self::Unreadable(reason) => format!("a file that cannot be read ({reason})"),
            Self::TooLarge(bytes) => format!("{bytes} bytes"),
            Self::Foreign(found, _) => (*found).into(),
            Self::Nul => "a NUL byte".into(),
            Self::NotUtf8(byte) => format!("the byte 0x{byte:02X}, which is not UTF-8"),
            Self::Syntax(words, _) => format!("text that is not TOML ({words})"),
            Self::Format(n) if *n > FORMAT => format!("format {n}, made by a newer teeter"),
            Self::Format(n) => format!("format {n}"),
            Self::UnknownKey(key, _) => format!("the key '{}'", key.escape_debug()),
            Self::MissingKey(key, _) => format!("no '{key}'"),
            Self::WrongType(key, found, _) => format!("{found} for '{key}'"),
            Self::Form(key, text, _) => format!("'{}' for '{key}'", text.escape_debug()),
            Self::Bound(e) => format!("{} as {}", e.value, e.bound.what),
            Self::Tempo(text) => format!("a tempo of {text}"),
            Self::UnknownVoice(name) => format!("the voice '{}'", name.escape_debug()),
            Self::NameTaken(kind, name) => format!("a second {kind} named '{name}'"),
            Self::UnknownSection(name, _) => format!("the section '{}'", name.escape_debug()),
            Self::PartTaken(name) => format!("a second part in section '{name}'"),
            Self::Drawing(found, _) => found.clone(),
            Self::Both(one, other) => format!("'{other}' beside '{one}'"),
            Self::Without(key, other) => format!("'{key}' without '{other}'"),
            Self::CellsOfNoSection(key) => format!("'{key}' outside a [[layer.part]]"),
            Self::GroupSum(found, _) => format!("groups of {found} cells"),
            Self::CycleTooLong(found, _) => format!("a cycle of {found} cells"),
            Self::PitchCount(found, _) => format!("{found} pitches"),
            Self::Control(key) => format!("a control character in '{key}'"),
            Self::Refused(words) => words.clone(),
        }
    }

    /// What is allowed in its stead.
    pub fn allowed(&self) -> String {
        match self {
            Self::Missing => "an existing file".into(),
            Self::Directory | Self::NotPlain => "a plain file".into(),
            Self::Unreadable(_) => "a file you may read".into(),
            Self::TooLarge(_) => format!("at most {LIMIT} bytes"),
            Self::NotUtf8(_) => "UTF-8 text".into(),
            Self::Syntax(_, Some(expected)) => expected.clone(),
            Self::Syntax(words, None) if words == "duplicate key" => "each key once".into(),
            Self::Syntax(_, None) => "TOML".into(),
            Self::Format(_) => format!("format {FORMAT}"),
            Self::UnknownKey(_, known) => known.join(", "),
            Self::MissingKey(_, example) => format!("a line like {example}"),
            Self::Foreign(_, allowed) | Self::WrongType(_, _, allowed) => (*allowed).into(),
            Self::Form(_, _, form) => form.clone(),
            Self::Bound(e) => e.bound.allowed(),
            Self::Tempo(_) => TEMPO.allowed(),
            Self::UnknownVoice(_) => Voice::ALL.iter().map(|v| v.name()).collect::<Vec<_>>().join(", "),
            Self::NameTaken(kind, _) => format!("a name of its own for each {kind}"),
            Self::UnknownSection(_, names) => names.join(", "),
            Self::PartTaken(_) => "one part of a layer in each section".into(),
            Self::Drawing(_, allowed) => allowed.clone(),
            Self::Both(..) => "one of cells, groups and cycle".into(),
            Self::Without(key, other) => format!("'{key}' together with '{other}'"),
            Self::CellsOfNoSection(_) => "a [[layer.part]] for each section it plays in".into(),
            Self::GroupSum(_, cells) => format!("{cells} cells, the length of the section"),
            Self::CycleTooLong(_, cells) => format!("at most {cells} cells, the length of the section"),
            Self::PitchCount(_, attacks) => format!("{attacks}, one for each attack, '.' for none"),
            Self::Nul | Self::Control(_) => "printable text".into(),
            Self::Refused(_) => "a groove within its bounds".into(),
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "found {}, allowed is {}", self.found(), self.allowed())
    }
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

/// A problem at a byte offset, before it is known as line and column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct ParseError {
    pub(super) at: Option<usize>,
    pub(super) problem: Problem,
}

/// The system's reason without the number it appends.
pub fn reason(error: &std::io::Error) -> String {
    let words = error.to_string();
    words.split(" (os error").next().unwrap_or(&words).to_owned()
}
