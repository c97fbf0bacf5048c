//! The help and the searched list of commands, which fill the whole screen. It must not know the grid.

use super::pen::{Pen, Pieces, wrap};
use crate::terminal::giving;
use crate::terminal::order::Choice;
use crate::terminal::state::State;
use crate::terminal::table::{Group, Row, WORDS_FIT, rows};
use crate::terminal::theme::Theme;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Columns of the keys in lists.
const KEYS: usize = 23;

/// Lines of the help.
pub(in crate::terminal) fn help_lines() -> usize {
    rows().count() + 2 * Group::ALL.len()
}

pub(super) fn help(state: &State, pen: &mut Pen<'_>, area: Rect, at: usize) {
    let theme = pen.theme;
    let mut lines: Vec<Pieces> = Vec::new();
    for group in Group::ALL {
        lines.push(vec![(group.words().to_owned(), theme.heading())]);
        for row in rows().filter(|r| r.group == *group) {
            lines.push(command(state, row, theme, false));
        }
        lines.push(Vec::new());
    }
    let height = usize::from(area.height);
    // Where it is wide enough the help stands in columns.
    let columns = (usize::from(area.width) / (KEYS + WORDS_FIT + 2)).max(1);
    for (i, line) in lines.iter().skip(at).take(height * columns).enumerate() {
        pen.pieces(area, i / height * (KEYS + WORDS_FIT + 2), i % height, line);
    }
}

fn command(state: &State, row: &'static Row, theme: Theme, with_group: bool) -> Pieces {
    let keys = state.keymap.shown(row);
    let group = if with_group { format!("  {}", row.group.words()) } else { String::new() };
    let words = if with_group { format!("{:<width$}", row.words, width = WORDS_FIT) } else { row.words.to_owned() };
    vec![(format!(" {keys:<width$}", width = KEYS - 1), theme.key()), (words, Style::new()), (group, theme.faint())]
}

pub(super) fn find(state: &State, pen: &mut Pen<'_>, area: Rect, text: &str, chosen: usize) {
    let theme = pen.theme;
    let found = state.keymap.search(text);
    let x = pen.put(area, 0, 0, "Find a command: ", theme.heading());
    let x = pen.put(area, x, 0, text, Style::new());
    pen.mark(area, x, 0, ' ', theme.cursor());
    pen.put(area, x + 3, 0, &format!("{} found", found.len()), theme.faint());
    let height = usize::from(area.height).saturating_sub(1).max(1);
    let first = (chosen + 1).saturating_sub(height);
    let list = Rect::new(area.x, area.y + 1, area.width, area.height - 1);
    for (i, row) in found.iter().enumerate().skip(first).take(height) {
        pen.pieces(list, 0, i - first, &command(state, row, theme, true));
        if i == chosen {
            pen.row_style(list, i - first, theme.chosen());
        }
    }
}

/// The output devices: name and what the system calls it.
pub(super) fn outputs(pen: &mut Pen<'_>, area: Rect, lines: &[String], at: usize) {
    let theme = pen.theme;
    pen.put(area, 0, 0, "Outputs: [sound] output = \"...\" in the config file chooses one", theme.heading());
    let height = usize::from(area.height).saturating_sub(1);
    for (i, line) in lines.iter().skip(at).take(height).enumerate() {
        pen.put(area, 1, i + 1, line, Style::new());
    }
    if lines.is_empty() {
        pen.put(area, 1, 1, "none", Style::new());
    }
}

/// What can be made, as far as it has the words typed.
pub(super) fn offers(state: &State, pen: &mut Pen<'_>, area: Rect, choice: Choice, (text, chosen): (&str, usize)) {
    let theme = pen.theme;
    let found = giving::found(state, choice, text);
    let head = match choice {
        Choice::Groove => "Export as: ",
        Choice::Section => "Export the section as: ",
        Choice::Handout => "Handout as: ",
    };
    let x = pen.put(area, 0, 0, head, theme.heading());
    let x = pen.put(area, x, 0, text, Style::new());
    pen.mark(area, x, 0, ' ', theme.cursor());
    pen.put(area, x + 3, 0, &format!("{} found", found.len()), theme.faint());
    let height = usize::from(area.height).saturating_sub(1).max(1);
    let first = (chosen + 1).saturating_sub(height);
    let list = Rect::new(area.x, area.y + 1, area.width, area.height - 1);
    for (i, (_, offer)) in found.iter().enumerate().skip(first).take(height) {
        let name = format!(" {:<width$}", offer.name, width = KEYS - 1);
        pen.pieces(list, 0, i - first, &[(name, theme.key()), (offer.words.clone(), Style::new())]);
        if i == chosen {
            pen.row_style(list, i - first, theme.chosen());
        }
    }
}

/// What the last import had to say.
pub(super) fn remarks(state: &State, pen: &mut Pen<'_>, area: Rect, at: usize) {
    let theme = pen.theme;
    let remarks = &state.importing.remarks;
    let head = format!("What the import changed or left out: {}", remarks.len());
    pen.put(area, 0, 0, &head, theme.heading());
    let mut y = 1;
    for remark in remarks.iter().skip(at) {
        for (i, line) in wrap(remark, usize::from(area.width).saturating_sub(3)).into_iter().enumerate() {
            if y >= usize::from(area.height) {
                return;
            }
            pen.put(area, if i == 0 { 1 } else { 3 }, y, &line, Style::new());
            y += 1;
        }
    }
}
