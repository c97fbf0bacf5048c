//! A groove that comes in, as far as the state goes: asked for, waiting for its place, in the place of the one that was here.

use crate::jobs::{ImportedGroove, JobError};
use crate::rhythm::Fraction;
use crate::terminal::event::Effect;
use crate::terminal::files::export;
use crate::terminal::files::save;
use crate::terminal::hearings::Focus;
use crate::terminal::overlay::Overlay;
use crate::terminal::playback::playing::LoopMode;
use crate::terminal::playback::practice;
use crate::terminal::state::{Message, State};

/// What is remembered of it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Importing {
    /// What the last import had to say.
    pub remarks: Vec<String>,
    /// A groove that came in and waits until nothing else is asked.
    arrived: Option<Box<ImportedGroove>>,
    /// The same while what stands here is saved first.
    waiting: Option<Box<ImportedGroove>>,
}

/// Reads a groove from a file whose onsets may be moved by so many ms.
pub(crate) fn bring(state: &mut State, path: String, tolerance: Fraction, effects: &mut Vec<Effect>) {
    if !export::busy(state) {
        export::begin(state, "reading", &path);
        effects.push(Effect::Import { path, tolerance });
    }
}

/// Takes the end of an import.
pub(crate) fn done(state: &mut State, result: Result<Box<ImportedGroove>, JobError>) {
    state.giving.making = None;
    match result {
        Ok(arrived) => state.importing.arrived = Some(arrived),
        Err(JobError::Cancelled) => state.show_message(Message::info("cancelled; the groove is unchanged")),
        Err(error) => state.show_message(Message::warning(format!("not imported, {error}"))),
    }
}

/// Opens the groove that came in, after a question if what is here is not saved.
pub(crate) fn arrive(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(arrived) = state.importing.arrived.take_if(|_| state.overlay == Overlay::None) else { return };
    if state.session.is_changed() {
        state.overlay = Overlay::Replacing(arrived);
    } else {
        replace(state, *arrived, effects);
    }
}

/// Opens the groove the question is about.
pub(crate) fn replace_asked(state: &mut State, effects: &mut Vec<Effect>) {
    if let Overlay::Replacing(arrived) = std::mem::take(&mut state.overlay) {
        replace(state, *arrived, effects);
    }
}

/// Saves, and then opens the groove the question is about.
pub(crate) fn save_first(state: &mut State, effects: &mut Vec<Effect>) {
    if let Overlay::Replacing(arrived) = std::mem::take(&mut state.overlay) {
        state.importing.waiting = Some(arrived);
        save::save(state, effects);
    }
}

/// The groove that came in becomes the one of the editor, a work that has no file; undo brings the other one back.
fn replace(state: &mut State, arrived: ImportedGroove, effects: &mut Vec<Effect>) {
    practice::leave(state, effects);
    state.session.replace(arrived.groove, format!("import of {}", arrived.from.display()));
    (state.scroll, state.top_layer, state.selecting) = (0, 0, false);
    (state.selected_hearing, state.focus, state.play.looped) = (None, Focus::First, LoopMode::All);
    state.extra_hearings.clear();
    let (undo, save) = (state.keymap.first("undo"), state.keymap.first("save"));
    state.show_message(Message::info(format!("imported {}; {save} saves it, {undo} undoes", arrived.from.display())));
    state.importing.remarks = arrived.warnings;
    if !state.importing.remarks.is_empty() {
        state.overlay = Overlay::Remarks(0);
    }
}

/// Shows again what the last import had to say.
pub(crate) fn remarks(state: &mut State) {
    if state.importing.remarks.is_empty() {
        state.show_message(Message::info("no import warnings"));
    } else {
        state.overlay = Overlay::Remarks(0);
    }
}

/// What stood here is saved: a groove that waits for that takes its place now.
pub(crate) fn saved(state: &mut State) {
    if let Some(arrived) = state.importing.waiting.take() {
        state.importing.arrived = Some(arrived);
    }
}

/// What stands here stays: a groove that waits for its save is let go.
pub(crate) fn stay(state: &mut State) {
    state.importing.waiting = None;
}
