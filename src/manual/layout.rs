//! Lays out the Markdown of a chapter as lines of plain text for a width.

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// The style of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum LineKind {
    /// A heading, or the first row of a table.
    Heading,
    Text,
    /// A listing, which is not wrapped.
    Code,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Line {
    pub kind: LineKind,
    /// Without Markdown syntax except that of code.
    pub text: String,
}

const COLUMN_GAP: usize = 2;
/// Of a table.
const MIN_LAST_COLUMN_WIDTH: usize = 16;

/// Lays out a chapter for a window of this width.
pub(crate) fn lay_out(markdown: &str, width: usize) -> Vec<Line> {
    let mut layout = Layout { width: width.max(MIN_LAST_COLUMN_WIDTH), lines: Vec::new() };
    let mut source = markdown.lines().peekable();
    while let Some(line) = source.next() {
        if line.starts_with("```") {
            source.by_ref().take_while(|l| !l.starts_with("```")).for_each(|l| layout.add(LineKind::Code, l));
        } else if line.starts_with("    ") {
            layout.add(LineKind::Code, line);
        } else if line.starts_with("<!--") {
        } else if line.starts_with('#') {
            layout.add_wrapped(LineKind::Heading, &strip_emphasis(line.trim_start_matches('#').trim()), 0);
        } else if line.starts_with('|') {
            let mut rows = vec![cells(line)];
            while let Some(row) = source.next_if(|l| l.starts_with('|')) {
                rows.push(cells(row));
            }
            layout.add_table(&rows);
        } else if line.is_empty() {
            if layout.lines.last().is_none_or(|l| !l.text.is_empty()) {
                layout.add(LineKind::Text, "");
            }
        } else {
            let mut text = line.to_owned();
            while let Some(next) = source.next_if(|l| continues_block(l)) {
                text = format!("{text} {}", next.trim());
            }
            let indent = marker_width(&text);
            layout.add_wrapped(LineKind::Text, &strip_emphasis(&text), indent);
        }
    }
    layout.lines
}

/// Whether a line belongs to the paragraph or list item before it.
fn continues_block(line: &str) -> bool {
    let is_new_block = ["```", "    ", "<!--", "#", "|"].iter().any(|mark| line.starts_with(mark));
    !line.is_empty() && !is_new_block && marker_width(line) == 0
}

/// Width of the marker of a list item at the start of a text.
fn marker_width(text: &str) -> usize {
    let digits = text.chars().take_while(char::is_ascii_digit).count();
    if text.starts_with("- ") {
        2
    } else if digits > 0 && text[digits..].starts_with(". ") {
        digits + 2
    } else {
        0
    }
}

/// Removes the asterisks of emphasis; code keeps its backticks.
fn strip_emphasis(text: &str) -> String {
    let mut in_code = false;
    text.chars()
        .filter(|c| {
            in_code ^= *c == '`';
            in_code || *c != '*'
        })
        .collect()
}

/// The cells of a row of a table.
fn cells(row: &str) -> Vec<String> {
    let row = row.trim().trim_start_matches('|').trim_end_matches('|').replace("\\|", "\u{1}");
    row.split('|').map(|cell| strip_emphasis(&cell.replace('\u{1}', "|")).trim().to_owned()).collect()
}

struct Layout {
    width: usize,
    lines: Vec<Line>,
}

impl Layout {
    fn add(&mut self, kind: LineKind, text: &str) {
        self.lines.push(Line { kind, text: text.trim_end().to_owned() });
    }

    /// Adds wrapped text; lines after the first are indented by the width of the list marker.
    fn add_wrapped(&mut self, kind: LineKind, text: &str, indent: usize) {
        let (marker, text) = text.split_at(indent);
        for (i, line) in wrap(text, self.width - indent).iter().enumerate() {
            self.add(kind, &format!("{:indent$}{line}", if i == 0 { marker } else { "" }));
        }
    }

