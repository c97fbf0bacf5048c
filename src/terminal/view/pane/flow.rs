//! Pours the parts of the report that have no fixed place into the rows that the pane has left, and names those without a row.

use crate::terminal::Theme;
use crate::terminal::view::full::{Block, Item, ReportPart};
use crate::terminal::view::{StyledLine, fit};
use unicode_width::UnicodeWidthStr;

/// Minimum rows of a block that is cut.
const MIN_CUT_ROWS: usize = 2;

/// Columns of lines, each with a maximum number of rows.
pub(super) struct Columns<'a> {
    pub lines: &'a mut [Vec<StyledLine>],
    pub limits: Vec<usize>,
    pub width: usize,
    pub theme: Theme,
    /// Whether no row may stay empty: something is hidden.
    pub is_dense: bool,
}

/// What has no room.
#[derive(Default)]
pub(super) struct Hidden<'a> {
    pub parts: Vec<ReportPart>,
    /// Blocks of which nothing is shown, with the heading of their part.
    blocks: Vec<(StyledLine, &'a Block)>,
    /// The last part in each column.
    last: Vec<Option<ReportPart>>,
}

impl Columns<'_> {
    fn free(&self, column: usize) -> usize {
        self.limits[column].saturating_sub(self.lines[column].len())
    }

    fn kept<'b>(&self, block: &'b Block) -> impl Iterator<Item = &'b StyledLine> {
        let is_dense = self.is_dense;
        block.lines.iter().filter(move |line| !is_dense || !line.is_empty())
    }

    /// Adds blocks, a part to the first column that has room for all of it. Otherwise each of its blocks goes to the first column with
    /// room, text from column to column.
    pub(super) fn pour<'b>(&mut self, blocks: &'b [Block]) -> Hidden<'b> {
        let mut hidden = Hidden { last: vec![None; self.lines.len()], ..Hidden::default() };
        let (mut headings, mut part, mut first, mut after_heading) = (Headings::default(), None, 0, false);
        for block in blocks {
            if part != Some(block.part) {
                let whole = blocks.iter().filter(|b| b.part == block.part).map(|b| self.kept(b).count()).sum();
                first = (0..self.lines.len()).find(|k| self.free(*k) >= whole).unwrap_or(0);
                (headings, part, after_heading) = (Headings::default(), Some(block.part), false);
            }
            if block.item == Item::Heading {
                headings.add(self.kept(block).cloned(), after_heading);
                after_heading = true;
                continue;
            }
            after_heading = false;
            let room = |k: usize| self.free(k).saturating_sub(headings.rows(k));
            // Only text goes on in the next column, and only if no row may stay empty.
            let is_text = self.is_dense && matches!(block.part, ReportPart::Measures | ReportPart::Structure);
            let least = if is_text { MIN_CUT_ROWS.min(block.lines.len()) } else { block.lines.len() };
            let mut at = (first..self.lines.len()).find(|k| room(*k) >= least);
            let mut rest = block.lines.as_slice();
            while let Some(k) = at {
                headings.write(self.theme, k, &mut self.lines[k]);
                let (now, after) = rest.split_at(rest.len().min(self.free(k)));
                self.lines[k].extend(now.iter().cloned());
                (rest, first, hidden.last[k]) = (after, k, part);
                let room = |k: usize| self.free(k).saturating_sub(headings.rows(k));
                at = (k + 1..self.lines.len()).find(|k| !rest.is_empty() && room(*k) > 0);
            }
            if rest.is_empty() {
                continue;
            }
            if rest.len() < block.lines.len() {
                self.mark_cut(first, rest);
            } else {
                hidden.blocks.push((headings.first().cloned().unwrap_or_default(), block));
            }
            if !hidden.parts.contains(&block.part) {
                hidden.parts.push(block.part);
            }
        }
        hidden
    }

    /// Gives the rows that are left to the beginnings of blocks that have no room as a whole.
    pub(super) fn fill_up(&mut self, hidden: &Hidden<'_>) {
        let mut last = hidden.last.clone();
        // Text first: the beginning of a drawing says little.
        let is_drawing = |of: &&(StyledLine, &Block)| of.1.part == ReportPart::Streams;
        let (drawings, texts): (Vec<_>, Vec<_>) = hidden.blocks.iter().partition(is_drawing);
        let mut blocks = texts.into_iter().chain(drawings);
        for (k, last) in last.iter_mut().enumerate().take(self.lines.len()) {
            while self.free(k) > 0 {
                let Some((heading, block)) = blocks.next() else { return };
                if *last != Some(block.part) && self.free(k) == 1 {
                    self.lines[k].push(heading.clone());
                    let separated = [vec![(":".to_owned(), self.theme.heading())]];
                    let rest: Vec<StyledLine> = separated.into_iter().chain(block.lines.iter().cloned()).collect();
                    self.mark_cut(k, &rest);
                    break;
                }
                if *last != Some(block.part) {
                    self.lines[k].push(heading.clone());
                    *last = Some(block.part);
                }
                let (now, rest) = block.lines.split_at(block.lines.len().min(self.free(k)));
                self.lines[k].extend(now.iter().cloned());
                self.mark_cut(k, rest);
            }
        }
    }

    /// Lets a column's last line go on with the lines that follow it, up to an ellipsis.
    fn mark_cut(&mut self, column: usize, rest: &[StyledLine]) {
        let Some(line) = self.lines[column].last_mut().filter(|_| !rest.is_empty()) else { return };
        let mut used: usize = line.iter().map(|(text, _)| text.width()).sum();
        for (text, style) in rest.iter().flatten() {
            let space = if text.starts_with(':') { "" } else { " " };
            let text = format!("{space}{}", text.trim_start());
            let room = self.width.saturating_sub(used);
            if let Some((last, _)) = line.last_mut().filter(|_| room == 0) {
                last.pop();
                last.push('…');
                return;
            }
            let shown = fit(&text, room);
            used += shown.width();
            let is_cut = shown.width() < text.width();
            line.push((shown, *style));
            if is_cut {
                return;
            }
        }
    }

    /// A column with a single row left.
    pub(super) fn single_row(&self) -> Option<usize> {
        (0..self.lines.len()).rfind(|k| self.free(*k) == 1)
    }

    /// Adds a row that names what is hidden to a column; `key` shows it.
    pub(super) fn add_names(&mut self, column: usize, key: &str, hidden: &Hidden<'_>) {
        let names: Vec<&str> = hidden.parts.iter().map(|part| part_name(*part)).collect();
        let text = format!("{key}: more on {}", names.join(", "));
        self.lines[column].push(vec![(fit(&text, self.width), self.theme.faint())]);
    }
}

