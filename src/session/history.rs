//! Undo and redo with whole grooves, which share their unchanged parts.

use super::DocumentId;
use super::cursor::Cursor;
use super::select::Anchor;
use crate::rhythm::Groove;
use std::collections::VecDeque;
use std::sync::Arc;

/// Steps that can be undone.
pub(crate) const MAX_STEPS: usize = 10_000;

/// A groove to return to.
#[derive(Debug, Clone)]
pub(crate) struct Step {
    pub groove: Arc<Groove>,
    pub document: DocumentId,
    pub cursor: Cursor,
    pub anchor: Option<Anchor>,
    /// The edit between this groove and the current one.
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

    /// Records the groove before an edit and clears what can be redone.
    pub(super) fn push(&mut self, step: Step) {
        self.future.clear();
        if self.past.len() == MAX_STEPS {
            self.past.pop_front();
        }
        self.past.push_back(step);
    }

    /// Returns the previous groove and keeps the current one for `redo`, with the label of the step.
    pub(super) fn undo(&mut self, current: Step) -> Option<Step> {
        let step = self.past.pop_back()?;
        self.future.push(Step { label: step.label.clone(), ..current });
        Some(step)
    }

    /// Returns the groove undone last and keeps the current one for `undo`.
    pub(super) fn redo(&mut self, current: Step) -> Option<Step> {
        let step = self.future.pop()?;
        self.past.push_back(Step { label: step.label.clone(), ..current });
        Some(step)
    }
}
