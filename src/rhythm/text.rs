//! The form of messages, the error of the text notations, and the characters that are never shown as they are.

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

/// Whether a character acts on a terminal or on the text around it: a control character (C0, DEL, C1), a line or paragraph separator,
/// or one that changes direction (Unicode 15, UAX #9, table 4) or has no width, except joiners.
pub(crate) fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{61c}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}')
        || matches!(c, '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}
