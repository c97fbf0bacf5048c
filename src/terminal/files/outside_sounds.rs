//! Sound files outside the groove's folder: the question whether they may be read.

use crate::terminal::{Confirmation, Effect, Overlay, State, replay};
use std::path::PathBuf;

/// Paths that one question names, so that all of them are on the smallest screen.
const MAX_PATHS: usize = 12;

#[derive(Debug, Clone, Default)]
pub(crate) struct OutsideSoundsState {
    pub allowed: Vec<PathBuf>,
    /// Not asked about again before the next start.
    refused: Vec<PathBuf>,
    /// Become a question when no overlay is open.
    pending: Vec<PathBuf>,
}

/// Notes the files outside the folder that the groove names.
pub(crate) fn on_found(state: &mut State, mut paths: Vec<PathBuf>) {
    let outside = &mut state.files.outside_sounds;
    paths.retain(|p| !outside.allowed.contains(p) && !outside.refused.contains(p));
    outside.pending = paths;
}

/// Asks about pending files if no overlay is open.
pub(crate) fn offer(state: &mut State) {
    let pending = &mut state.files.outside_sounds.pending;
    if state.overlay == Overlay::None && !pending.is_empty() {
        state.overlay =
            Overlay::Confirm(Confirmation::ReadSounds(pending.drain(..pending.len().min(MAX_PATHS)).collect()));
    }
}

pub(crate) fn allow(state: &mut State, paths: Vec<PathBuf>) {
    // They may have been found once more while the question was open.
    state.files.outside_sounds.pending.retain(|path| !paths.contains(path));
    state.files.outside_sounds.allowed.extend(paths.iter().cloned());
    state.effects.push(Effect::AllowSounds(paths));
    replay(state);
    // Playback reads and checks the layers' files anyway.
    if !state.playback.is_playing || state.groove().recording().is_some() {
        let groove = state.groove().clone();
        state.effects.push(Effect::TrySounds(groove));
    }
}

pub(crate) fn refuse(state: &mut State, paths: Vec<PathBuf>) {
    state.files.outside_sounds.pending.retain(|path| !paths.contains(path));
    state.files.outside_sounds.refused.extend(paths);
    state.info("not read; layers play their voices instead, and the recording is silent");
}
