//! Going about in lists and taking a line of them, or an answer that was typed. It must not know keys.

use super::event::Effect;
use super::prompt::Answer;
use super::state::{Chosen, Overlay, State};
use super::update::{command_of, perform, replay, speed};
use super::view::help_lines;
use crate::session::{Command, Motion};

/// Takes a hearing to the strip and the click.
pub(super) fn choose(state: &mut State, index: usize) {
    let hearing = state.report().and_then(|(r, _)| r.hearings.get(index));
    if let Some(h) = hearing {
        state.chosen = Some(Chosen { kind: h.kind, period: h.period() });
    }
}

pub(super) fn list(state: &mut State, go: impl Fn(usize, usize, usize) -> usize) {
    let page = usize::from(state.size.1.saturating_sub(6).max(1));
    let hearings = state.report().map_or(0, |(r, _)| r.hearings.len());
    let reasons = state.findings().len();
    let found = match &state.overlay {
        Overlay::Find { text, .. } => state.keymap.search(text).len(),
        _ => 0,
    };
    match &mut state.overlay {
        Overlay::Help(at) => {
            let last = help_lines().saturating_sub(page);
            *at = go(*at, last, page);
        }
        Overlay::Find { chosen, .. } => *chosen = go(*chosen, found.saturating_sub(1), page),
        Overlay::Hearings { reasons: false, chosen } => *chosen = go(*chosen, hearings.saturating_sub(1), page),
        Overlay::Hearings { reasons: true, chosen } => *chosen = go(*chosen, reasons.saturating_sub(1), page),
        _ => {}
    }
}

pub(super) fn accept(state: &mut State, effects: &mut Vec<Effect>) {
    match std::mem::take(&mut state.overlay) {
        Overlay::Find { text, chosen } => {
            if let Some(row) = state.keymap.search(&text).get(chosen) {
                perform(state, &row.action, None, effects);
            }
        }
        Overlay::Prompt { question, text, .. } => match question.read(&text, &state.session) {
            Ok(Answer::Do(command)) => command_of(state, command, effects),
            Ok(Answer::Speed(percent)) => speed(state, percent, effects),
            Ok(Answer::SaveAs(name)) => {
                effects.push(Effect::Save { groove: state.groove().clone(), name: Some(name), over: false });
            }
            Err(error) => state.overlay = Overlay::Prompt { question, text, kept: false, error: Some(error) },
        },
        Overlay::Hearings { reasons: false, chosen } => {
            choose(state, chosen);
            replay(state, effects);
        }
        Overlay::Hearings { reasons: true, chosen } => {
            if let Some(place) = state.findings().get(chosen).and_then(|f| f.place) {
                command_of(state, Command::Move(Motion::To(place)), effects);
            }
        }
        Overlay::None | Overlay::Help(_) | Overlay::Leaving | Overlay::Overwrite(_) => {}
    }
}
