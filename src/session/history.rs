//! Undo and redo with whole grooves, which share their unchanged parts.

use super::DocumentId;
use super::cursor::Cursor;
use super::loop_region::TimeChange;
use super::select::Anchor;
use crate::rhythm::{Groove, Layer, Part, Section, Span};
use std::collections::VecDeque;
use std::mem::{size_of, size_of_val};
use std::sync::Arc;

/// Steps that can be undone.
pub(crate) const MAX_STEPS: usize = 10_000;
/// Estimated memory of the steps.
pub(crate) const MAX_BYTES: usize = 64 << 20;

/// A groove to return to.
#[derive(Debug, Clone)]
pub(crate) struct Step {
    pub groove: Arc<Groove>,
    pub document: DocumentId,
    pub cursor: Cursor,
    pub anchor: Option<Anchor>,
    /// What the edit between this groove and the current one does to times, from the earlier groove to the later one.
    pub change: TimeChange,
    /// The edit between this groove and the current one.
    pub label: String,
}

/// A step, and the bytes that are freed when it is dropped.
#[derive(Debug, Clone)]
struct StoredStep {
    step: Step,
    bytes: usize,
}

impl StoredStep {
    /// A step before or after a groove, with which it shares what did not change.
    fn new(step: Step, neighbor: &Groove) -> Self {
        Self { bytes: size_of::<Self>() + step.label.len() + unshared_bytes(&step.groove, neighbor), step }
    }
}

/// The steps before and after the current groove.
#[derive(Debug, Clone, Default)]
pub(crate) struct History {
    past: VecDeque<StoredStep>,
    future: Vec<StoredStep>,
    /// Of all steps before the current groove.
    past_bytes: usize,
    has_dropped: bool,
}

impl History {
    #[cfg(test)]
    pub(crate) fn redo_label(&self) -> Option<&str> {
        self.future.last().map(|s| s.step.label.as_str())
    }

    #[cfg(test)]
    pub(crate) fn is_empty(&self) -> bool {
        self.past.is_empty()
    }

    #[cfg(test)]
    pub(super) fn past_bytes(&self) -> usize {
        self.past_bytes
    }

    /// Records the groove before an edit, whose result is `next`, and clears what can be redone. Returns whether the oldest steps
    /// were dropped for the first time. The newest step is always kept.
    pub(super) fn push(&mut self, step: Step, next: &Groove) -> bool {
        self.future.clear();
        self.push_past(step, next);
        let had_dropped = self.has_dropped;
        while self.past.len() > 1
            && (self.past.len() > MAX_STEPS || self.past_bytes > MAX_BYTES)
            && let Some(oldest) = self.past.pop_front()
        {
            self.past_bytes -= oldest.bytes;
            self.has_dropped = true;
        }
        self.has_dropped && !had_dropped
    }

    fn push_past(&mut self, step: Step, next: &Groove) {
        let stored = StoredStep::new(step, next);
        self.past_bytes += stored.bytes;
        self.past.push_back(stored);
    }

    /// Returns the previous groove and keeps the current one for `redo`, with the label of the step.
    pub(super) fn undo(&mut self, current: Step) -> Option<Step> {
        let StoredStep { step, bytes } = self.past.pop_back()?;
        self.past_bytes -= bytes;
        self.future
            .push(StoredStep::new(Step { change: step.change, label: step.label.clone(), ..current }, &step.groove));
        Some(step)
    }

    /// Returns the groove undone last and keeps the current one for `undo`.
    pub(super) fn redo(&mut self, current: Step) -> Option<Step> {
        let StoredStep { step, .. } = self.future.pop()?;
        self.push_past(Step { change: step.change, label: step.label.clone(), ..current }, &step.groove);
        Some(step)
    }
}

/// Estimated bytes of a groove without the layers and parts that it shares with another.
fn unshared_bytes(groove: &Groove, other: &Groove) -> usize {
    let fixed = size_of::<Groove>() + groove.title().len() + groove.note().len();
    let section = |s: &Section| size_of::<Section>() + s.name.len();
    let sections: usize = groove.sections().iter().map(section).sum();
    let is_shared = |layer: &Arc<Layer>| other.layers().iter().any(|o| Arc::ptr_eq(layer, o));
    let layer = |(index, layer): (usize, &Arc<Layer>)| {
        let parts = other.layers().get(index).map_or(&[][..], |o| &o.parts);
        let unshared =
            layer.parts.iter().enumerate().filter(|(n, p)| !parts.get(*n).is_some_and(|o| Arc::ptr_eq(p, o)));
        let pointers = size_of_val(&layer.parts[..]) + size_of_val(&layer.divisions[..]);
        size_of::<Layer>() + layer.name.len() + pointers + unshared.map(|(_, p)| part_bytes(p)).sum::<usize>()
    };
    let layers: usize = groove.layers().iter().enumerate().filter(|(_, l)| !is_shared(l)).map(layer).sum();
    fixed + sections + size_of_val(groove.layers()) + layers
}

fn part_bytes(part: &Part) -> usize {
    let spans = if let Part::Barred { spans, .. } = part { spans.len() } else { 0 };
    size_of::<Part>() + spans * size_of::<Span>() + size_of_val(part.stored())
}