    fn add_table(&mut self, rows: &[Vec<String>]) {
        let columns = rows[0].len();
        let widest = |c: usize| rows.iter().filter_map(|r| r.get(c)).map(|t| t.width()).max().unwrap_or(0);
        let mut widths: Vec<usize> = (0..columns).map(widest).collect();
        if let Some((last, others)) = widths.split_last_mut() {
            let share = self.width.saturating_sub(MIN_LAST_COLUMN_WIDTH.max(self.width / 2)) / others.len().max(1);
            let used = |others: &[usize]| others.iter().map(|w| w + COLUMN_GAP).sum::<usize>();
            if used(others) + MIN_LAST_COLUMN_WIDTH.max(*last) > self.width && used(others) > self.width / 2 {
                for width in others.iter_mut() {
                    *width = (*width).min(share.saturating_sub(COLUMN_GAP).max(4));
                }
            }
            *last = (*last).min(self.width.saturating_sub(used(others))).max(1);
        }
        for (i, row) in rows.iter().enumerate().filter(|(i, _)| *i != 1) {
            let kind = if i == 0 { LineKind::Heading } else { LineKind::Text };
            let cells: Vec<Vec<String>> = row.iter().zip(&widths).map(|(text, width)| wrap(text, *width)).collect();
            for y in 0..cells.iter().map(Vec::len).max().unwrap_or(0) {
                let mut line = String::new();
                for (cell, width) in cells.iter().zip(&widths) {
                    let text = cell.get(y).map_or("", String::as_str);
                    line.push_str(text);
                    line.extend(std::iter::repeat_n(' ', width.saturating_sub(text.width()) + COLUMN_GAP));
                }
                self.add(kind, &line);
            }
        }
    }
}

/// Wraps text at spaces, and within a word only if the word is wider than a line.
fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut used = 0;
    for word in text.split(' ').filter(|w| !w.is_empty()) {
        if used > 0 && used + 1 + word.width() > width {
            lines.push(String::new());
            used = 0;
        }
        let line = lines.last_mut().expect("never empty");
        if used > 0 {
            line.push(' ');
            used += 1;
        }
        for c in word.chars() {
            let columns = c.width().unwrap_or(0);
            if used > 0 && used + columns > width {
                lines.push(String::new());
                used = 0;
            }
            lines.last_mut().expect("never empty").push(c);
            used += columns;
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::super::CHAPTERS;
    use super::*;

    fn texts(markdown: &str, width: usize) -> Vec<String> {
        lay_out(markdown, width).into_iter().map(|l| l.text).collect()
    }

    #[test]
    fn paragraphs_lists_and_listings_are_laid_out() {
        let markdown =
            "# Head\n\none two *three* four\nfive `a * b`\n\n- six seven eight nine\n1. ten\n\n    code   as it is\n";
        let expected = [
            "Head",
            "",
            "one two three four",
            "five `a * b`",
            "",
            "- six seven eight",
            "  nine",
            "1. ten",
            "",
            "    code   as it is",
        ];
        assert_eq!(texts(markdown, 18), expected);
        let kinds: Vec<LineKind> = lay_out(markdown, 18).into_iter().map(|l| l.kind).collect();
        assert_eq!((kinds[0], kinds[2], kinds[9]), (LineKind::Heading, LineKind::Text, LineKind::Code));
    }

    #[test]
    fn tables_are_aligned_in_columns() {
        let markdown = "| a | what |\n| --- | --- |\n| `x\\|y` | one two three four five |\n";
        assert_eq!(texts(markdown, 25), ["a      what", "`x|y`  one two three four", "       five"]);
    }

    #[test]
    fn chapters_fit_the_window_and_keep_every_word() {
        for chapter in CHAPTERS {
            for width in [40, 60, 80, 100] {
                let lines = lay_out(chapter.text, width);
                let wide = lines.iter().find(|l| l.kind != LineKind::Code && l.text.width() > width);
                assert_eq!(wide, None, "{} at {width}", chapter.name);
            }
            let letters = |text: &str| text.chars().filter(|c| c.is_alphanumeric()).count();
            let marks = |l: &&str| !l.starts_with("<!--") && !l.starts_with("```");
            let source: usize = chapter.text.lines().filter(marks).map(letters).sum();
            let laid: usize = lay_out(chapter.text, 60).iter().map(|l| letters(&l.text)).sum();
            assert_eq!(laid, source, "{}", chapter.name);
        }
    }
}
