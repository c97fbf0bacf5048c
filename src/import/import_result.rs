//! An imported groove and its warnings.

use crate::rhythm::Groove;
use std::fmt;

/// A groove made from another format.
#[derive(Debug, Clone)]
pub struct Imported {
    /// The groove.
    pub groove: Groove,
    /// What the groove could not hold as it was, and what stands there instead; in the order of the source.
    pub warnings: Vec<ImportWarning>,
}

/// Something that was changed or left out on the way in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ImportWarning {
    /// Where in the source: line and column, measure and part, or track and tick.
    pub place: String,
    /// What was found and what became of it.
    pub message: String,
}

impl fmt::Display for ImportWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.message)
    }
}
