//! The common form of error messages, and the error of the text notations.

use std::fmt::{self, Display};

/// `expected {wanted}, found {found}`.
pub(crate) fn expected(wanted: impl Display, found: impl Display) -> String {
    format!("expected {wanted}, found {found}")
}

/// `1 cell`, `3 cells`.
pub(crate) fn count(n: usize, noun: &str) -> String {
    if n == 1 { format!("1 {noun}") } else { format!("{n} {noun}s") }
}

/// Why cells or a line of groups cannot be parsed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotationError {
    /// Byte offset in the text.
    pub(crate) at: usize,
    /// What is valid there.
    pub(crate) wanted: String,
    /// What was found.
    pub(crate) found: String,
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
