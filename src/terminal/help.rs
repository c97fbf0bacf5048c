//! The help: the table of commands with a selected line, the search in it, and the way to the manual.

use crate::manual::CHAPTERS;
use crate::terminal::manual::ManualView;
use crate::terminal::search::{Direction, PagerInput};
use crate::terminal::view::{help_lines, help_page};
use crate::terminal::{CommandSpec, Mode, Overlay, State, TextField, dispatch};

/// The open help.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct HelpView {
    /// The selected line.
    pub line: usize,
    pub search: TextField,
    pub input: PagerInput,
    /// The list that was open before, and is again when the help is closed.
    pub list: Option<Box<Overlay>>,
}

/// What a line of the help is about.
#[derive(Debug, Clone, Copy)]
pub(crate) struct HelpTopic {
    /// The first command under the heading of the line.
    pub first: &'static CommandSpec,
    /// The command whose description starts on the line.
    pub command: Option<&'static CommandSpec>,
}

impl HelpView {
    /// Selects the next or previous line that has every word of the search; words that only the synonyms have count if no line shows
    /// all of them. Returns false if there is none.
    pub(crate) fn find(&mut self, lines: &[HelpTopic], direction: Direction) -> bool {
        let text = self.search.value().to_lowercase();
        let words: Vec<&str> = text.split_whitespace().collect();
        let has_all = |text: String| words.iter().all(|word| text.to_lowercase().contains(word));
        let shows_all = |c: &CommandSpec| has_all(format!("{} {}", c.name, c.description));
        let means_all = |c: &CommandSpec| has_all(format!("{} {} {} {}", c.name, c.description, c.heading, c.synonyms));
        if words.is_empty() {
            return false;
        }
        let of = |is_match: &dyn Fn(&CommandSpec) -> bool| -> Vec<usize> {
            (0..lines.len()).filter(|i| lines[*i].command.is_some_and(is_match)).collect()
        };
        let shown = of(&shows_all);
        let matches = if shown.is_empty() { of(&means_all) } else { shown };
        let found = match direction {
            Direction::Next => matches.iter().find(|m| **m > self.line).or(matches.first()),
            Direction::Previous => matches.iter().rev().find(|m| **m < self.line).or(matches.last()),
        };
        found.inspect(|line| self.line = **line).is_some()
    }
}

pub(crate) fn open(state: &mut State) {
    state.overlay = Overlay::Help(HelpView::default());
}

/// Opens the help of a list at its keys; in the help, closes it.
pub(crate) fn toggle(state: &mut State) {
    if matches!(state.overlay, Overlay::Help(_)) {
        return dispatch::close(state);
    }
    let line = line_of_keys(state, state.mode());
    let list = std::mem::take(&mut state.overlay);
    state.overlay = Overlay::Help(HelpView { line, list: Some(Box::new(list)), ..HelpView::default() });
}

/// The last line of the keys of a mode that is visible together with their heading.
fn line_of_keys(state: &State, mode: Mode) -> usize {
    let lines = lines(state);
    let first = lines.iter().position(|topic| topic.first.mode == mode).unwrap_or(0);
    let last = lines.iter().rposition(|topic| topic.command.is_some_and(|c| c.mode == mode)).unwrap_or(first);
    last.min(first + help_page(state.view.size).saturating_sub(1))
}

/// What each line of the help is about, in a window of the present width.
pub(crate) fn lines(state: &State) -> Vec<HelpTopic> {
    help_lines(state, usize::from(state.view.size.0)).into_iter().map(|(topic, _)| topic).collect()
}

/// Opens the chapter of the manual about the selected line.
pub(crate) fn open_chapter(state: &mut State, line: usize) {
    let lines = lines(state);
    let Some(topic) = lines.get(line).or(lines.last()) else { return };
    let mut view = ManualView::default();
    view.open(CHAPTERS.iter().position(|c| c.name == topic.first.chapter).map_or(0, |chapter| chapter + 1));
    state.overlay = Overlay::Manual(view);
}
