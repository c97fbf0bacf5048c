//! Gives the rows of the pane to the reasons and then to further parts of the report, and says what has no row.

use crate::terminal::view::full::{Block, Item, KeptBlocks, ReportPart, Room};
use crate::terminal::view::{StyledLine, fit, hanging_indent, wrap};
use crate::terminal::{State, Theme};
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// Minimum rows of a pane that is filled with all parts of the report; a lower one has only the leaders by playing speed besides.
const MIN_HEIGHT_FOR_ALL: usize = 18;
/// Rows of the leaders by playing speed: a blank line, a heading, the chart, a leader.
const MIN_SPEED_ROWS: usize = 4;
/// Minimum rows of a block that is cut.
const MIN_CUT_ROWS: usize = 2;
const REASONS: &str = "Why it is hard";

/// Shortens lines of text to a number of them, with an ellipsis if something is missing.
pub(super) fn cut(mut lines: Vec<String>, max: usize, width: usize) -> Vec<String> {
    if lines.len() > max {
        lines.truncate(max);
        if let Some(last) = lines.last_mut() {
            *last = fit(&format!("{last}{}", " ".repeat(width)), (last.width() + 1).min(width));
        }
    }
    lines
}

/// The texts of the reasons; what is the same in several places once, as the full view names the places.
pub(super) fn reasons(state: &State) -> Vec<String> {
    let mut texts: Vec<String> = Vec::new();
    for finding in state.findings() {
        let text = finding.reason.to_string();
        if !texts.contains(&text) {
            texts.push(text);
        }
    }
    texts
}

fn reason_lines(text: &str, width: usize) -> Vec<String> {
    wrap(text, width.saturating_sub(2))
}

/// Rows of all reasons with their heading.
pub(super) fn reason_rows(reasons: &[String], width: usize) -> usize {
    let rows = reasons.iter().map(|text| reason_lines(text, width).len()).sum::<usize>();
    if reasons.is_empty() { 0 } else { 1 + rows }
}

/// Adds the reasons to the last of the columns, which have a width each, those that it has no rows for to the columns before it, and cuts what fits in part; the
/// heading says how many are left out. Returns the number of reasons that are complete.
pub(super) fn add_reasons(
    state: &State,
    theme: Theme,
    columns: &mut [Vec<StyledLine>],
    reasons: &[String],
    (widths, rows): (&[usize], usize),
) -> usize {
    let Some(last) = columns.len().checked_sub(1) else { return 0 };
    if reasons.is_empty() || columns[last].len() + 2 > rows {
        return 0;
    }
    let lines = |texts: Vec<String>| hanging_indent(texts, ("- ", theme.faint()), Style::new());
    let mut complete = 0;
    let heading_row = columns[last].len();
    columns[last].push(Vec::new());
    let mut next = 0;
    for k in (0..=last).rev() {
        let (column, width) = (&mut columns[k], widths[k]);
        let mut has_heading = k == last;
        // The first one is cut rather than moved.
        while let Some(reason) = reasons.get(next) {
            let reason = reason_lines(reason, width);
            let room = rows.saturating_sub(column.len() + usize::from(!has_heading));
            if reason.len() > room && (next > 0 || room == 0) {
                break;
            }
            if !has_heading {
                column.push(vec![(format!("{REASONS}, continued"), theme.heading())]);
                has_heading = true;
            }
            complete += usize::from(reason.len() <= room);
            column.extend(lines(cut(reason, room, width.saturating_sub(2))));
            next += 1;
        }
    }
    for (k, column) in columns.iter_mut().enumerate() {
        let room = rows.saturating_sub(column.len());
        // Not under the heading of another block.
        let follows_reason = k == last || column.iter().any(|l| l.iter().any(|(text, _)| text.starts_with(REASONS)));
        if let Some(reason) = reasons.get(next).filter(|_| follows_reason && room > 0) {
            let reason = reason_lines(reason, widths[k]);
            complete += usize::from(reason.len() <= room);
            column.extend(lines(cut(reason, room, widths[k].saturating_sub(2))));
            next += 1;
        }
    }
    columns[last][heading_row] = reasons_heading(state, theme, reasons.len() - next);
    complete
}

