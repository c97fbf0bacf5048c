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

/// Why something could not be brought in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// Where in the source: line and column, measure and part, track and tick, or byte; empty if it is the whole of it.
    pub place: String,
    /// What was found and what is allowed.
    pub words: String,
}

impl Refused {
    /// A refusal at a place.
    pub fn new(place: impl Into<String>, words: impl Into<String>) -> Self {
        Self { place: place.into(), words: words.into() }
    }
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.words)
    }
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.place.is_empty() { f.write_str(&self.words) } else { write!(f, "{}: {}", self.place, self.words) }
    }
}

impl std::error::Error for Refused {}

/// `1 note`, `3 notes`.
pub(in crate::exchange) fn count(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

/// `1 note was`, `3 notes were`.
pub(in crate::exchange) fn were(n: usize, what: &str) -> String {
    format!("{} {}", count(n, what), if n == 1 { "was" } else { "were" })
}
