//! Draws the choices of a search in the recording: a numbered row for each, and below them what cannot be known.

use crate::terminal::State;
use crate::terminal::grid_search::ChoiceList;
use crate::terminal::view::{Pen, fit, wrap};
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Columns of a number and of the space after it.
const NUMBER: usize = 3;

pub(crate) fn draw(state: &State, pen: &mut Pen<'_>, area: Rect, list: &ChoiceList) {
    let theme = pen.theme;
    let width = usize::from(area.width);
    let (hear, take) = (state.key("list-hear"), state.key("list-accept"));
    let playing = if state.playback.is_playing { "stops" } else { "plays" };
    let title = format!("{} ({hear} {playing}, {take} or a number takes it)", list.choices.title);
    pen.put(area, 0, 0, &fit(&title, width), theme.heading());
    let mut y = 1;
    if !list.choices.columns.is_empty() {
        pen.put(area, NUMBER, y, &fit(list.choices.columns, width.saturating_sub(NUMBER)), theme.faint());
        y += 1;
    }
    for (k, choice) in list.choices.list.iter().enumerate() {
        for (line, text) in wrap(&choice.text, width.saturating_sub(NUMBER)).into_iter().enumerate() {
            if line == 0 {
                pen.put(area, 0, y, &(k + 1).to_string(), theme.key());
            }
            pen.put(area, NUMBER, y, &text, Style::new());
            if k == list.selected {
                pen.row_style(area, y, theme.cursor());
            }
            y += 1;
        }
    }
    y += 1;
    for remark in &list.choices.remarks {
        for (line, text) in wrap(remark, width.saturating_sub(2)).into_iter().enumerate() {
            if line == 0 {
                pen.put(area, 0, y, "-", theme.faint());
            }
            pen.put(area, 2, y, &text, Style::new());
            y += 1;
        }
    }
}
