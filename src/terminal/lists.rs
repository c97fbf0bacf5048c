//! Moves in the open list, and accepts its selected line or the text typed.

use crate::rhythm::Place;
use crate::session::{Command, Motion};
use crate::terminal::dispatch::dispatch;
use crate::terminal::files::export;
use crate::terminal::files::recovery::RecoveryView;
use crate::terminal::transcription::differences;
use crate::terminal::view::{Block, Item, ReportPart, blocks, list_height, plain_list};
use crate::terminal::{
    Mode, Overlay, State, TextField, anchors, grid_search, hearings, help, manual, prompts, replay, run_command,
    search, sections, variants,
};

/// A movement in a list, down if positive.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Step {
    Lines(isize),
    Pages(isize),
}

impl Step {
    /// The index after the movement in a list whose last index is `last`, with so many lines on a page.
    pub(crate) fn from(self, at: usize, last: usize, page: usize) -> usize {
        let by = match self {
            Self::Lines(lines) => lines,
            Self::Pages(pages) => pages * page as isize,
        };
        at.min(last).saturating_add_signed(by).min(last)
    }
}

pub(crate) fn navigate(state: &mut State, step: Step) {
    let page = usize::from(state.view.size.1.saturating_sub(6).max(1));
    if let Overlay::Full { block, line } = state.overlay {
        let (stops, lines) = selectable_positions(state);
        let now = stops.partition_point(|s| *s <= (block, line)).saturating_sub(1);
        let page = (stops.len() * page / lines.max(1)).max(1);
        if let Some(&(block, line)) = stops.get(step.from(now, stops.len().saturating_sub(1), page)) {
            state.overlay = Overlay::Full { block, line };
        }
        return;
    }
    if let Overlay::Prompt { question, text, moved_to, error, .. } = &mut state.overlay {
        let Some(voices) = prompts::voices::offered(*question, text.value()) else {
            *question = question.other_meaning();
            return;
        };
        let last = voices.len().saturating_sub(1);
        let from = prompts::voices::selected(*question, text.value(), *moved_to);
        // Without a selected line the first step goes to the first line, or up to the last one.
        *moved_to = Some(match (from, step) {
            (Some(at), _) => step.from(at, last, page),
            (None, Step::Lines(..0) | Step::Pages(..0)) => last,
            (None, _) => 0,
        });
        *error = None;
        return;
    }
    let width = state.view.size.0;
    if let Overlay::Manual(view) = &mut state.overlay {
        return view.navigate(width, page, step);
    }
    let count = match &state.overlay {
        Overlay::Help(_) => help::lines(state).len(),
        Overlay::Find { text, .. } => state.input.keymap.search(text.value()).len(),
        Overlay::Export { menu, text, .. } => export::search(state, *menu, text.value()).len(),
        Overlay::Sections(_) => state.groove().sections().len(),
        Overlay::Anchors(_) => state.groove().recording().map_or(0, |r| r.anchors().len()),
        Overlay::GridChoices(list) => {
            let index = step.from(list.selected, list.choices.list.len().saturating_sub(1), page);
            return grid_search::select(state, index);
        }
        Overlay::Variants(list) => {
            let rows = variants::rows_on_a_page(state);
            return variants::select(state, step.from(list.selected, list.order.len(), rows));
        }
        Overlay::Differences(_) => state.transcription.differences.len(),
        Overlay::TapReport(_) => state.tap_report_lines().len(),
        _ => plain_list(state).map_or(0, |list| list.entries.len()),
    };
    match &mut state.overlay {
        Overlay::Help(help::HelpView { line: at, .. })
        | Overlay::ConfigFile(at)
        | Overlay::Sections(at)
        | Overlay::Anchors(at)
        | Overlay::Differences(at)
        | Overlay::Outputs(_, at)
        | Overlay::ImportWarnings(at)
        | Overlay::TapReport(at)
        | Overlay::Recovery(RecoveryView::Difference(at) | RecoveryView::Text(at))
        | Overlay::Find { selected: at, .. }
        | Overlay::Export { selected: at, .. } => *at = step.from(*at, count.saturating_sub(1), page),
        _ => {}
    }
}

