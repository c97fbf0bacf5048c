//! Going about in lists and taking a line of them, or an answer that was typed.

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
use crate::terminal::view::{Block, Item, Part, blocks, help_lines, rows};

/// Moves within the list that is open: `go` gives the new place from the old one, the last one and the places of a screen.
pub(crate) fn go(state: &mut State, go: impl Fn(usize, usize, usize) -> usize) {
    let page = usize::from(state.size.1.saturating_sub(6).max(1));
    if let Overlay::Full { block, into } = state.overlay {
        let (stops, lines) = stops(state);
        let now = stops.partition_point(|s| *s <= (block, into)).saturating_sub(1);
        let page = (stops.len() * page / lines.max(1)).max(1);
        if let Some(&(block, into)) = stops.get(go(now, stops.len().saturating_sub(1), page)) {
            state.overlay = Overlay::Full { block, into };
        }
        return;
    }
    if let Overlay::TapReport(at) = state.overlay {
        let count = state.taps.last.as_ref().map_or(0, |t| t.lines(state).len());
        state.overlay = Overlay::TapReport(go(at.min(count.saturating_sub(1)), count.saturating_sub(1), page));
        return;
    }
    let width = state.size.0;
    if let Overlay::Manual(view) = &mut state.overlay {
        return view.go(width, page, go);
    }
    let found = match &state.overlay {
        Overlay::Find { text, .. } => state.keymap.search(text.value()).len(),
        Overlay::Offers { choice, text, .. } => export::found(state, *choice, text.value()).len(),
        _ => 0,
    };
    let help = help_lines(state);
    match &mut state.overlay {
        Overlay::Help(at) => *at = go(*at, help.saturating_sub(page), page),
        Overlay::ConfigFile(at) => {
            let lines = state.config_errors.as_ref().map_or(0, Vec::len);
            *at = go(*at, lines.saturating_sub(1), page);
        }
        Overlay::Outputs(lines, at) => *at = go(*at, lines.len().saturating_sub(1), page),
        Overlay::Remarks(at) => *at = go(*at, state.importing.remarks.len().saturating_sub(1), page),
        Overlay::Find { chosen, .. } | Overlay::Offers { chosen, .. } => {
            *chosen = go(*chosen, found.saturating_sub(1), page);
        }
        _ => {}
    }
}

/// Where one may stand in the full view: every block but headings, and within a block higher than the window a line for each screen
/// of it; and the lines there are.
fn stops(state: &State) -> (Vec<(usize, usize)>, usize) {
    let blocks = blocks(state);
    let step = rows(state.size.1).saturating_sub(1).max(1);
    let of_block = |(i, b): (usize, &Block)| {
        let lines = if b.item == Item::Heading { 0 } else { b.lines.len() };
        (0..lines).step_by(step).map(move |into| (i, into))
    };
    (blocks.iter().enumerate().flat_map(of_block).collect(), blocks.iter().map(|b| b.lines.len()).sum())
}

/// Opens the full view at the hearing of the strip.
pub(crate) fn open_full(state: &mut State) {
    let current = state.strip().map(|(i, _)| Item::Hearing(i));
    let blocks = blocks(state);
    let own = current.and_then(|c| blocks.iter().position(|b| b.item == c));
    let block = own.or_else(|| blocks.iter().position(|b| b.item != Item::Heading)).unwrap_or(0);
    state.overlay = Overlay::Full { block, into: 0 };
}

/// What the mark of the full view stands on.
pub(crate) fn marked(state: &State) -> Option<Item> {
    let Overlay::Full { block, .. } = state.overlay else { return None };
    let blocks = blocks(state);
    blocks.get(block.min(blocks.len().saturating_sub(1))).map(|b| b.item)
}

/// To the next part of the full view, or to the one before, round and round.
pub(crate) fn part(state: &mut State, by: isize) {
    if let Overlay::Manual(view) = &mut state.overlay {
        return view.turn(by);
    }
    let Overlay::Full { block, .. } = state.overlay else { return };
    let blocks = blocks(state);
    let Some(own) = blocks.get(block.min(blocks.len().saturating_sub(1))) else { return };
    let now = Part::ALL.iter().position(|p| *p == own.part).unwrap_or(0);
    let next = Part::ALL[(now as isize + by).rem_euclid(Part::ALL.len() as isize) as usize];
    if let Some(block) = blocks.iter().position(|b| b.part == next && b.item != Item::Heading) {
        state.overlay = Overlay::Full { block, into: 0 };
    }
}

/// Takes the line of the list that is open, or what was typed.
pub(crate) fn accept(state: &mut State, effects: &mut Vec<Effect>) {
    match std::mem::take(&mut state.overlay) {
        Overlay::Find { text, chosen } => {
            if let Some(row) = state.keymap.search(text.value()).get(chosen) {
                dispatch(state, &row.action, None, effects);
            }
        }
        Overlay::Prompt { question, text, .. } => prompts::answered(state, question, text, effects),
        Overlay::Full { block, into } => {
            state.overlay = Overlay::Full { block, into };
            take(state, effects);
        }
        Overlay::TapReport(at) => {
            state.overlay = Overlay::TapReport(at);
            go_to_line(state, at);
        }
        Overlay::Offers { choice, text, chosen } => export::pick(state, choice, text, chosen),
        Overlay::Manual(view) => manual::accept(state, view),
        Overlay::Remarks(at) => state.overlay = Overlay::Remarks(at),
        Overlay::Tap => state.overlay = Overlay::Tap,
        Overlay::None
        | Overlay::Help(_)
        | Overlay::Outputs(..)
        | Overlay::ConfigFile(_)
        | Overlay::Leaving
        | Overlay::Overwrite(_)
        | Overlay::Replacing(_) => {}
    }
}

/// To the place that a line of the tap report is about.
fn go_to_line(state: &mut State, at: usize) {
    let lines = state.taps.last.as_ref().map(|t| t.lines(state)).unwrap_or_default();
    match lines.get(at).and_then(|l| l.place).filter(|p| is_in(state, *p)) {
        Some(place) => {
            state.overlay = Overlay::None;
            run_command(state, Command::Move(Motion::To(place)));
        }
        None => state.show_message(Message::info("this line has no position; pick one that names a bar and beat")),
    }
}

/// Whether the groove still has this place.
fn is_in(state: &State, p: Place) -> bool {
    let g = state.groove();
    p.layer < g.layers().len()
        && p.section < g.sections().len()
        && g.part(p.layer, p.section).spot(p.cell, g.context(p.layer, p.section)).is_some()
}

/// Takes what the mark of the full view stands on: a hearing to the strip and the click, the cursor to a reason's place.
fn take(state: &mut State, effects: &mut Vec<Effect>) {
    match marked(state) {
        Some(Item::Hearing(hearing)) => {
            hearings::choose(state, hearing);
            state.show_message(Message::info(format!("selected hearing {}", hearing + 1)));
            replay(state, effects);
        }
        Some(Item::Reason(reason)) => match state.findings().get(reason).and_then(|f| f.place) {
            Some(place) => {
                state.overlay = Overlay::None;
                run_command(state, Command::Move(Motion::To(place)));
            }
            None => state.show_message(Message::info("this reason applies to the whole groove, not to one place")),
        },
        _ => state.show_message(Message::info("nothing to select here; pick a hearing or a reason")),
    }
}
