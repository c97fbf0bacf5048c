//! Unsaved work of earlier sessions, as far as the state goes: it is offered at the start, one by one.

use crate::rhythm::Groove;
use crate::terminal::{Effect, Overlay, State};
use std::collections::VecDeque;

/// Unsaved work of a process that ended.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct UnsavedWork {
    /// Its number in the shell.
    pub id: usize,
    /// `3 minutes ago`.
    pub age: String,
    pub groove: Result<Groove, String>,
    /// How it differs from the groove that is open, and what else is to be known.
    pub difference: Vec<String>,
    pub text: Vec<String>,
}

#[derive(Debug, Clone, Default)]
pub(crate) struct RecoveryState {
    pub offers: VecDeque<UnsavedWork>,
    /// Number of the work that became the groove, until its journal can be removed.
    pub recovered_id: Option<usize>,
}

/// What the screen shows of unsaved work, and its first visible line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum RecoveryView {
    Difference(usize),
    Text(usize),
}

/// Notes whether unsaved changes are in the journal.
pub(crate) fn on_journal(state: &mut State, result: Result<(), String>) {
    let error = result.err();
    if let Some(reason) = &error
        && state.files.journal_error != error
    {
        let text = format!("autosave failed, unsaved changes are not protected: {reason}");
        state.warn(text);
    }
    state.files.journal_error = error;
}

/// Offers the next work if no overlay is open.
pub(crate) fn offer(state: &mut State) {
    if state.overlay == Overlay::None && !state.files.recovery.offers.is_empty() {
        state.overlay = Overlay::Recovery(RecoveryView::Difference(0));
    }
}

/// Makes the offered work the groove, as an edit that can be undone. The others are kept for the next start.
pub(crate) fn recover(state: &mut State) {
    let offered = &mut state.files.recovery.offers;
    let Some(work) = offered.front() else { return };
    let groove = match &work.groove {
        Ok(groove) => groove.clone(),
        Err(reason) => {
            let text = format!("the unsaved changes are not a valid groove: {reason}");
            return state.warn(text);
        }
    };
    state.files.recovery.recovered_id = Some(work.id);
    let left = offered.len() - 1;
    offered.clear();
    state.overlay = Overlay::None;
    state.session.recover(groove);
    let (save, undo) = (state.key("save"), state.key("undo"));
    let left = if left == 0 { String::new() } else { format!("; {left} more will be offered at the next start") };
    state.info(format!("recovered unsaved changes; {save} saves them, {undo} undoes them{left}"));
}

pub(crate) fn discard(state: &mut State) {
    if let Some(work) = take_offer(state, "discarded") {
        state.effects.push(Effect::DiscardUnsaved(work.id));
    }
}

pub(crate) fn postpone(state: &mut State) {
    if let Some(work) = take_offer(state, "unsaved changes kept; they will be offered when the groove is opened again")
    {
        state.effects.push(Effect::ReleaseUnsaved(work.id));
    }
}

/// Takes the offered work from the list; the last one leaves a message.
fn take_offer(state: &mut State, message: &str) -> Option<UnsavedWork> {
    state.overlay = Overlay::None;
    let work = state.files.recovery.offers.pop_front();
    if state.files.recovery.offers.is_empty() {
        state.info(message);
    }
    work
}

pub(crate) fn toggle_text(state: &mut State) {
    if let Overlay::Recovery(view) = &mut state.overlay {
        *view = match view {
            RecoveryView::Difference(_) => RecoveryView::Text(0),
            RecoveryView::Text(_) => RecoveryView::Difference(0),
        };
    }
}
