//! The help and the searched list of commands, which fill the whole screen.

use super::pen::{Pen, Pieces, fit, wrap};
use crate::terminal::commands::{CommandSpec, Group, MAX_DESCRIPTION, Mode, rows};
use crate::terminal::files::export;
use crate::terminal::files::export::Choice;
use crate::terminal::prompts::typing::TextField;
use crate::terminal::state::State;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// Columns of the keys in lists.
const KEYS: usize = 23;
/// Columns of a command's name, and of the space before it.
const NAMES: usize = 19;

/// Lines of the help in a window of this width.
pub(crate) fn help_lines(state: &State) -> usize {
    lines_of_help(state, usize::from(state.size.0)).len()
}

fn lines_of_help(state: &State, width: usize) -> Vec<Pieces> {
    let theme = state.theme;
    let room = MAX_DESCRIPTION.min(width.saturating_sub(KEYS)).max(1);
    let mut lines: Vec<Pieces> = Vec::new();
    for group in Group::ALL {
        lines.push(vec![(group.words().to_owned(), theme.heading())]);
        for row in rows().filter(|r| r.group == *group) {
            for (i, words) in wrap(row.description, room).into_iter().enumerate() {
                let before = if i == 0 { keys(state, row, KEYS) } else { " ".repeat(KEYS) };
                // What has no key is found by its name.
                let (before, style) = if i == 0 && before.trim().is_empty() {
                    (format!(" {:<width$}", fit(row.name, KEYS - 2), width = KEYS - 1), theme.faint())
                } else {
                    (before, theme.key())
                };
                lines.push(vec![(before, style), (words, Style::new())]);
            }
        }
        lines.push(Vec::new());
    }
    lines
}

pub(crate) fn help(state: &State, pen: &mut Pen<'_>, area: Rect, at: usize) {
    let lines = lines_of_help(state, usize::from(area.width));
    let height = usize::from(area.height);
    // Where it is wide enough the help stands in columns.
    let columns = (usize::from(area.width) / (KEYS + MAX_DESCRIPTION + 2)).max(1);
    for (i, line) in lines.iter().skip(at).take(height * columns).enumerate() {
        pen.pieces(area, i / height * (KEYS + MAX_DESCRIPTION + 2), i % height, line);
    }
}

/// The keys of a command, in so many columns.
fn keys(state: &State, row: &'static CommandSpec, columns: usize) -> String {
    format!(" {:<width$}", state.keymap.shown(row), width = columns - 1)
}

/// The commands that hold the words typed: keys, words, name, and where there is room the group.
pub(crate) fn find(state: &State, pen: &mut Pen<'_>, area: Rect, text: &TextField, chosen: usize) {
    let theme = pen.theme;
    let found = state.keymap.search(text.value());
    let widest = rows().filter(|r| r.mode == Mode::Grid).map(|r| state.keymap.shown(r).width()).max().unwrap_or(0);
    let at = (widest + 2).min(KEYS);
    // The name stands whole, the words are cut before it; names end in one column, that of the window where it is narrow.
    let end = usize::from(area.width).min(at + MAX_DESCRIPTION + NAMES);
    let groups = Group::ALL.iter().map(|g| g.words().width()).max().unwrap_or(0);
    searched(pen, area, ("Find a command: ", text), found.len(), chosen, |pen, line, k| {
        let row = found[k];
        let name = end.saturating_sub(row.name.width() + 1);
        pen.put(line, 0, 0, &fit(&keys(state, row, at), at), theme.key());
        pen.put(line, at, 0, &fit(row.description, name.saturating_sub(at + 1)), Style::new());
        pen.put(line, name, 0, row.name, theme.faint());
        if end + 2 + groups <= usize::from(area.width) {
            pen.put(line, end + 2, 0, row.group.words(), theme.faint());
        }
    });
}

/// A searched list: what is typed, how many lines were found, those around the chosen one.
fn searched(
    pen: &mut Pen<'_>,
    area: Rect,
    (head, text): (&str, &TextField),
    found: usize,
    chosen: usize,
    draw: impl Fn(&mut Pen<'_>, Rect, usize),
) {
    let theme = pen.theme;
    let x = pen.put(area, 0, 0, head, theme.heading());
    let x = pen.text_field(area, x, text, Style::new());
    pen.put(area, x + 3, 0, &format!("{found} found"), theme.faint());
    let height = usize::from(area.height).saturating_sub(1).max(1);
    let first = (chosen + 1).saturating_sub(height);
    for (y, k) in (first..found).take(height).enumerate() {
        let line = Rect::new(area.x, area.y + 1 + y as u16, area.width, 1);
        draw(pen, line, k);
        if k == chosen {
            pen.row_style(line, 0, theme.chosen());
        }
    }
}

/// The output devices, name and what the system calls it, and why there is no sound if there is none.
pub(crate) fn outputs(pen: &mut Pen<'_>, area: Rect, lines: &[String], at: usize) {
    told(pen, area, "Output devices (choose one with [sound] output = \"...\" in the config file)", lines, at);
}

/// What is wrong with the config file, and what is used instead.
pub(crate) fn config_file(state: &State, pen: &mut Pen<'_>, area: Rect, at: usize) {
    let lines = state.config_errors.as_deref().unwrap_or_default();
    told(pen, area, "Errors in the config file", lines, at);
}

/// A heading and what stands under it from an entry on, each entry in as many lines as it needs.
fn told(pen: &mut Pen<'_>, area: Rect, head: &str, entries: &[String], at: usize) {
    pen.put(area, 0, 0, head, pen.theme.heading());
    let mut y = 1;
    for entry in entries.iter().skip(at) {
        for (i, line) in wrap(entry, usize::from(area.width).saturating_sub(3)).into_iter().enumerate() {
            if y >= usize::from(area.height) {
                return;
            }
            pen.put(area, if i == 0 { 1 } else { 3 }, y, &line, Style::new());
            y += 1;
        }
    }
}

/// What can be made, as far as it has the words typed.
pub(crate) fn offers(
    state: &State,
    pen: &mut Pen<'_>,
    area: Rect,
    choice: Choice,
    (text, chosen): (&TextField, usize),
) {
    let theme = pen.theme;
    let found = export::found(state, choice, text.value());
    let head = match choice {
        Choice::Groove => "Export as: ",
        Choice::Section => "Export the section as: ",
        Choice::Handout => "Handout as: ",
    };
    searched(pen, area, (head, text), found.len(), chosen, |pen, line, k| {
        let offer = found[k].1;
        let name = format!(" {:<width$}", offer.name, width = KEYS - 1);
        pen.pieces(line, 0, 0, &[(name, theme.key()), (offer.description.clone(), Style::new())]);
    });
}

/// What the last import had to say.
pub(crate) fn remarks(state: &State, pen: &mut Pen<'_>, area: Rect, at: usize) {
    let remarks = &state.importing.remarks;
    let head = format!("Import warnings: {}", remarks.len());
    told(pen, area, &head, remarks, at);
}
