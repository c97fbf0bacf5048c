//! Writes text into the cells of a frame, cut at the edges of an area.

use crate::terminal::{TextField, Theme};
use ratatui::buffer::{Buffer, Cell};
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::widgets::{Clear, Widget};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

pub(crate) struct Pen<'a> {
    buffer: &'a mut Buffer,
    pub theme: Theme,
}

pub(crate) type StyledLine = Vec<(String, Style)>;

impl<'a> Pen<'a> {
    pub(crate) fn new(buffer: &'a mut Buffer, theme: Theme) -> Self {
        Self { buffer, theme }
    }

    /// Writes text at a column and row of the area; returns the column after it.
    pub(crate) fn put(&mut self, area: Rect, x: usize, y: usize, text: &str, style: Style) -> usize {
        let area = area.intersection(*self.buffer.area());
        if y >= usize::from(area.height) || x >= usize::from(area.width) {
            return x;
        }
        let text = self.theme.text(text);
        let room = usize::from(area.width) - x;
        let (at, _) = self.buffer.set_stringn(area.x + x as u16, area.y + y as u16, &text, room, style);
        usize::from(at - area.x)
    }

    pub(crate) fn put_line(&mut self, area: Rect, x: usize, y: usize, pieces: &[(String, Style)]) -> usize {
        pieces.iter().fold(x, |x, (text, style)| self.put(area, x, y, text, *style))
    }

    /// Writes lines from a row on, as far as the area has rows.
    pub(crate) fn put_lines(&mut self, area: Rect, x: usize, y: usize, lines: &[StyledLine]) {
        for (y, line) in (y..usize::from(area.height)).zip(lines) {
            self.put_line(area, x, y, line);
        }
    }

    fn cell(&mut self, area: Rect, x: usize, y: usize) -> Option<&mut Cell> {
        let inside = x < usize::from(area.width) && y < usize::from(area.height);
        self.buffer.cell_mut((area.x + x as u16, area.y + y as u16)).filter(|_| inside)
    }

    /// Writes a character of width 1.
    pub(crate) fn put_char(&mut self, area: Rect, x: usize, y: usize, mark: char, style: Style) {
        if let Some(cell) = self.cell(area, x, y) {
            cell.set_char(mark).set_style(style);
        }
    }

    pub(crate) fn clear(&mut self, area: Rect) {
        Clear.render(area, self.buffer);
    }

    pub(crate) fn cell_style(&mut self, area: Rect, x: usize, y: usize, style: Style) {
        if let Some(cell) = self.cell(area, x, y) {
            cell.set_style(style);
        }
    }

    /// Writes a text field on the first row, scrolled so that its cursor is visible; returns the column after it.
    pub(crate) fn text_field(&mut self, area: Rect, x: usize, field: &TextField, style: Style) -> usize {
        let at = field.value().char_indices().nth(field.cursor()).map_or(field.value().len(), |(at, _)| at);
        let (before, after) = field.value().split_at(at);
        let width = usize::from(area.width);
        let cursor = self.put(area, x, 0, end(before, width.saturating_sub(x + 2).max(1)), style);
        let x = self.put(area, cursor, 0, &fit(after, width.saturating_sub(cursor)), style);
        if after.is_empty() {
            self.put_char(area, cursor, 0, ' ', self.theme.cursor());
        } else {
            self.cell_style(area, cursor, 0, self.theme.cursor());
        }
        x
    }

    pub(crate) fn row_style(&mut self, area: Rect, y: usize, style: Style) {
        self.buffer.set_style(Rect { y: area.y + y as u16, height: 1, ..area }, style);
    }

    pub(crate) fn column_style(&mut self, area: Rect, x: usize, style: Style) {
        self.buffer.set_style(Rect { x: area.x + x as u16, width: 1, ..area }, style);
    }

    /// Writes at the right end of the first row, but not before column `min_x`, how much of a list of `total` lines is above
    /// the end of the window, whose first line is `first`; nothing if all of it is visible.
    pub(crate) fn scroll_percent(&mut self, area: Rect, min_x: usize, first: usize, height: usize, total: usize) {
        if total > height {
            let percent = format!(" {}%", 100 * (first + height).min(total) / total);
            let x = usize::from(area.width).saturating_sub(percent.len()).max(min_x);
            self.put(area, x, 0, &percent, self.theme.faint());
        }
    }
}

/// Cuts text to a number of columns, with an ellipsis if something is missing.
pub(crate) fn fit(text: &str, width: usize) -> String {
    if text.width() <= width {
        return text.to_owned();
    }
    let mut used = 0;
    let start = text.chars().take_while(|c| {
        used += c.width().unwrap_or(0);
        used < width
    });
    start.chain((width > 0).then_some('…')).collect()
}