fn reasons_heading(state: &State, theme: Theme, left_out: usize) -> StyledLine {
    let more = match left_out {
        0 => String::new(),
        n => format!("  {}: {n} more", state.key_or_name("hearings")),
    };
    vec![(REASONS.to_owned(), theme.heading()), (more, theme.faint())]
}

/// Reasons that begin in the right one of two columns, where it is higher than the left one, and go on across both below them.
pub(super) struct Across {
    /// The reasons of the right column.
    pub right: Vec<StyledLine>,
    /// The row from which on both columns are empty.
    pub from: usize,
    /// What follows there.
    pub below: Vec<StyledLine>,
    /// Number of reasons, all of them complete.
    pub complete: usize,
}

/// As many complete reasons as fit into the free rows of a right column of a width and those below columns of such heights.
pub(super) fn across(
    state: &State,
    theme: Theme,
    reasons: &[String],
    (left, right): (usize, usize),
    (right_width, width, rows): (usize, usize, usize),
) -> Across {
    let from = left.max(right).min(rows);
    let lines = |texts: Vec<String>| hanging_indent(texts, ("- ", theme.faint()), Style::new());
    let (mut beside, mut below, mut complete) = (Vec::new(), Vec::new(), 0);
    let has_heading_beside = right + 2 <= from;
    let heading = if has_heading_beside { &mut beside } else { &mut below };
    heading.push(Vec::new());
    for reason in reasons {
        let narrow = reason_lines(reason, right_width);
        let wide = reason_lines(reason, width);
        let is_first_below = below.len() == usize::from(!has_heading_beside);
        if has_heading_beside && is_first_below && right + beside.len() + narrow.len() <= from {
            beside.extend(lines(narrow));
        } else if from + below.len() + wide.len() <= rows {
            below.extend(lines(wide));
        } else {
            break;
        }
        complete += 1;
    }
    let heading = if has_heading_beside { &mut beside } else { &mut below };
    heading[0] = reasons_heading(state, theme, reasons.len() - complete);
    Across { right: beside, from, below, complete }
}

