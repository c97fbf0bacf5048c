//! What is looped: the groove, a section, or the loop region, which commands set, extend and clear.

use crate::describe;
use crate::rhythm::{Groove, Place};
use crate::session::{Command, LoopRegion, Mark, messages};
use crate::terminal::playback::playing::LoopMode;
use crate::terminal::{State, run_command};

/// Loops the whole groove, the section at the cursor or the loop region, in this order. Without a loop region, the selection
/// becomes it.
pub(crate) fn next_loop_mode(state: &mut State) {
    let region = region_text(state);
    match (state.playback.loop_mode, region) {
        (LoopMode::Section, Some(region)) => set_loop_mode(state, LoopMode::Region, format!("loop: {region}")),
        (LoopMode::Section, None) if state.session.selection().is_some() => toggle_region(state),
        (LoopMode::All, _) => set_loop_mode(state, LoopMode::Section, "loop: section at the cursor"),
        (LoopMode::Section | LoopMode::Region, _) => set_loop_mode(state, LoopMode::All, "loop: whole groove"),
    }
}

fn set_loop_mode(state: &mut State, mode: LoopMode, text: impl Into<String>) {
    state.playback.loop_mode = mode;
    state.info(text);
}

/// Makes the selection, or the cursor's bar, the loop region, and loops it; clears the region if it is looped already.
pub(crate) fn toggle_region(state: &mut State) {
    let before = state.session.loop_region().filter(|_| state.playback.loop_mode == LoopMode::Region);
    change_region(state, Command::LoopRegion, "loop");
    if before.is_some() && state.session.loop_region() == before {
        clear_region(state);
    }
}

/// Changes the loop region, loops it, and says what it is now.
pub(crate) fn change_region(state: &mut State, command: Command, what: &str) {
    run_command(state, command);
    // Not in a groove without layers.
    if let Some(region) = region_text(state) {
        set_loop_mode(state, LoopMode::Region, format!("{what}: {region}"));
    }
}

pub(crate) fn clear_region(state: &mut State) {
    if state.session.loop_region().is_some() {
        state.info("loop region cleared");
    }
    run_command(state, Command::ClearLoopRegion);
}

/// The loop region in words: `bars 2 to 3`, or from its first cell through its last one in the cursor's layer.
fn region_text(state: &State) -> Option<String> {
    let (groove, LoopRegion { start, end }) = (state.groove(), state.session.loop_region()?);
    let layer = state.session.cursor().place.layer;
    if start.section == end.section
        && let Some(section) = groove.sections().get(start.section)
    {
        let bar = |mark: Mark| mark.at.ratio_to(section.meter.bar()).filter(|r| r.denom() == 1);
        if let (Some(first), Some(last)) = (bar(start), bar(end)) {
            let of = if groove.sections().len() > 1 { format!("{} ", section.name) } else { String::new() };
            return Some(of + &messages::bar_range(&(first.floor() as usize..last.floor() as usize)));
        }
    }
    groove.layers().get(layer)?;
    let first = cell_at(groove, layer, start);
    let mut last = cell_at(groove, layer, end);
    if last.cell > 0 && (end.at >= groove.sections()[end.section].length() || groove.written_at(last) == end.at) {
        last.cell -= 1;
    }
    let text = |place| describe::place(groove, place);
    Some(if first == last { text(first) } else { format!("{} through {}", text(first), text(last)) })
}

/// The cell of a layer at a mark; at the end of a section the number of its cells.
fn cell_at(groove: &Groove, layer: usize, Mark { section, at }: Mark) -> Place {
    let is_end = at >= groove.sections()[section].length();
    let cell = if is_end {
        groove.cells(layer, section)
    } else {
        groove.part(layer, section).cell_at(at, groove.context(layer, section))
    };
    Place { layer, section, cell }
}
