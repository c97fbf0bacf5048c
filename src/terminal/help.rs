//! The help: the table of commands with a selected line, the search in it, and the way to the manual.

use crate::manual::CHAPTERS;
use crate::terminal::manual::ManualView;
use crate::terminal::search::{Direction, PagerInput};
use crate::terminal::view::help_lines;
use crate::terminal::{CommandSpec, Overlay, State, TextField};

/// The open help.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct HelpView {
    /// The selected line.
    pub line: usize,
    pub search: TextField,
    pub input: PagerInput,
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
    /// Selects the next or previous line that has every word of the search. Returns false if there is none.
    pub(crate) fn find(&mut self, lines: &[HelpTopic], direction: Direction) -> bool {
        let text = self.search.value().to_lowercase();
        let words: Vec<&str> = text.split_whitespace().collect();
        let is_match = |c: &CommandSpec| {
            let all = format!("{} {} {} {}", c.name, c.description, c.heading, c.synonyms).to_lowercase();
            words.iter().all(|word| all.contains(word))
        };
        if words.is_empty() {
            return false;
        }
        let matches: Vec<usize> = (0..lines.len()).filter(|i| lines[*i].command.is_some_and(is_match)).collect();
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
