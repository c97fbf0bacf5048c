//! Draws an open menu over the bottom of the screen, above the transport.

use crate::terminal::State;
use crate::terminal::commands::{self, MAX_DESCRIPTION, Menu};
use crate::terminal::view::{Pen, fit};
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// Draws the keys and the commands of a menu under its heading, in as many columns as fit, or as are needed.
pub(super) fn draw(state: &State, pen: &mut Pen<'_>, area: Rect, menu: Menu) {
    let Some(opener) = commands::opener(menu) else { return };
    let entries = state.input.keymap.menu_commands(menu);
    let keys_width = entries.iter().map(|(keys, _)| keys.width()).max().unwrap_or(0) + 3;
    let (width, room) = (usize::from(area.width), usize::from(area.height).saturating_sub(1).max(1));
    let columns = (width / (keys_width + MAX_DESCRIPTION + 1)).max(entries.len().div_ceil(room)).max(1);
    let rows = entries.len().div_ceil(columns);
    let height = (rows + 1).min(usize::from(area.height)) as u16;
    let area = Rect { y: area.y + area.height - height, height, ..area };
    pen.clear(area);
    let x = pen.put(area, 0, 0, &state.key(opener.name), pen.theme.key());
    pen.put(area, x + 1, 0, opener.description, pen.theme.heading());
    for (i, (keys, command)) in entries.iter().enumerate() {
        let column =
            Rect { x: area.x + (i / rows * (width / columns)) as u16, width: (width / columns) as u16, ..area };
        let y = 1 + i % rows;
        pen.put(column, 1, y, keys, pen.theme.key());
        let description = fit(command.description, (width / columns).saturating_sub(keys_width + 1));
        pen.put(column, keys_width, y, &description, Style::new());
    }
}
