//! Draws the help, the searched lists and the plain lists, which fill the whole screen.

use crate::terminal::commands::{self, MAX_DESCRIPTION};
use crate::terminal::files::export::{self, ExportMenu};
use crate::terminal::files::recovery::RecoveryView;
use crate::terminal::help::{HelpTopic, HelpView};
use crate::terminal::view::{Pen, StyledLine, fit, hanging_indent, list_height, manual, wrap};
use crate::terminal::{Confirmation, Mode, Overlay, State, TextField};
use ratatui::layout::Rect;
use ratatui::style::Style;
use std::borrow::Cow;
use unicode_width::UnicodeWidthStr;

const KEYS_WIDTH: usize = 23;
/// From one column of the help to the next.
const HELP_COLUMN: usize = KEYS_WIDTH + MAX_DESCRIPTION + 2;
/// Columns of a command's name and of the space before it.
const NAME_WIDTH: usize = 19;

/// The lines of the help, and what each is about.
pub(crate) fn help_lines(state: &State, width: usize) -> Vec<(HelpTopic, StyledLine)> {
    let theme = state.view.theme;
    let room = MAX_DESCRIPTION.min(width.saturating_sub(KEYS_WIDTH)).max(1);
    let mut lines = Vec::new();
    for group in commands::groups() {
        let topic = HelpTopic { first: &group[0], command: None };
        lines.push((topic, vec![(topic.first.heading.to_owned(), theme.heading())]));
        for command in group {
            let keys = state.input.keymap.display_keys(command);
            // A command without a key is found by its name.
            let (before, style) =
                if keys.is_empty() { (fit(command.name, KEYS_WIDTH - 2), theme.faint()) } else { (keys, theme.key()) };
            let before = pad(&before, KEYS_WIDTH);
            let described = hanging_indent(wrap(command.description, room), (&before, style), Style::new());
            let commands = std::iter::once(Some(command)).chain(std::iter::repeat(None));
            lines.extend(commands.zip(described).map(|(command, line)| (HelpTopic { command, ..topic }, line)));
        }
        lines.push((topic, Vec::new()));
    }
    lines
}

/// Lines of the help that a window shows at a time.
pub(crate) fn help_page((width, height): (u16, u16)) -> usize {
    list_height(height) * help_columns(usize::from(width))
}

/// A wide window has several columns of help.
fn help_columns(width: usize) -> usize {
    (width / HELP_COLUMN).max(1)
}

pub(crate) fn draw_help(state: &State, pen: &mut Pen<'_>, area: Rect, view: &HelpView) {
    let lines = help_lines(state, usize::from(area.width));
    let chapter = lines.get(view.line).map_or("", |(topic, _)| topic.first.chapter);
    let accept = state.key("list-accept");
    let x = pen.put(area, 0, 0, &format!("Help   {accept}: chapter {chapter} of the manual"), pen.theme.faint());
    let x = manual::draw_search(pen, area, x, view.input, &view.search);
    let list = Rect::new(area.x, area.y + 1, area.width, area.height.saturating_sub(1));
    let height = usize::from(list.height);
    let (step, columns) = (HELP_COLUMN, help_columns(usize::from(list.width)));
    let first = (view.line + 1).saturating_sub(height * columns);
    pen.scroll_percent(area, x, first, height * columns, lines.len());
    for (i, (_, line)) in lines.iter().enumerate().skip(first).take(height * columns) {
        let (x, y) = ((i - first) / height * step, (i - first) % height);
        pen.put_line(list, x, y, line);
        if i == view.line {
            let width = (step - 1).min(usize::from(list.width) - x);
            pen.row_style(Rect { x: list.x + x as u16, width: width as u16, ..list }, y, pen.theme.cursor());
        }
    }
}

/// Text after a space, in so many columns.
fn pad(text: &str, columns: usize) -> String {
    format!(" {text:<width$}", width = columns - 1)
}

/// Draws the commands that match the search: keys, description, name, and where there is room the group.
pub(crate) fn draw_find(state: &State, pen: &mut Pen<'_>, area: Rect, text: &TextField, selected: usize) {
    let theme = pen.theme;
    let found = state.input.keymap.search(text.value());
    let grid_commands = commands::all().filter(|c| c.mode == Mode::Grid);
    let widest = grid_commands.map(|c| state.input.keymap.display_keys(c).width()).max().unwrap_or(0);
    let at = (widest + 2).min(KEYS_WIDTH);
    // Names are right-aligned and never cut, descriptions are.
    let end = usize::from(area.width).min(at + MAX_DESCRIPTION + NAME_WIDTH);
    let groups = commands::all().map(|c| c.heading.width()).max().unwrap_or(0);
    draw_search(pen, area, ("Find a command: ", text), found.len(), selected, |pen, line, k| {
        let command = found[k];
        let name = end.saturating_sub(command.name.width() + 1);
        pen.put(line, 0, 0, &fit(&pad(&state.input.keymap.display_keys(command), at), at), theme.key());
        pen.put(line, at, 0, &fit(command.description, name.saturating_sub(at + 1)), Style::new());
        pen.put(line, name, 0, command.name, theme.faint());
        if end + 2 + groups <= usize::from(area.width) {
            pen.put(line, end + 2, 0, command.heading, theme.faint());
        }
    });
}

