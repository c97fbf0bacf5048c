//! Draws the state into the cells of a frame. It must not change the state, read a clock or open a file.

pub(crate) mod anchors;
mod columns;
mod differences;
mod full;
mod grid;
mod grid_choices;
mod lane;
pub(crate) mod layout;
mod lists;
mod manual;
mod menu;
mod onsets;
pub(crate) mod pane;
mod pen;
mod sections;
mod status_lines;
mod strips;
mod tap;
pub(crate) mod theme;
mod variants;

use crate::terminal::{Overlay, State};
use layout::{MIN_HEIGHT, MIN_WIDTH};
use pen::{Pen, StyledLine, hanging_indent, styled_lines, wrap};
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use theme::Theme;

pub(crate) use columns::Scale;
pub(crate) use full::{Block, Item, KeptBlocks, ReportPart, blocks, list_height};
pub(crate) use layout::{Layout, SectionColumns, StripRows};
pub(crate) use lists::{help_lines, help_page, plain_list};
pub(crate) use pen::{end, fit};

#[derive(Debug, Clone, Default)]
pub(crate) struct ViewState {
    pub theme: Theme,
    /// Columns and rows of the window.
    pub size: (u16, u16),
    pub zoom: i32,
    /// First visible column of the section.
    pub scroll: usize,
    /// The section of the playhead while the grid follows it.
    pub followed_section: Option<usize>,
    /// First visible layer.
    pub top_layer: usize,
    pub labels: Labels,
    pub strips: Strips,
}

impl ViewState {
    pub(crate) fn toggle_strips(&mut self) {
        self.strips = if self.strips == Strips::Two { Strips::All } else { Strips::Two };
    }

    pub(crate) fn next_labels(&mut self) {
        self.labels = match self.labels {
            Labels::Groups => Labels::Pitches,
            Labels::Pitches => Labels::None,
            Labels::None => Labels::Groups,
        };
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Labels {
    #[default]
    Groups,
    Pitches,
    None,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Strips {
    #[default]
    Two,
    /// As many as there is room for.
    All,
}

/// Draws the whole screen.
pub fn view(state: &State, frame: &mut Frame<'_>) {
    draw(state, frame.buffer_mut(), &mut KeptBlocks::default());
}

/// Draws the whole screen with what was kept from the frame before.
pub(crate) fn draw(state: &State, buffer: &mut Buffer, kept: &mut KeptBlocks) {
    let area = *buffer.area();
    let mut pen = Pen::new(buffer, state.view.theme);
    let Some(layout) = state.layout_in(area.width, area.height) else {
        return too_small(&mut pen, area);
    };
    status_lines::draw_title(state, &mut pen, layout.top);
    match &state.overlay {
        Overlay::Help(view) => lists::draw_help(state, &mut pen, body(area), view),
        Overlay::Find { text, selected } => lists::draw_find(state, &mut pen, body(area), text, *selected),
        Overlay::Export { menu, text, selected } => {
            lists::draw_export_menu(state, &mut pen, body(area), *menu, (text, *selected));
        }
        Overlay::Manual(open) => manual::draw(&mut pen, body(area), open),
        Overlay::TapReport(at) => tap::draw_report(state, &mut pen, body(area), *at),
        Overlay::Sections(at) => sections::draw(state, &mut pen, body(area), *at),
        Overlay::Anchors(at) => anchors::draw(state, &mut pen, body(area), *at),
        Overlay::GridChoices(list) => grid_choices::draw(state, &mut pen, body(area), list),
        Overlay::Differences(at) => differences::draw(state, &mut pen, body(area), *at),
        Overlay::Full { block, line } => full::draw(state, &mut pen, body(area), *block, *line),
        overlay => {
            if let Some(list) = plain_list(state) {
                lists::draw_plain_list(&mut pen, body(area), &list);
            } else {
                let scale = state.scale();
                for system in (0..layout.systems).map(|k| layout.system(k)) {
                    // The section may end before the last one.
                    if system.first_column < scale.width() {
                        lane::draw(state, &mut pen, &system, scale);
                        grid::draw_ruler(state, &mut pen, &system, scale);
                        grid::draw_layers(state, &mut pen, &system, scale);
                        strips::draw(state, &mut pen, &system, scale);
                    }
                }
                match overlay {
                    Overlay::Tap => tap::draw_pane(state, &mut pen, &layout),
                    Overlay::TapTempo(taps) => tap::draw_tempo_pane(state, &mut pen, &layout, taps),
                    Overlay::Variants(list) => variants::draw(&mut pen, layout.pane, list),
                    _ => pane::draw(state, &mut pen, &layout, kept),
                }
                if let Overlay::Menu(open) = overlay {
                    let above_transport = Rect { height: area.height - 2, ..area };
                    menu::draw(state, &mut pen, above_transport, *open);
                }
            }
        }
    }
    status_lines::draw_bottom(state, &mut pen, &layout);
}

/// The rows between the top line and the transport.
fn body(area: Rect) -> Rect {
    Rect::new(0, 1, area.width, area.height - 3)
}

fn too_small(pen: &mut Pen<'_>, area: Rect) {
    let style = pen.theme.strong();
    let lines = [
        "window too small".to_owned(),
        format!("is {}x{}", area.width, area.height),
        format!("needs {MIN_WIDTH}x{MIN_HEIGHT}"),
    ];
    for (i, line) in lines.iter().enumerate() {
        pen.put(area, 0, i, line, style);
    }
}
