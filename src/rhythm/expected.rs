//! The one form in which a message says that something else was expected.

use std::fmt::Display;

/// `expected {wanted}, found {found}`.
pub fn expected(wanted: impl Display, found: impl Display) -> String {
    format!("expected {wanted}, found {found}")
}
