//! Draws the manual: the list of chapters, or one chapter with the latest match highlighted.

use crate::manual::{CHAPTERS, LineKind};
use crate::terminal::TextField;
use crate::terminal::manual::{ManualView, lines};
use crate::terminal::search::PagerInput;
use crate::terminal::view::Pen;
use ratatui::layout::Rect;
use ratatui::style::Style;

pub(super) fn draw(pen: &mut Pen<'_>, area: Rect, view: &ManualView) {
    let theme = pen.theme;
    let title = view.page.checked_sub(1).and_then(|chapter| CHAPTERS.get(chapter)).map_or("chapters", |c| c.name);
    let head = format!("Manual: {title} ({}/{})", view.page, CHAPTERS.len());
    let x = pen.put(area, 0, 0, &head, theme.faint());
    let x = draw_search(pen, area, x, view.input, &view.search);
    let lines = lines(view.page, area.width);
    let list = Rect::new(area.x, area.y + 1, area.width, area.height.saturating_sub(1));
    let height = usize::from(list.height);
    let in_list = view.page == 0;
    let first = if in_list { (view.line + 1).saturating_sub(height) } else { view.line };
    let first = first.min(lines.len().saturating_sub(height));
    pen.scroll_percent(area, x, first, height, lines.len());
    for (y, (at, line)) in lines.iter().enumerate().skip(first).take(height).enumerate() {
        let style = match line.kind {
            LineKind::Heading => theme.heading(),
            LineKind::Code => theme.key(),
            LineKind::Text => Style::new(),
        };
        pen.put(list, 1, y, &line.text, style);
        if view.matched == Some(at) || in_list && view.line == at {
            pen.row_style(list, y, theme.cursor());
        }
    }
}

/// Draws the text that is typed or was searched for; returns the column after it.
pub(super) fn draw_search(pen: &mut Pen<'_>, area: Rect, x: usize, input: PagerInput, search: &TextField) -> usize {
    match input {
        PagerInput::Search => {
            let x = pen.put(area, x, 0, "   Search: ", pen.theme.heading());
            pen.text_field(area, x, search, Style::new()) + 1
        }
        PagerInput::Move if !search.value().is_empty() => {
            pen.put(area, x, 0, &format!("   /{}", search.value()), pen.theme.faint())
        }
        PagerInput::Move => x,
    }
}
