//! Moves in the open list, and accepts its selected line or the text typed.

use crate::rhythm::Place;
use crate::session::{Command, Motion};
use crate::terminal::dispatch::{dispatch, run_command};
use crate::terminal::event::Effect;
use crate::terminal::files::export;
use crate::terminal::hearings;
use crate::terminal::manual;
use crate::terminal::overlay::Overlay;
use crate::terminal::playback::transport::replay;
use crate::terminal::prompts;
use crate::terminal::state::{Message, State};
use crate::terminal::view::{Block, Item, ReportPart, blocks, help_lines, list_height};

/// Moves in the open list: `step` returns the new index from the old one, the last one and the number of lines of a page.
pub(crate) fn navigate(state: &mut State, step: impl Fn(usize, usize, usize) -> usize) {
    let page = usize::from(state.view.size.1.saturating_sub(6).max(1));
    if let Overlay::Full { block, line } = state.overlay {
        let (stops, lines) = stops(state);
        let now = stops.partition_point(|s| *s <= (block, line)).saturating_sub(1);
        let page = (stops.len() * page / lines.max(1)).max(1);
        if let Some(&(block, line)) = stops.get(step(now, stops.len().saturating_sub(1), page)) {
            state.overlay = Overlay::Full { block, line };
        }
        return;
    }
    if let Overlay::TapReport(at) = state.overlay {
        let count = state.playback.taps.last.as_ref().map_or(0, |t| t.lines(state).len());
        state.overlay = Overlay::TapReport(step(at.min(count.saturating_sub(1)), count.saturating_sub(1), page));
        return;
    }
    if let Overlay::Prompt { question, .. } = &mut state.overlay {
        *question = question.other_meaning();
        return;
    }
    let width = state.view.size.0;
    if let Overlay::Manual(view) = &mut state.overlay {
        return view.navigate(width, page, step);
    }
    let count = match &state.overlay {
        Overlay::Help(_) => help_lines(state, usize::from(width)).len(),
        Overlay::Find { text, .. } => state.input.keymap.search(text.value()).len(),
        Overlay::Export { menu, text, .. } => export::search(state, *menu, text.value()).len(),
        Overlay::ConfigFile(_) => state.files.config_errors.as_ref().map_or(0, Vec::len),
        Overlay::Outputs(lines, _) => lines.len(),
        Overlay::ImportWarnings(_) => state.files.import.warnings.len(),
        _ => 0,
    };
    let last = count.saturating_sub(1);
    match &mut state.overlay {
        Overlay::Help(at) => *at = step(*at, count.saturating_sub(page), page),
        Overlay::ConfigFile(at) | Overlay::Outputs(_, at) | Overlay::ImportWarnings(at) => *at = step(*at, last, page),
        Overlay::Find { selected, .. } | Overlay::Export { selected, .. } => *selected = step(*selected, last, page),
        _ => {}
    }
}

/// The positions in the full view that can be selected: every block except headings, and in a block higher than the window one line
/// per page; and the number of lines.
fn stops(state: &State) -> (Vec<(usize, usize)>, usize) {
    let blocks = blocks(state);
    let step = list_height(state.view.size.1).saturating_sub(1).max(1);
    let of_block = |(i, b): (usize, &Block)| {
        let lines = if b.item == Item::Heading { 0 } else { b.lines.len() };
        (0..lines).step_by(step).map(move |line| (i, line))
    };
    (blocks.iter().enumerate().flat_map(of_block).collect(), blocks.iter().map(|b| b.lines.len()).sum())
}

pub(crate) fn open_full(state: &mut State) {
    let current = state.strip_hearing().map(|(i, _)| Item::Hearing(i));
    let blocks = blocks(state);
    let own = current.and_then(|c| blocks.iter().position(|b| b.item == c));
    let block = own.or_else(|| blocks.iter().position(|b| b.item != Item::Heading)).unwrap_or(0);
    state.overlay = Overlay::Full { block, line: 0 };
}

