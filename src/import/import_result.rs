//! An imported groove and the warnings of its import.

use crate::rhythm::Groove;
use std::fmt;

/// Most warnings kept; the others are counted.
const MAX_WARNINGS: usize = 200;

/// A groove made from another format.
#[derive(Debug, Clone)]
pub struct Imported {
    /// The groove.
    pub groove: Groove,
    /// What the groove could not hold unchanged, in the order of the source.
    pub warnings: Vec<ImportWarning>,
}

/// Something that was changed or left out.
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

/// Collects the warnings of an import.
#[derive(Debug, Default)]
pub(super) struct Warnings {
    kept: Vec<ImportWarning>,
    omitted: usize,
}

impl Warnings {
    pub(super) fn add(&mut self, place: impl Into<String>, message: impl Into<String>) {
        if self.kept.len() < MAX_WARNINGS {
            self.kept.push(ImportWarning { place: place.into(), message: message.into() });
        } else {
            self.omitted += 1;
        }
    }

    pub(super) fn finish(mut self) -> Vec<ImportWarning> {
        if self.omitted > 0 {
            let message = format!("{} more warnings", self.omitted);
            self.kept.push(ImportWarning { place: "file".into(), message });
        }
        self.kept
    }
}
