//! The errors of grooves and edits.

use super::bounds::OutOfBound;
use super::text::expected;
use std::fmt;

/// Why a groove is invalid or an edit impossible.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum EditError {
    Bound(OutOfBound),
    /// Two sections or two layers have the same name.
    NameTaken(String),
    /// A layer's number of parts is not the number of sections.
    PartCount {
        layer: String,
        found: usize,
        sections: usize,
    },
    /// A part does not fill its section, or a tuplet crosses a bar line; the bar counts from 1.
    BarLength {
        layer: String,
        section: String,
        bar: usize,
    },
    /// A cycle has more cells than its section.
    CycleTooLong {
        cells: usize,
        section: usize,
    },
    /// An attack or a cell of a tuplet falls between the cells of a beat; bar and beat count from 1.
    BetweenCells {
        bar: usize,
        beat: usize,
    },
    /// Cells cannot be pasted into a cycle as they are.
    PasteIntoCycle,
    /// A layer, section, cell or beat does not exist.
    NoSuchPlace(&'static str),
    /// An anchor is not later in the recording than the one before it; the bar counts from 1.
    AnchorOrder {
        bar: usize,
    },
    /// The edit is not possible here; the message.
    Impossible(&'static str),
}

impl fmt::Display for EditError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bound(error) => error.fmt(f),
            Self::NameTaken(name) => write!(f, "the name '{name}' is already in use"),
            Self::PartCount { layer, found, sections } => {
                write!(f, "layer '{layer}': {}", expected(format!("{sections} parts, one for each section"), found))
            }
            Self::BarLength { layer, section, bar } => {
                let words = "or a tuplet crosses its bar line";
                write!(f, "layer '{layer}' does not fill bar {bar} of section '{section}', {words}")
            }
            Self::CycleTooLong { cells, section } => {
                let wanted = format!("a cycle of at most {section} cells, the length of the section");
                f.write_str(&expected(wanted, cells))
            }
            Self::BetweenCells { bar, beat } => {
                write!(f, "attacks would fall between the cells of bar {bar}, beat {beat}")
            }
            Self::PasteIntoCycle => f.write_str("the layer repeats a cycle here; write it out first"),
            Self::NoSuchPlace(what) => write!(f, "no such {what}"),
            Self::AnchorOrder { bar } => {
                write!(f, "the anchor at bar {bar} must be later in the recording than the one before it")
            }
            Self::Impossible(what) => f.write_str(what),
        }
    }
}

impl std::error::Error for EditError {}

impl From<OutOfBound> for EditError {
    fn from(error: OutOfBound) -> Self {
        Self::Bound(error)
    }
}