/// The selected item of the full view.
pub(crate) fn selected_item(state: &State) -> Option<Item> {
    let Overlay::Full { block, .. } = state.overlay else { return None };
    let blocks = blocks(state);
    blocks.get(block.min(blocks.len().saturating_sub(1))).map(|b| b.item)
}

/// Moves by parts of the full view, or by pages of the manual, from the last one to the first.
pub(crate) fn change_part(state: &mut State, by: isize) {
    if let Overlay::Manual(view) = &mut state.overlay {
        return view.turn_pages(by);
    }
    let Overlay::Full { block, .. } = state.overlay else { return };
    let blocks = blocks(state);
    let Some(own) = blocks.get(block.min(blocks.len().saturating_sub(1))) else { return };
    let now = ReportPart::ALL.iter().position(|p| *p == own.part).unwrap_or(0);
    let next = ReportPart::ALL[(now as isize + by).rem_euclid(ReportPart::ALL.len() as isize) as usize];
    if let Some(block) = blocks.iter().position(|b| b.part == next && b.item != Item::Heading) {
        state.overlay = Overlay::Full { block, line: 0 };
    }
}

/// Accepts the selected line of the open list, or the text typed.
pub(crate) fn accept(state: &mut State, effects: &mut Vec<Effect>) {
    match std::mem::take(&mut state.overlay) {
        Overlay::Find { text, selected } => {
            if let Some(command) = state.input.keymap.search(text.value()).get(selected) {
                dispatch(state, &command.action, None, effects);
            }
        }
        Overlay::Prompt { question, text, .. } => prompts::on_answer(state, question, text, effects),
        Overlay::Full { block, line } => {
            state.overlay = Overlay::Full { block, line };
            accept_item(state, effects);
        }
        Overlay::TapReport(at) => {
            state.overlay = Overlay::TapReport(at);
            go_to_tap_line(state, at);
        }
        Overlay::Export { menu, text, selected } => export::pick(state, menu, text, selected),
        Overlay::Manual(view) => manual::accept(state, view),
        overlay @ (Overlay::ImportWarnings(_) | Overlay::Tap) => state.overlay = overlay,
        Overlay::None
        | Overlay::Help(_)
        | Overlay::Outputs(..)
        | Overlay::ConfigFile(_)
        | Overlay::ConfirmQuit
        | Overlay::ConfirmOverwrite(_)
        | Overlay::ConfirmImport(_)
        | Overlay::Choice(_)
        | Overlay::Recovery(_) => {}
    }
}

/// Moves the cursor to the position that a line of the tap report names.
fn go_to_tap_line(state: &mut State, at: usize) {
    let lines = state.playback.taps.last.as_ref().map(|t| t.lines(state)).unwrap_or_default();
    match lines.get(at).and_then(|l| l.place).filter(|p| exists(state, *p)) {
        Some(place) => go_to(state, place),
        None => state.show_message(Message::info("this line has no position; pick one that names a bar and beat")),
    }
}

fn go_to(state: &mut State, place: Place) {
    state.overlay = Overlay::None;
    run_command(state, Command::Move(Motion::To(place)));
}

/// Whether the groove still has this place.
fn exists(state: &State, p: Place) -> bool {
    let g = state.groove();
    p.layer < g.layers().len()
        && p.section < g.sections().len()
        && g.part(p.layer, p.section).spot(p.cell, g.context(p.layer, p.section)).is_some()
}

/// Selects the hearing, or moves the cursor to the place of the reason, that is highlighted in the full view.
fn accept_item(state: &mut State, effects: &mut Vec<Effect>) {
    match selected_item(state) {
        Some(Item::Hearing(hearing)) => {
            hearings::select(state, hearing);
            state.show_message(Message::info(format!("selected hearing {}", hearing + 1)));
            replay(state, effects);
        }
        Some(Item::Reason(reason)) => match state.findings().get(reason).and_then(|f| f.place) {
            Some(place) => go_to(state, place),
            None => state.show_message(Message::info("this reason applies to the whole groove, not to one place")),
        },
        _ => state.show_message(Message::info("nothing to select here; pick a hearing or a reason")),
    }
}
