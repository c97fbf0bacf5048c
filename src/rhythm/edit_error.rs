//! Why a groove cannot be as asked. It must not know edits.

use super::bounds::OutOfBound;
use std::fmt;

/// Why a groove cannot be as asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum EditError {
    /// A number is out of its bound.
    Bound(OutOfBound),
    /// Two sections or two layers have one name.
    NameTaken(String),
    /// A layer has not one part per section.
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
    /// The edit names a layer, section, cell or beat that is not there.
    NoSuchPlace(&'static str),
    /// The edit would leave nothing, or has nothing to work on.
    Nothing(&'static str),
}

impl fmt::Display for EditError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bound(error) => error.fmt(f),
            Self::NameTaken(name) => write!(f, "the name '{name}' is taken"),
            Self::Parts { layer, found, sections } => {
                write!(f, "layer '{layer}' has {found} parts for {sections} sections")
            }
            Self::Misfit { layer, section, bar } => {
                write!(
                    f,
                    "layer '{layer}' does not fill bar {bar} of section '{section}', or a tuplet crosses its bar line"
                )
            }
            Self::CycleTooLong { cells, section } => {
                write!(f, "the cycle has {cells} cells, allowed is at most the section's {section}")
            }
            Self::NoSuchPlace(what) => write!(f, "there is no such {what}"),
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
