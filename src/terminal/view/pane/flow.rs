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
/// heading says how many are left out.
pub(super) fn add_reasons(
    state: &State,
    theme: Theme,
    columns: &mut [Vec<StyledLine>],
    reasons: &[String],
    (widths, rows): (&[usize], usize),
) {
    let Some(last) = columns.len().checked_sub(1) else { return };
    if reasons.is_empty() || columns[last].len() + 2 > rows {
        return;
    }
    let lines = |texts: Vec<String>| hanging_indent(texts, ("- ", theme.faint()), Style::new());
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
            column.extend(lines(cut(reason, room, widths[k].saturating_sub(2))));
            next += 1;
        }
    }
    let more = match reasons.len() - next {
        0 => String::new(),
        n => format!("  {}: {n} more", state.key_or_name("hearings")),
    };
    columns[last][heading_row] = vec![(REASONS.to_owned(), theme.heading()), (more, theme.faint())];
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
    let hidden = fill(theme, &mut filled, blocks, &vec![rows; columns.len()]);
    if !hidden.is_empty() && is_tall {
        // The last column with a free row keeps it for the names.
        let Some(k) = columns.iter().rposition(|column| column.len() < rows) else { return };
        let mut limits = vec![rows; columns.len()];
        limits[k] -= 1;
        filled = columns.to_vec();
        let hidden = fill(theme, &mut filled, blocks, &limits);
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

/// Adds blocks to columns with a maximum number of rows each; returns the parts of which a block has no room.
fn fill(theme: Theme, columns: &mut [Vec<StyledLine>], blocks: &[Block], limits: &[usize]) -> Vec<ReportPart> {
    let mut hidden: Vec<ReportPart> = Vec::new();
    let mut heading: Vec<StyledLine> = Vec::new();
    // The column whose last heading is the current one, and whether the heading has been written at all.
    let (mut under, mut is_continued) = (None, false);
    let (mut part, mut first, mut after_heading) = (None, 0, false);
    for block in blocks {
        if part != Some(block.part) {
            (part, first) = (Some(block.part), 0);
            heading.clear();
        }
        if block.item == Item::Heading {
            // A heading below another one belongs to the same lines.
            if !after_heading {
                heading.clear();
            }
            heading.extend(block.lines.iter().cloned());
            (under, is_continued, after_heading) = (None, false, true);
            continue;
        }
        after_heading = false;
        let needed = |k: usize| block.lines.len() + if under == Some(k) { 0 } else { heading.len() };
        let Some(k) = (first..columns.len()).find(|k| columns[*k].len() + needed(*k) <= limits[*k]) else {
            if !hidden.contains(&block.part) {
                hidden.push(block.part);
            }
            continue;
        };
        if under != Some(k) {
            let mut lines = heading.clone();
            if let Some(last) = lines.last_mut().filter(|_| is_continued) {
                last.push((", continued".to_owned(), theme.heading()));
            }
            columns[k].extend(lines);
        }
        columns[k].extend(block.lines.iter().cloned());
        (under, is_continued, first) = (Some(k), true, k);
    }
    hidden
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
        assert_eq!(fill(Theme::default(), &mut columns, &blocks, &[5, 7]), [Measures]);
        assert_eq!(texts(&columns[0]), ["", "S", "1", "2"]);
        assert_eq!(texts(&columns[1]), ["", "S, continued", "3", "4", "", "M", "5"]);
        let mut columns = vec![Vec::new()];
        assert_eq!(fill(Theme::default(), &mut columns, &blocks, &[3]), [Streams, Measures]);
        assert_eq!(texts(&columns[0]), ["", "M", "5"], "no heading without a line below it");
    }
}
