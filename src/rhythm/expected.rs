//! The one wording of a message that says what was expected, and the error of the small notations that use it.

use std::fmt::{self, Display};

/// `expected {wanted}, found {found}`.
pub(crate) fn expected(wanted: impl Display, found: impl Display) -> String {
    format!("expected {wanted}, found {found}")
}

/// Why a text in one of the small notations (cells, lines of groups) cannot be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotationError {
    /// Byte offset in the text.
    pub at: usize,
    /// What would be valid there.
    pub wanted: String,
    /// What was found.
    pub found: String,
}

impl NotationError {
    pub(super) fn new(at: usize, wanted: impl Into<String>, found: impl Into<String>) -> Self {
        Self { at, wanted: wanted.into(), found: found.into() }
    }
}

impl Display for NotationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&expected(&self.wanted, &self.found))
    }
}
