//! Draws the list of what is played against what is written.

use crate::describe;
use crate::rhythm::{Micros, count};
use crate::session::recording::print_instant;
use crate::terminal::State;
use crate::terminal::transcription::differences::{Difference, DifferenceKind, totals};
use crate::terminal::transcription::{band_name, deviation_words};
use crate::terminal::view::{Pen, fit};
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

const HEADINGS: [&str; 4] = ["difference", "place", "layer", "time"];

pub(crate) fn draw(state: &State, pen: &mut Pen<'_>, area: Rect, selected: usize) {
    let theme = pen.theme;
    let all = &state.transcription.differences;
    let (onsets, attacks, largest) = totals(all);
    let largest = largest.map(|ms| format!(", at most {:.0} ms off", ms.abs())).unwrap_or_default();
    let (onsets, attacks) = (count(onsets, "onset"), count(attacks, "attack"));
    let title = format!("{onsets} without an attack, {attacks} without an onset{largest}");
    pen.put(area, 0, 0, &fit(&title, usize::from(area.width)), theme.heading());
    let list = Rect::new(area.x, area.y + 1, area.width, area.height.saturating_sub(1));
    let height = usize::from(list.height).saturating_sub(1).max(1);
    let at = selected.min(all.len().saturating_sub(1));
    let first = (at + 1).saturating_sub(height);
    // Only the visible rows are written, so their width may change while the list is scrolled.
    let rows: Vec<[String; 4]> = all.iter().skip(first).take(height).map(|d| row(state, d)).collect();
    let width = |k: usize| rows.iter().map(|r| r[k].width()).chain([HEADINGS[k].len()]).max().unwrap_or(0) + 2;
    let mut starts = [1; HEADINGS.len()];
    (1..HEADINGS.len()).for_each(|k| starts[k] = starts[k - 1] + width(k - 1));
    for (heading, start) in HEADINGS.iter().zip(starts) {
        pen.put(list, start, 0, heading, theme.faint());
    }
    for (y, row) in rows.iter().enumerate() {
        for (text, start) in row.iter().zip(starts) {
            pen.put(list, start, y + 1, &fit(text, usize::from(list.width).saturating_sub(start)), Style::new());
        }
        if first + y == at {
            pen.row_style(list, y + 1, theme.cursor());
        }
    }
}

fn row(state: &State, difference: &Difference) -> [String; 4] {
    let groove = state.groove();
    let what = match difference.kind {
        DifferenceKind::OnsetAlone { band, confidence } => {
            format!("onset only ({}, {:.0}%)", band_name(band), 100.0 * confidence)
        }
        DifferenceKind::AttackAlone => "attack only".to_owned(),
        DifferenceKind::Deviation(ms) => deviation_words(ms),
    };
    let pass = if difference.pass > 0 { format!(", pass {}", difference.pass + 1) } else { String::new() };
    let place = describe::place(groove, difference.place);
    let layer = groove.layers().get(difference.place.layer).map_or("", |l| &l.name);
    let at = Micros((difference.seconds * 1000.0).round() as i64 * 1000);
    [what, place + &pass, fit(layer, 16), print_instant(at)]
}