fn part_name(part: ReportPart) -> &'static str {
    match part {
        ReportPart::Hearings => "playing speeds",
        ReportPart::Reasons => "reasons",
        ReportPart::Streams => "streams",
        ReportPart::Measures => "measures",
        ReportPart::Structure => "structure",
    }
}

/// The headings over the next block: that of its part, and the last one within the part.
#[derive(Default)]
struct Headings {
    part: Vec<StyledLine>,
    within: Vec<StyledLine>,
    /// The columns in which each of them stands last.
    part_in: Option<usize>,
    within_in: Option<usize>,
}

impl Headings {
    fn add(&mut self, lines: impl Iterator<Item = StyledLine>, follows_heading: bool) {
        if self.part.is_empty() {
            self.part = lines.collect();
            return;
        }
        if !follows_heading || self.within_in.is_some() {
            (self.within, self.within_in) = (Vec::new(), None);
        }
        self.within.extend(lines);
    }

    /// The heading of the part.
    fn first(&self) -> Option<&StyledLine> {
        self.part.iter().find(|line| !line.is_empty())
    }

    /// Rows of the headings that a block needs in a column.
    fn rows(&self, column: usize) -> usize {
        let rows = |lines: &[StyledLine], is_in: Option<usize>| if is_in == Some(column) { 0 } else { lines.len() };
        rows(&self.part, self.part_in) + rows(&self.within, self.within_in)
    }

    fn write(&mut self, theme: Theme, column: usize, lines: &mut Vec<StyledLine>) {
        for (heading, is_in) in [(&self.part, &mut self.part_in), (&self.within, &mut self.within_in)] {
            if heading.is_empty() || *is_in == Some(column) {
                continue;
            }
            lines.extend(heading.iter().cloned());
            if let Some(last) = lines.last_mut().filter(|_| is_in.is_some()) {
                last.push((", continued".to_owned(), theme.heading()));
            }
            *is_in = Some(column);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ratatui::style::Style;

    fn block(part: ReportPart, item: Item, lines: &[&str]) -> Block {
        let lines = lines
            .iter()
            .map(|text| if text.is_empty() { Vec::new() } else { vec![((*text).to_owned(), Style::new())] });
        Block { part, item, lines: lines.collect() }
    }

    /// The texts of columns with such limits after pouring, and the parts that are hidden.
    fn poured(limits: &[usize], is_dense: bool) -> (Vec<String>, Vec<ReportPart>) {
        use ReportPart::{Measures, Streams};
        let blocks = [
            block(Streams, Item::Heading, &["", "S"]),
            block(Streams, Item::Text, &["1", "2"]),
            block(Streams, Item::Text, &["3", "4"]),
            block(Measures, Item::Heading, &["", "M"]),
            block(Measures, Item::Text, &["5"]),
            block(Measures, Item::Text, &["6", "7", "8"]),
        ];
        let mut lines = vec![Vec::new(); limits.len()];
        let theme = Theme::default();
        let mut columns = Columns { lines: &mut lines, limits: limits.to_vec(), width: 9, theme, is_dense };
        let hidden = columns.pour(&blocks);
        if is_dense {
            columns.fill_up(&hidden);
        }
        let hidden = hidden.parts;
        let text = |line: &StyledLine| line.iter().map(|(text, _)| text.as_str()).collect::<String>();
        (lines.iter().map(|lines| lines.iter().map(text).collect::<Vec<_>>().join("/")).collect(), hidden)
    }

    #[test]
    fn blocks_continue_in_the_next_column_under_their_heading() {
        use ReportPart::{Measures, Streams};
        let (texts, hidden) = poured(&[5, 10], false);
        assert_eq!((texts, hidden), (vec!["/M/5".to_owned(), "/S/1/2/3/4".to_owned()], vec![Measures]));
        let (texts, hidden) = poured(&[4, 6], true);
        assert_eq!(texts, ["M/5/6/7 8", "S/1/2/3/4"]);
        assert_eq!(hidden, [Measures]);
        let (texts, hidden) = poured(&[2], true);
        assert_eq!(
            (texts, hidden),
            (vec!["M/5".to_owned()], vec![Streams, Measures]),
            "no heading without a line below it"
        );
    }

    #[test]
    fn rows_that_are_left_show_the_beginning_of_what_does_not_fit() {
        use ReportPart::{Measures, Streams};
        assert_eq!(poured(&[1], true), (vec!["M: 5".to_owned()], vec![Streams, Measures]));
    }
}