/// The positions in the full view that can be selected: every block except headings, and in a block higher than the window one line
/// per page; and the number of lines.
fn selectable_positions(state: &State) -> (Vec<(usize, usize)>, usize) {
    let blocks = blocks(state);
    let step = list_height(state.view.size.1).saturating_sub(1).max(1);
    let of_block = |(i, b): (usize, &Block)| {
        let lines = if b.item == Item::Heading { 0 } else { b.lines.len() };
        (0..lines).step_by(step).map(move |line| (i, line))
    };
    (blocks.iter().enumerate().flat_map(of_block).collect(), blocks.iter().map(|b| b.lines.len()).sum())
}

pub(crate) fn open_search(state: &mut State) {
    state.overlay = Overlay::Find { text: TextField::default(), selected: 0 };
}

pub(crate) fn open_config_errors(state: &mut State) {
    if state.files.config_errors.is_some() {
        state.overlay = Overlay::ConfigFile(0);
    } else {
        state.info("no errors in the config file");
    }
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
    selected_block(state, &blocks(state)).map(|b| b.item)
}

fn selected_block<'a>(state: &State, blocks: &'a [Block]) -> Option<&'a Block> {
    let Overlay::Full { block, .. } = state.overlay else { return None };
    blocks.get(block).or(blocks.last())
}

/// Moves by parts of the full view, or by pages of the manual, from the last one to the first.
pub(crate) fn change_part(state: &mut State, by: isize) {
    if let Overlay::Manual(view) = &mut state.overlay {
        return view.turn_pages(by);
    }
    let blocks = blocks(state);
    let Some(own) = selected_block(state, &blocks) else { return };
    let now = ReportPart::ALL.iter().position(|p| *p == own.part).unwrap_or(0);
    let next = ReportPart::ALL[(now as isize + by).rem_euclid(ReportPart::ALL.len() as isize) as usize];
    if let Some(block) = blocks.iter().position(|b| b.part == next && b.item != Item::Heading) {
        state.overlay = Overlay::Full { block, line: 0 };
    }
}

pub(crate) fn accept(state: &mut State) {
    match state.overlay {
        Overlay::Full { .. } => return accept_item(state),
        Overlay::TapReport(line) => return go_to_tap_line(state, line),
        Overlay::Sections(section) => return sections::go_to(state, section),
        Overlay::Anchors(at) => return anchors::go_to(state, at),
        Overlay::GridChoices(_) => return grid_search::take_selected(state),
        Overlay::Differences(at) => return differences::go_to(state, at),
        Overlay::Help(_) | Overlay::Manual(_) if state.mode() == Mode::Typing => return search::accept(state),
        Overlay::Help(ref view) => return help::open_chapter(state, view.line),
        Overlay::Manual(_) => return manual::accept(state),
        Overlay::ImportWarnings(_) | Overlay::Tap | Overlay::TapTempo(_) => return,
        _ => {}
    }
    match std::mem::take(&mut state.overlay) {
        Overlay::Find { text, selected } => {
            if let Some(command) = state.input.keymap.search(text.value()).get(selected) {
                dispatch(state, &command.action, None);
            }
        }
        Overlay::Prompt { question, text, moved_to, .. } => prompts::on_answer(state, question, text, moved_to),
        Overlay::Export { menu, text, selected } => export::select_format(state, menu, text, selected),
        _ => {}
    }
}

fn go_to_tap_line(state: &mut State, line: usize) {
    let groove = state.groove();
    let exists = |p: &Place| {
        p.layer < groove.layers().len()
            && p.section < groove.sections().len()
            && groove.part(p.layer, p.section).spot(p.cell, groove.context(p.layer, p.section)).is_some()
    };
    match state.tap_report_lines().get(line).and_then(|l| l.place).filter(exists) {
        Some(place) => go_to(state, place),
        None => state.info("this line has no position; pick one that names a bar and beat"),
    }
}

pub(crate) fn go_to(state: &mut State, place: Place) {
    state.overlay = Overlay::None;
    run_command(state, Command::Move(Motion::To(place)));
}

/// Selects the hearing, or moves the cursor to the place of the reason, that is highlighted in the full view.
fn accept_item(state: &mut State) {
    match selected_item(state) {
        Some(Item::Hearing(hearing)) => {
            hearings::select(state, hearing);
            state.info(format!("selected hearing {}", hearing + 1));
            replay(state);
        }
        Some(Item::Reason(reason)) => match state.findings().get(reason).and_then(|f| f.place) {
            Some(place) => go_to(state, place),
            None => state.info("this reason applies to the whole groove, not to one place"),
        },
        _ => state.info("nothing to select here; pick a hearing or a reason"),
    }
}
