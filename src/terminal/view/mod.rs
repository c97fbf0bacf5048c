//! From the state to the cells of a frame. It must not change the state, nor know a clock or a file.

mod full;
mod grid;
mod heads;
mod lists;
mod pane;
mod pen;
mod strips;
mod tap;

use super::layout::{LEAST_HEIGHT, LEAST_WIDTH, Layout};
use super::overlay::Overlay;
use super::state::{State, Strips};
use pen::Pen;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

pub(super) use full::{Block, Item, Part, blocks, rows};
pub(super) use lists::help_lines;
pub(super) use pen::fit;

/// Draws the whole screen.
pub fn view(state: &State, frame: &mut Frame<'_>) {
    draw(state, frame.buffer_mut());
}

/// Draws the whole screen into the cells of a frame.
pub(super) fn draw(state: &State, buffer: &mut Buffer) {
    let area = *buffer.area();
    let mut pen = Pen::new(buffer, state.theme);
    let layers = state.groove().layers().len();
    let Some(layout) = Layout::new(area.width, area.height, layers, state.strips == Strips::All) else {
        return too_small(&mut pen, area);
    };
    heads::top(state, &mut pen, layout.top);
    match &state.overlay {
        Overlay::Help(at) => lists::help(state, &mut pen, body(area), *at),
        Overlay::Outputs(lines, at) => lists::outputs(&mut pen, body(area), lines, *at),
        Overlay::Find { text, chosen } => lists::find(state, &mut pen, body(area), text, *chosen),
        Overlay::Offers { choice, text, chosen } => {
            lists::offers(state, &mut pen, body(area), *choice, (text, *chosen));
        }
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
    heads::transport(state, &mut pen, layout.transport);
    heads::hints(state, &mut pen, layout.hints);
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
        format!("needs {LEAST_WIDTH}x{LEAST_HEIGHT}"),
    ];
    for (i, line) in lines.iter().enumerate() {
        pen.put(area, 0, i, line, style);
    }
}