/// The longest end of a text that fits a number of columns.
pub(crate) fn end(text: &str, width: usize) -> &str {
    let mut used = 0;
    let first = text.char_indices().rev().take_while(|(_, c)| {
        used += c.width().unwrap_or(0);
        used <= width
    });
    let at = first.last().map_or(text.len(), |(at, _)| at);
    &text[at..]
}

pub(crate) fn styled_lines(lines: Vec<String>, style: Style) -> impl Iterator<Item = StyledLine> {
    lines.into_iter().map(move |line| vec![(line, style)])
}

/// Lines with a text before the first one, and as much space before the others.
pub(crate) fn hanging_indent(
    lines: Vec<String>,
    (before, before_style): (&str, Style),
    style: Style,
) -> Vec<StyledLine> {
    let space = " ".repeat(before.chars().count());
    let before = std::iter::once(before).chain(std::iter::repeat(&*space));
    before.zip(lines).map(|(before, line)| vec![(before.to_owned(), before_style), (line, style)]).collect()
}

/// Units that stay with the number before them.
const UNITS: [&str; 8] = ["%", "BPM", "Hz", "dB", "kHz", "kB", "ms", "s"];

/// Breaks text into lines of at most `width` columns, at spaces or after `+` and `,` where possible.
pub(crate) fn wrap(text: &str, width: usize) -> Vec<String> {
    let width = width.max(1);
    if text.width() <= width {
        let line = text.trim_end();
        return if line.is_empty() { Vec::new() } else { vec![line.to_owned()] };
    }
    let (mut lines, mut line, mut used) = (Vec::new(), String::new(), 0);
    let mut word = String::new();
    let mut pieces = Vec::new();
    for (at, c) in text.char_indices() {
        // A plus after a space or a bracket is the sign of the number that follows.
        let sign = c == '+' && (word.is_empty() || word == "(");
        word.push(c);
        if !sign && matches!(c, ' ' | '+' | ',') && !is_before_unit(&text[..at], &text[at + c.len_utf8()..]) {
            pieces.push(std::mem::take(&mut word));
        }
    }
    pieces.push(word);
    for piece in pieces {
        let w = piece.trim_end().width();
        if used > 0 && used + w > width {
            lines.push(std::mem::take(&mut line).trim_end().to_owned());
            used = 0;
        }
        for c in piece.chars() {
            let w = c.width().unwrap_or(0);
            if used + w > width && c != ' ' {
                lines.push(std::mem::take(&mut line));
                used = 0;
            }
            line.push(c);
            used += w;
        }
    }
    if !line.trim().is_empty() {
        lines.push(line.trim_end().to_owned());
    }
    lines
}

/// Whether a number ends before a character and its unit begins after it.
fn is_before_unit(before: &str, after: &str) -> bool {
    let word = after.split(|c: char| !c.is_alphanumeric() && c != '%').next().unwrap_or_default();
    before.ends_with(|c: char| c.is_ascii_digit()) && UNITS.contains(&word)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn text_is_cut_and_broken() {
        assert_eq!(fit("a long line", 6), "a lon…");
        assert_eq!(fit("short", 6), "short");
        assert_eq!(
            (end("a/b/riff.toml", 9), end("riff", 9), end("漢字", 3), end("x", 0)),
            ("riff.toml", "riff", "字", "")
        );
        assert_eq!(wrap("3+3+2+3(4+4+3)", 7), ["3+3+2+", "3(4+4+", "3)"]);
        assert_eq!(wrap("1:1 (+6.2%) drift +7", 6), ["1:1", "(+6.2%", ")", "drift", "+7"]);
        assert_eq!(wrap("one two three", 7), ["one two", "three"]);
        assert_eq!(wrap("every 2.0 s, 14 sevens", 9), ["every", "2.0 s, 14", "sevens"]);
        assert_eq!(wrap("abcdefgh", 3), ["abc", "def", "gh"]);
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn no_line_is_too_wide_and_nothing_is_lost(text in "[ a-z+,]{0,60}", width in 1_usize..20) {
            let lines = wrap(&text, width);
            prop_assert!(lines.iter().all(|l| l.width() <= width));
            let plain = |s: &str| s.chars().filter(|c| *c != ' ').collect::<String>();
            prop_assert_eq!(plain(&lines.concat()), plain(&text));
            prop_assert!(fit(&text, width).width() <= width);
            prop_assert!(end(&text, width).width() <= width);
        }
    }
}
