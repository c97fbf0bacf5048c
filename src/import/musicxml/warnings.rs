//! Collects the warnings of an import.

use crate::import::ImportWarning;

/// Most warnings kept; the others are counted.
const MAX_WARNINGS: usize = 200;

/// The warnings of a document.
#[derive(Default)]
pub(super) struct Warnings {
    kept: Vec<ImportWarning>,
    more: usize,
}

impl Warnings {
    pub(super) fn add(&mut self, place: String, message: String) {
        if self.kept.len() < MAX_WARNINGS {
            self.kept.push(ImportWarning { place, message });
        } else {
            self.more += 1;
        }
    }

    pub(super) fn finish(mut self) -> Vec<ImportWarning> {
        if self.more > 0 {
            self.kept.push(ImportWarning { place: "document".into(), message: format!("{} more warnings", self.more) });
        }
        self.kept
    }
}
