//! An imported groove and the warnings of its import.

use crate::rhythm::Groove;
use std::fmt::Display;

/// Most warnings kept; the others are counted.
const MAX_WARNINGS: usize = 200;

/// A groove made from another format.
#[derive(Debug, Clone)]
pub struct Imported {
    /// The groove.
    pub groove: Groove,
    /// What the groove could not hold unchanged and what became of it, in the order of the source, each after its place there:
    /// line and column, measure and part, or track and tick.
    pub warnings: Vec<String>,
}

#[derive(Debug, Default)]
pub(super) struct Warnings {
    kept: Vec<String>,
    omitted: usize,
}

impl Warnings {
    pub(super) fn add(&mut self, place: impl Display, message: impl Display) {
        if self.kept.len() < MAX_WARNINGS {
            self.kept.push(format!("{place}: {message}"));
        } else {
            self.omitted += 1;
        }
    }

    /// Adds one warning about `count` things, the first of which is at the place: none for 0, `one` for 1, `many` for more.
    pub(super) fn add_counted(&mut self, place: impl Display, count: usize, one: impl Display, many: impl Display) {
        match count {
            0 => {}
            1 => self.add(place, one),
            _ => self.add(place, many),
        }
    }

    pub(super) fn finish(mut self) -> Vec<String> {
        if self.omitted > 0 {
            self.kept.push(format!("file: {} more warnings", self.omitted));
        }
        self.kept
    }
}
