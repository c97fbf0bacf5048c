//! The manual: the open page, its scroll position, and the search.

use crate::manual::{CHAPTERS, Chapter, Line, LineKind, lay_out};
use crate::terminal::lists::Step;
use crate::terminal::search::{Direction, PagerInput};
use crate::terminal::{Overlay, State, TextField};

/// Maximum columns of a line of text.
const MAX_WIDTH: usize = 100;

/// The open page of the manual. Page 0 is the list of chapters.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct ManualView {
    pub page: usize,
    /// The selected chapter of the list, or the first visible line of a chapter.
    pub line: usize,
    pub search: TextField,
    pub input: PagerInput,
    /// The line of the latest match, while it is visible.
    pub matched: Option<usize>,
}

impl ManualView {
    pub(crate) fn navigate(&mut self, width: u16, page: usize, step: Step) {
        let count = lines(self.page, width).len();
        let last = if self.page == 0 { count.saturating_sub(1) } else { count.saturating_sub(page) };
        self.line = step.from(self.line, last, page);
        self.matched = None;
    }

    /// Opens another page; the first one follows the last.
    pub(crate) fn turn_pages(&mut self, by: isize) {
        let pages = CHAPTERS.len() as isize + 1;
        self.open((self.page as isize + by).rem_euclid(pages) as usize);
    }

    pub(crate) fn open(&mut self, page: usize) {
        (self.page, self.line, self.matched) = (page, 0, None);
    }

    /// Shows the next or previous match. Returns false if there is none.
    pub(crate) fn find(&mut self, width: u16, direction: Direction) -> bool {
        let matches = matches(self.search.value(), width);
        let here = (self.page, self.matched.unwrap_or(self.line));
        let fresh = self.matched.is_none();
        let found = match direction {
            Direction::Next => matches.iter().find(|m| **m > here || fresh && **m == here).or(matches.first()),
            Direction::Previous => matches.iter().rev().find(|m| **m < here).or(matches.last()),
        };
        let Some(&(page, line)) = found else { return false };
        (self.page, self.line, self.matched) = (page, line, Some(line));
        true
    }
}

/// The lines of a page; the list of chapters has one line per chapter.
pub(crate) fn lines(page: usize, width: u16) -> Vec<Line> {
    let width = usize::from(width).saturating_sub(2).min(MAX_WIDTH);
    if let Some(chapter) = page.checked_sub(1).and_then(|chapter| CHAPTERS.get(chapter)) {
        return lay_out(chapter.text, width);
    }
    let row = |c: &Chapter| Line { kind: LineKind::Text, text: format!("  {:16} {}", c.name, c.title()) };
    CHAPTERS.iter().map(row).collect()
}

/// Pages and lines on which the text starts, ignoring case; it may continue on the next line.
fn matches(text: &str, width: u16) -> Vec<(usize, usize)> {
    let normalize = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
    let text = normalize(text);
    if text.is_empty() {
        return Vec::new();
    }
    let mut found = Vec::new();
    for page in 1..=CHAPTERS.len() {
        let lines: Vec<String> = lines(page, width).iter().map(|l| normalize(&l.text)).collect();
        for (at, line) in lines.iter().enumerate() {
            let both = format!("{line} {}", lines.get(at + 1).map_or("", String::as_str));
            if both.find(&text).is_some_and(|start| start < line.len()) {
                found.push((page, at));
            }
        }
    }
    found
}

pub(crate) fn open(state: &mut State) {
    state.overlay = Overlay::Manual(ManualView::default());
}

/// Opens the selected chapter of the list.
pub(crate) fn accept(state: &mut State) {
    if let Overlay::Manual(view) = &mut state.overlay
        && view.page == 0
    {
        view.open(view.line + 1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn searching(text: &str) -> ManualView {
        ManualView { search: text.to_owned().into(), ..ManualView::default() }
    }

    #[test]
    fn a_search_goes_through_all_matches_and_round() {
        let matches = matches("HMAC or no such words", 80);
        assert!(matches.is_empty());
        let all = super::matches("OSC 52", 80);
        assert!(all.len() > 1, "{all:?}");
        let mut view = searching("osc 52");
        let mut seen = Vec::new();
        for _ in 0..=all.len() {
            assert!(view.find(80, Direction::Next));
            let line = &lines(view.page, 80)[view.line].text;
            assert!(line.to_lowercase().contains("osc"), "{line}");
            seen.push((view.page, view.line));
        }
        assert_eq!((&seen[..all.len()], seen[all.len()]), (&all[..], all[0]));
        assert!(view.find(80, Direction::Previous));
        assert_eq!((view.page, view.line), all[all.len() - 1]);
        assert!(!searching("no such words").find(80, Direction::Next));
    }

    #[test]
    fn a_text_that_is_broken_over_two_lines_is_found_at_every_width() {
        for width in 40..120 {
            assert!(!matches("reopen it every few seconds", width).is_empty(), "at {width}");
        }
    }

    #[test]
    fn pages_turn_round() {
        let mut view = ManualView::default();
        assert_eq!(lines(view.page, 80).len(), CHAPTERS.len());
        view.turn_pages(-1);
        assert_eq!(view.page, CHAPTERS.len());
        view.turn_pages(1);
        assert_eq!(view.page, 0);
    }
}
