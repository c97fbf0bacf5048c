//! Draws the list of sections: a row for each, with its name, meter, tempo, bars and times through.

use crate::rhythm::{Section, print_note_value};
use crate::terminal::State;
use crate::terminal::view::{Pen, fit};
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// Columns of a name that are never cut, and of a meter.
const MIN_NAME_WIDTH: usize = 8;
const MAX_METER_WIDTH: usize = 16;
const HEADINGS: [&str; 6] = ["section", "meter", "tempo", "bars", "times", "swing"];

pub(crate) fn draw(state: &State, pen: &mut Pen<'_>, area: Rect, selected: usize) {
    let theme = pen.theme;
    let sections = state.groove().sections();
    pen.put(area, 0, 0, &format!("Sections: {}", sections.len()), theme.heading());
    let rows: Vec<[String; 6]> = sections.iter().map(row).collect();
    let number_width = sections.len().to_string().len();
    let mut widths = [0; HEADINGS.len()];
    for (k, width) in widths.iter_mut().enumerate() {
        *width = rows.iter().map(|r| r[k].width()).chain([HEADINGS[k].len()]).max().unwrap_or(0);
    }
    // The names give way to the numbers.
    let others: usize = widths[1..].iter().map(|width| width + 2).sum();
    let room = usize::from(area.width).saturating_sub(number_width + 3 + others).max(MIN_NAME_WIDTH);
    widths[0] = widths[0].min(room);
    let mut starts = vec![number_width + 3];
    (0..HEADINGS.len() - 1).for_each(|k| starts.push(starts[k] + widths[k] + 2));
    let list = Rect::new(area.x, area.y + 1, area.width, area.height.saturating_sub(1));
    for (heading, start) in HEADINGS.iter().zip(&starts) {
        pen.put(list, *start, 0, heading, theme.faint());
    }
    let height = usize::from(list.height).saturating_sub(1).max(1);
    let at = selected.min(sections.len().saturating_sub(1));
    let first = (at + 1).saturating_sub(height);
    pen.scroll_percent(area, 14 + number_width, first, height, sections.len());
    let here = state.session.cursor().place.section;
    for (y, (k, row)) in rows.iter().enumerate().skip(first).take(height).enumerate() {
        let mark = if k == here { theme.glyphs().here } else { ' ' };
        pen.put(list, 0, y + 1, &format!("{mark}{:>number_width$}", k + 1), theme.value());
        for ((text, start), width) in row.iter().zip(&starts).zip(widths) {
            pen.put(list, *start, y + 1, &fit(text, width), Style::new());
        }
        if k == at {
            pen.row_style(list, y + 1, theme.cursor());
        }
    }
}

fn row(section: &Section) -> [String; 6] {
    [
        section.name.clone(),
        fit(&section.meter.to_string(), MAX_METER_WIDTH),
        format!("{} = {}", print_note_value(section.tempo.unit()), section.tempo.bpm()),
        section.bars.to_string(),
        section.times.to_string(),
        section.swing.map_or_else(|| "straight".to_owned(), |s| s.to_string()),
    ]
}
