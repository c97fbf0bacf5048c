//! What is said of something that came in: what was changed to hold it, or why it was refused. It must not know formats.

use crate::rhythm::Groove;
use std::fmt;

/// A groove made from another format.
#[derive(Debug, Clone)]
pub struct Imported {
    /// The groove.
    pub groove: Groove,
    /// What the groove could not hold as it was, and what stands there instead; in the order of the source.
    pub remarks: Vec<Remark>,
}

/// Something that was changed or left out on the way in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remark {
    /// Where in the source: line and column, measure and part, or track and tick.
    pub place: String,
    /// What was found and what became of it.
    pub words: String,
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.words)
    }
}
