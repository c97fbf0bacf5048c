//! From the state to the cells of a frame. It must not change the state, nor know a clock or a file.

pub(crate) mod columns;
mod full;
mod grid;
pub(crate) mod layout;
mod lists;
mod manual;
mod pane;
mod pen;
mod status_lines;
mod strips;
mod tap;
pub(crate) mod theme;

use super::overlay::Overlay;
use super::state::State;
use layout::{MIN_HEIGHT, MIN_WIDTH};
use pen::Pen;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

pub(crate) use full::{Block, Item, Part, blocks, rows};
pub(crate) use lists::help_lines;
pub(crate) use pen::fit;

/// Draws the whole screen.
pub fn view(state: &State, frame: &mut Frame<'_>) {
    draw(state, frame.buffer_mut());
}

/// Draws the whole screen into the cells of a frame.
pub(crate) fn draw(state: &State, buffer: &mut Buffer) {
    let area = *buffer.area();
    let mut pen = Pen::new(buffer, state.theme);
    let Some(layout) = state.layout_in(area.width, area.height) else {
        return too_small(&mut pen, area);
    };
    status_lines::top(state, &mut pen, layout.top);
    match &state.overlay {
        Overlay::Help(at) => lists::help(state, &mut pen, body(area), *at),
        Overlay::Outputs(lines, at) => lists::outputs(&mut pen, body(area), lines, *at),
        Overlay::ConfigFile(at) => lists::config_file(state, &mut pen, body(area), *at),
        Overlay::Find { text, chosen } => lists::find(state, &mut pen, body(area), text, *chosen),
        Overlay::Offers { choice, text, chosen } => {
            lists::offers(state, &mut pen, body(area), *choice, (text, *chosen));
        }
        Overlay::Manual(open) => manual::manual(&mut pen, body(area), open),
        Overlay::Remarks(at) => lists::remarks(state, &mut pen, body(area), *at),
        Overlay::TapReport(at) => tap::report(state, &mut pen, body(area), *at),
        Overlay::Full { block, into } => full::full(state, &mut pen, body(area), *block, *into),
        _ => {
            let scale = state.scale();
            grid::ruler(state, &mut pen, &layout, scale);
            grid::layers(state, &mut pen, &layout, scale);
            strips::strips(state, &mut pen, &layout, scale);
            match &state.overlay {
                Overlay::Tap => tap::pane(state, &mut pen, &layout),
                _ => pane::pane(state, &mut pen, &layout),
            }
        }
    }
    status_lines::transport(state, &mut pen, layout.transport);
    status_lines::hints(state, &mut pen, layout.hints);
}

/// Between the top line and the transport.
fn body(area: Rect) -> Rect {
    Rect::new(0, 1, area.width, area.height - 3)
}

fn too_small(pen: &mut Pen<'_>, area: Rect) {
    let style = pen.theme.bar();
    let lines = [
        "window too small".to_owned(),
        format!("is {}x{}", area.width, area.height),
        format!("needs {MIN_WIDTH}x{MIN_HEIGHT}"),
    ];
    for (i, line) in lines.iter().enumerate() {
        pen.put(area, 0, i, line, style);
    }
}
