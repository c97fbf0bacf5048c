//! The error of imports and exports.

use crate::rhythm::count;
use std::fmt;

/// A file that cannot be imported, or a groove that a format cannot hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FormatError {
    /// The position in the source, such as line and column, measure and part, or track and tick; may be empty.
    pub place: String,
    pub message: String,
}

impl FormatError {
    pub(crate) fn new(place: impl Into<String>, message: impl Into<String>) -> Self {
        Self { place: place.into(), message: message.into() }
    }
}

impl fmt::Display for FormatError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.place.is_empty() { f.write_str(&self.message) } else { write!(f, "{}: {}", self.place, self.message) }
    }
}

impl std::error::Error for FormatError {}

/// `1 note was`, `3 notes were`.
pub(crate) fn count_were(n: usize, noun: &str) -> String {
    format!("{} {}", count(n, noun), if n == 1 { "was" } else { "were" })
}
