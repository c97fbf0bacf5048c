//! Undo and redo: whole grooves that share what did not change.

use super::DocumentId;
use super::cursor::Cursor;
use crate::rhythm::Groove;
use std::collections::VecDeque;
use std::sync::Arc;

/// Steps that can be undone; older ones are forgotten.
pub(crate) const STEPS_KEPT: usize = 10_000;

/// A groove to go back (or forth) to.
#[derive(Debug, Clone)]
pub(crate) struct Step {
    /// The groove.
    pub groove: Arc<Groove>,
    /// The document it belongs to.
    pub document: DocumentId,
    /// Where the cursor was.
    pub cursor: Cursor,
    /// What was done between this groove and its neighbour in time.
    pub label: String,
}

/// The steps before and after the current groove.
#[derive(Debug, Clone, Default)]
pub(crate) struct History {
    past: VecDeque<Step>,
    future: Vec<Step>,
}

impl History {
    #[cfg(test)]
    pub(crate) fn redo_label(&self) -> Option<&str> {
        self.future.last().map(|s| s.label.as_str())
    }

    #[cfg(test)]
    pub(crate) fn is_empty(&self) -> bool {
        self.past.is_empty()
    }

    /// Notes the groove as it was before a step; what was undone before is forgotten.
    pub(super) fn push(&mut self, step: Step) {
        self.future.clear();
        if self.past.len() == STEPS_KEPT {
            self.past.pop_front();
        }
        self.past.push_back(step);
    }

    /// The groove before; the current one can then be come back to, and its label is that of the step.
    pub(super) fn undo(&mut self, current: Step) -> Option<Step> {
        let step = self.past.pop_back()?;
        self.future.push(Step { label: step.label.clone(), ..current });
        Some(step)
    }

    /// The groove that was undone last; likewise.
    pub(super) fn redo(&mut self, current: Step) -> Option<Step> {
        let step = self.future.pop()?;
        self.past.push_back(Step { label: step.label.clone(), ..current });
        Some(step)
    }
}