/// Draws a search field, the number of matches, and the matches around the selected one.
fn draw_search(
    pen: &mut Pen<'_>,
    area: Rect,
    (head, text): (&str, &TextField),
    found: usize,
    selected: usize,
    draw: impl Fn(&mut Pen<'_>, Rect, usize),
) {
    let theme = pen.theme;
    let x = pen.put(area, 0, 0, head, theme.heading());
    let x = pen.text_field(area, x, text, Style::new());
    pen.put(area, x + 3, 0, &format!("{found} found"), theme.faint());
    let height = usize::from(area.height).saturating_sub(1).max(1);
    let first = (selected + 1).saturating_sub(height);
    for (y, k) in (first..found).take(height).enumerate() {
        let line = Rect::new(area.x, area.y + 1 + y as u16, area.width, 1);
        draw(pen, line, k);
        if k == selected {
            pen.row_style(line, 0, theme.cursor());
        }
    }
}

/// An overlay that is a list of texts under a heading.
pub(crate) struct PlainList<'a> {
    heading: String,
    pub entries: Cow<'a, [String]>,
    /// The first visible entry.
    first: usize,
}

/// The open list of texts, if the overlay is one.
pub(crate) fn plain_list(state: &State) -> Option<PlainList<'_>> {
    let files = &state.files;
    let (heading, entries, first) = match &state.overlay {
        Overlay::Outputs(lines, at) => {
            ("Output devices (choose one with [sound] output = \"...\" in the config file)".to_owned(), lines, *at)
        }
        Overlay::ConfigFile(at) => ("Errors in the config file".to_owned(), files.config_errors.as_ref()?, *at),
        Overlay::ImportWarnings(at) => {
            let warnings = &files.import.warnings;
            (format!("Import warnings: {}", warnings.len()), warnings, *at)
        }
        Overlay::Confirm(Confirmation::OverwriteChanged(lines)) if !lines.is_empty() => {
            ("Changes: - in the file now, + here".to_owned(), lines, 0)
        }
        Overlay::Confirm(Confirmation::ReadSounds(paths)) => {
            let heading = "The groove names sound files outside its folder:".to_owned();
            let entries = paths.iter().map(|path| path.display().to_string()).collect();
            return Some(PlainList { heading, entries, first: 0 });
        }
        Overlay::Recovery(view) => {
            let offered = &files.recovery.offers;
            let work = offered.front()?;
            let several = if offered.len() > 1 { format!(" (1 of {})", offered.len()) } else { String::new() };
            let heading = format!("Unsaved changes{several}, {}", work.age);
            match *view {
                RecoveryView::Difference(at) => (format!("{heading}: - file, + unsaved"), &work.difference, at),
                RecoveryView::Text(at) => (heading, &work.text, at),
            }
        }
        _ => return None,
    };
    Some(PlainList { heading, entries: entries.into(), first })
}

/// Draws each entry in as many lines as it needs.
pub(crate) fn draw_plain_list(pen: &mut Pen<'_>, area: Rect, list: &PlainList<'_>) {
    pen.put(area, 0, 0, &list.heading, pen.theme.heading());
    let lines = list.entries.iter().skip(list.first).flat_map(|entry| {
        let lines = wrap(entry, usize::from(area.width).saturating_sub(3));
        lines.into_iter().enumerate().map(|(i, line)| (if i == 0 { 1 } else { 3 }, line))
    });
    for (y, (x, line)) in (1..usize::from(area.height)).zip(lines) {
        pen.put(area, x, y, &line, Style::new());
    }
}

pub(crate) fn draw_export_menu(
    state: &State,
    pen: &mut Pen<'_>,
    area: Rect,
    menu: ExportMenu,
    (text, selected): (&TextField, usize),
) {
    let theme = pen.theme;
    let found = export::search(state, menu, text.value());
    let head = match menu {
        ExportMenu::Groove => "Export as: ",
        ExportMenu::Section => "Export the section as: ",
        ExportMenu::Handout => "Handout as: ",
    };
    draw_search(pen, area, (head, text), found.len(), selected, |pen, line, k| {
        let choice = found[k].1;
        let name = pad(&choice.name, KEYS_WIDTH);
        pen.put_line(line, 0, 0, &[(name, theme.key()), (choice.description.clone(), Style::new())]);
    });
}
