//! Draws the list of anchors: a row for each, with its place, its time in the recording and the tempo up to the next one.

use crate::session::recording::{print_instant, print_place};
use crate::terminal::view::{Pen, fit};
use crate::terminal::{State, anchors};
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

const HEADINGS: [&str; 3] = ["place", "time", "tempo"];

pub(crate) fn draw(state: &State, pen: &mut Pen<'_>, area: Rect, selected: usize) {
    let theme = pen.theme;
    let groove = state.groove();
    let Some(recording) = groove.recording() else { return };
    let title = format!("Anchors of {}: {}", recording.file, recording.anchors().len());
    pen.put(area, 0, 0, &fit(&title, usize::from(area.width)), theme.heading());
    let rows: Vec<[String; 3]> = recording
        .anchors()
        .iter()
        .enumerate()
        .map(|(k, a)| {
            let tempo = anchors::tempo_after(groove, k).map_or_else(String::new, |bpm| format!("{bpm:.1} to the next"));
            let note = if groove.grid_time(a.place).is_some() { tempo } else { "not in the groove".to_owned() };
            [print_place(a.place), print_instant(a.at), note]
        })
        .collect();
    let list = Rect::new(area.x, area.y + 1, area.width, area.height.saturating_sub(1));
    let width = |k: usize| rows.iter().map(|r| r[k].width()).chain([HEADINGS[k].len()]).max().unwrap_or(0) + 2;
    let starts = [1, 1 + width(0), 1 + width(0) + width(1)];
    for (heading, start) in HEADINGS.iter().zip(starts) {
        pen.put(list, start, 0, heading, theme.faint());
    }
    let height = usize::from(list.height).saturating_sub(1).max(1);
    let at = selected.min(rows.len().saturating_sub(1));
    let first = (at + 1).saturating_sub(height);
    for (y, (k, row)) in rows.iter().enumerate().skip(first).take(height).enumerate() {
        for (text, start) in row.iter().zip(starts) {
            pen.put(list, start, y + 1, &fit(text, usize::from(list.width).saturating_sub(start)), Style::new());
        }
        if k == at {
            pen.row_style(list, y + 1, theme.cursor());
        }
    }
}