/// Adds the parts of the report that have room, each block to the first column with enough rows, and a row that names the parts of
/// which something is left out.
pub(super) fn add_further(
    state: &State,
    kept: &mut KeptBlocks,
    columns: &mut [Vec<StyledLine>],
    (width, rows): (usize, usize),
) {
    let theme = state.view.theme;
    let is_tall = rows >= MIN_HEIGHT_FOR_ALL;
    let room = columns.iter().map(|column| rows.saturating_sub(column.len())).max().unwrap_or(0);
    if room < MIN_SPEED_ROWS {
        return;
    }
    // Room on the left comes first if it is enough.
    let first_room = rows.saturating_sub(columns[0].len());
    let speed_rows = if first_room >= 2 * MIN_SPEED_ROWS { first_room } else { room };
    let free: usize = columns.iter().map(|column| rows.saturating_sub(column.len())).sum();
    let blocks = kept.of(state, Room { width, speed_rows, all_rows: is_tall.then_some(free) });
    let mut filled = columns.to_vec();
    let hidden = fill(theme, &mut filled, blocks, &vec![rows; columns.len()], width);
    if !hidden.is_empty() && is_tall {
        // The last column with a free row keeps it for the names.
        let Some(k) = columns.iter().rposition(|column| column.len() < rows) else { return };
        let mut limits = vec![rows; columns.len()];
        limits[k] -= 1;
        filled = columns.to_vec();
        let hidden = fill(theme, &mut filled, blocks, &limits, width);
        let names: Vec<&str> = hidden.iter().map(|part| part_name(*part)).collect();
        let text = format!("{}: more on {}", state.key_or_name("hearings"), names.join(", "));
        filled[k].resize(rows - 1, Vec::new());
        filled[k].push(vec![(fit(&text, width), theme.faint())]);
    }
    columns.clone_from_slice(&filled);
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
    fn add(&mut self, lines: &[StyledLine], follows_heading: bool) {
        if self.part.is_empty() {
            self.part = lines.to_vec();
            return;
        }
        if !follows_heading || self.within_in.is_some() {
            (self.within, self.within_in) = (Vec::new(), None);
        }
        self.within.extend(lines.iter().cloned());
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

/// Adds blocks to columns of a width with a maximum number of rows each; returns the parts of which a block has no room or is cut.
fn fill(
    theme: Theme,
    columns: &mut [Vec<StyledLine>],
    blocks: &[Block],
    limits: &[usize],
    width: usize,
) -> Vec<ReportPart> {
    let mut hidden: Vec<ReportPart> = Vec::new();
    let (mut headings, mut part, mut first, mut after_heading) = (Headings::default(), None, 0, false);
    for block in blocks {
        if part != Some(block.part) {
            (headings, part, first, after_heading) = (Headings::default(), Some(block.part), 0, false);
        }
        if block.item == Item::Heading {
            headings.add(&block.lines, after_heading);
            after_heading = true;
            continue;
        }
        after_heading = false;
        let fits = |rows: usize| {
            let needed = |k: &usize| columns[*k].len() + headings.rows(*k) + rows <= limits[*k];
            (first..columns.len()).find(needed)
        };
        let whole = fits(block.lines.len());
        if whole.is_none() && !hidden.contains(&block.part) {
            hidden.push(block.part);
        }
        // Text can be cut, a drawing cannot.
        let is_text = matches!(block.part, ReportPart::Measures | ReportPart::Structure);
        let Some(k) = whole.or_else(|| fits(MIN_CUT_ROWS).filter(|_| is_text)) else { continue };
        headings.write(theme, k, &mut columns[k]);
        let room = limits[k] - columns[k].len();
        columns[k].extend(block.lines.iter().take(room).cloned());
        if let Some(last) = columns[k].last_mut().filter(|_| block.lines.len() > room) {
            add_ellipsis(last, width);
        }
        first = k;
    }
    hidden
}

/// Adds an ellipsis to a line, in place of its last character if there is no room.
fn add_ellipsis(line: &mut StyledLine, width: usize) {
    let used: usize = line.iter().map(|(text, _)| text.width()).sum();
    if let Some((text, _)) = line.last_mut() {
        if used >= width {
            text.pop();
        }
        text.push('…');
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(lines: &[StyledLine]) -> Vec<String> {
        lines.iter().map(|line| line.iter().map(|(text, _)| text.as_str()).collect()).collect()
    }

    fn block(part: ReportPart, item: Item, lines: &[&str]) -> Block {
        let lines = lines.iter().map(|text| vec![((*text).to_owned(), Style::new())]).collect();
        Block { part, item, lines }
    }

    #[test]
    fn what_is_cut_ends_in_an_ellipsis() {
        let lines = || vec!["the figure".to_owned(), "returns".to_owned(), "later".to_owned()];
        assert_eq!(cut(lines(), 3, 10), lines());
        assert_eq!(cut(lines(), 2, 10), ["the figure", "returns…"]);
        assert_eq!(cut(lines(), 1, 10), ["the figur…"]);
        assert!(cut(lines(), 0, 10).is_empty());
    }

    #[test]
    fn blocks_continue_in_the_next_column_under_their_heading() {
        use ReportPart::{Measures, Streams};
        let blocks = [
            block(Streams, Item::Heading, &["", "S"]),
            block(Streams, Item::Text, &["1", "2"]),
            block(Streams, Item::Text, &["3", "4"]),
            block(Measures, Item::Heading, &["", "M"]),
            block(Measures, Item::Text, &["5"]),
            block(Measures, Item::Text, &["6", "7", "8"]),
        ];
        let mut columns = vec![Vec::new(), Vec::new()];
        assert_eq!(fill(Theme::default(), &mut columns, &blocks, &[5, 7], 9), [Measures]);
        assert_eq!(texts(&columns[0]), ["", "S", "1", "2"]);
        assert_eq!(texts(&columns[1]), ["", "S, continued", "3", "4", "", "M", "5"]);
        let mut columns = vec![Vec::new()];
        assert_eq!(fill(Theme::default(), &mut columns, &blocks, &[3], 9), [Streams, Measures]);
        assert_eq!(texts(&columns[0]), ["", "M", "5"], "no heading without a line below it");
    }
}
