//! Imports, as far as the state goes.

use crate::jobs::{ImportedGroove, JobError};
use crate::rhythm::Fraction;
use crate::terminal::files::export;
use crate::terminal::files::replacement::Replacement;
use crate::terminal::{Effect, Overlay, State};

#[derive(Debug, Clone, Default)]
pub(crate) struct ImportState {
    /// Warnings of the last import.
    pub warnings: Vec<String>,
}

/// Imports a file whose onsets may be moved by `tolerance` ms.
pub(crate) fn start(state: &mut State, path: String, tolerance: Fraction) {
    if !export::is_busy(state) {
        export::set_job(state, "reading", &path);
        state.effects.push(Effect::Import { path, tolerance });
    }
}

pub(crate) fn on_done(state: &mut State, result: Result<Box<ImportedGroove>, JobError>) {
    state.files.job = None;
    match result {
        Ok(imported) => state.files.replacement.pending = Some(Box::new(Replacement::Import(*imported))),
        Err(JobError::Cancelled) => state.info("cancelled; the groove is unchanged"),
        Err(error) => state.warn(format!("not imported: {error}")),
    }
}

pub(crate) fn show_warnings(state: &mut State) {
    if state.files.import.warnings.is_empty() {
        state.info("no import warnings");
    } else {
        state.overlay = Overlay::ImportWarnings(0);
    }
}
