//! Why a groove is invalid or an edit impossible.

use super::bounds::OutOfBound;
use super::expected::expected;
use std::fmt;

/// Why a groove is invalid or an edit impossible.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum EditError {
    /// A number is out of bounds.
    Bound(OutOfBound),
    /// Two sections or two layers have one name.
    NameTaken(String),
    /// The number of parts of a layer is not the number of sections.
    Parts {
        /// The layer's name.
        layer: String,
        /// Parts found.
        found: usize,
        /// Sections there are.
        sections: usize,
    },
    /// A part does not fill its section, or a tuplet crosses a bar line.
    Misfit {
        /// The layer's name.
        layer: String,
        /// The section's name.
        section: String,
        /// Bar, from 1.
        bar: usize,
    },
    /// A cycle is longer than the section it repeats in.
    CycleTooLong {
        /// Cells of the cycle.
        cells: usize,
        /// Cells of the section.
        section: usize,
    },
    /// The edit names a layer, section, cell or beat that does not exist.
    NoSuchPlace(&'static str),
    /// The edit has nothing to work on or would leave nothing; the message.
    Nothing(&'static str),
}

impl fmt::Display for EditError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bound(error) => error.fmt(f),
            Self::NameTaken(name) => write!(f, "the name '{name}' is already in use"),
            Self::Parts { layer, found, sections } => {
                write!(f, "layer '{layer}': {}", expected(format!("{sections} parts, one for each section"), found))
            }
            Self::Misfit { layer, section, bar } => {
                write!(
                    f,
                    "layer '{layer}' does not fill bar {bar} of section '{section}', or a tuplet crosses its bar line"
                )
            }
            Self::CycleTooLong { cells, section } => {
                let wanted = format!("a cycle of at most {section} cells, the length of the section");
                f.write_str(&expected(wanted, cells))
            }
            Self::NoSuchPlace(what) => write!(f, "no such {what}"),
            Self::Nothing(what) => f.write_str(what),
        }
    }
}

impl std::error::Error for EditError {}

impl From<OutOfBound> for EditError {
    fn from(error: OutOfBound) -> Self {
        Self::Bound(error)
    }
}
