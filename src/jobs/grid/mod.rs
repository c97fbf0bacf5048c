//! Lays the grid over a recording: what its onsets allow, as grooves to choose from. Nothing is changed until one is taken.

pub(crate) mod alignment;
mod find;
#[cfg(test)]
mod tests;
pub(crate) mod words;

pub(crate) use find::find;

use crate::recording::onsets::Onset;
use crate::rhythm::{GridPlace, Groove, Time};
use std::sync::Arc;

/// What is looked for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum GridRequest {
    /// Tempos and meters.
    Proposals,
    /// So many beats between two instants, the first of them at the place.
    Marks { place: GridPlace, marks: [f64; 2], beats: usize },
    /// Beats at these instants, where somebody tapped, the first of them at the place.
    Taps { place: GridPlace, taps: Vec<f64> },
    /// The groove itself: these layers of it.
    Groove { layers: Vec<usize> },
    /// A line of groups that repeats from the place on; a cell lasts so long.
    Groups { place: GridPlace, groups: Vec<u32>, cell: Time },
    /// The attacks, as layers; the layer at the cursor may take them all.
    Attacks { layer: usize },
}

/// A request for a groove and the onsets of its recording.
#[derive(Debug, Clone, PartialEq)]
pub struct GridJob {
    /// Revision of the groove, by which an outdated answer is told.
    pub(crate) revision: u64,
    pub(crate) groove: Arc<Groove>,
    pub(crate) onsets: Arc<[Onset]>,
    pub(crate) request: GridRequest,
}

/// A groove that may be taken.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct GridChoice {
    /// What distinguishes it, in one line.
    pub(crate) text: String,
    pub(crate) groove: Arc<Groove>,
    /// What is said when it is taken.
    pub(crate) message: String,
}

/// The grooves to choose from, the best first.
#[derive(Debug, Clone, PartialEq)]
pub struct GridChoices {
    /// A heading of the list.
    pub(crate) title: String,
    /// The headings of the columns; empty without columns.
    pub(crate) columns: &'static str,
    pub(crate) list: Vec<GridChoice>,
    /// What cannot be known, one sentence each.
    pub(crate) remarks: Vec<String>,
    /// The name of the step that undo takes back.
    pub(crate) label: &'static str,
    /// Whether the first one needs no confirmation.
    pub(crate) is_settled: bool,
}
