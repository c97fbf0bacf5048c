//! The reasons why the groove is hard, in the rows that the other blocks leave.

use crate::terminal::view::{StyledLine, fit, hanging_indent, wrap};
use crate::terminal::{State, Theme};
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

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
pub(super) fn of(state: &State) -> Vec<String> {
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
pub(super) fn rows(reasons: &[String], width: usize) -> usize {
    let rows = reasons.iter().map(|text| reason_lines(text, width).len()).sum::<usize>();
    if reasons.is_empty() { 0 } else { 1 + rows }
}

/// Adds the reasons to the last of the columns, which have a width each, those that it has no rows for to the columns before it, and
/// cuts what fits in part; the heading says how many are left out. Returns whether all of them are there as a whole.
pub(super) fn add(
    state: &State,
    theme: Theme,
    columns: &mut [Vec<StyledLine>],
    reasons: &[String],
    (widths, rows): (&[usize], usize),
) -> bool {
    let Some(last) = columns.len().checked_sub(1) else { return false };
    if reasons.is_empty() || columns[last].len() + 2 > rows {
        return reasons.is_empty();
    }
    let mut is_whole = true;
    let heading_row = columns[last].len();
    columns[last].push(Vec::new());
    let mut next = 0;
    for k in (0..=last).rev() {
        let (column, width) = (&mut columns[k], widths[k]);
        let mut has_heading = k == last;
        while let Some(reason) = reasons.get(next) {
            let reason = reason_lines(reason, width);
            let room = rows.saturating_sub(column.len() + usize::from(!has_heading));
            // Cut in the last rows there are, and rather cut than moved if it is the first one.
            if room == 0 || (reason.len() > room && next > 0 && k > 0) {
                break;
            }
            if !has_heading {
                column.push(vec![(format!("{REASONS}, continued"), theme.heading())]);
                has_heading = true;
            }
            is_whole &= reason.len() <= room;
            column.extend(lines(theme, cut(reason, room, width.saturating_sub(2))));
            next += 1;
        }
    }
    let room = rows.saturating_sub(columns[last].len());
    if let Some(reason) = reasons.get(next).filter(|_| room > 0) {
        let reason = reason_lines(reason, widths[last]);
        is_whole &= reason.len() <= room;
        columns[last].extend(lines(theme, cut(reason, room, widths[last].saturating_sub(2))));
        next += 1;
    }
    let left_out = reasons.len() - next;
    let is_full = columns.iter().all(|column| column.len() >= rows);
    columns[last][heading_row] = reasons_heading(state, theme, left_out, is_full);
    is_whole && left_out == 0
}

fn lines(theme: Theme, texts: Vec<String>) -> Vec<StyledLine> {
    hanging_indent(texts, ("- ", theme.faint()), Style::new())
}

/// The heading, with what is hidden: reasons, or if all columns are full, other parts of the report.
fn reasons_heading(state: &State, theme: Theme, left_out: usize, is_full: bool) -> StyledLine {
    let key = state.key_or_name("hearings");
    let more = match (left_out, is_full) {
        (0, false) => String::new(),
        (0, true) => format!("  {key}: more"),
        (n, _) => format!("  {key}: {n} more"),
    };
    vec![(REASONS.to_owned(), theme.heading()), (more, theme.faint())]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_cut_ends_in_an_ellipsis() {
        let lines = || vec!["the figure".to_owned(), "returns".to_owned(), "later".to_owned()];
        assert_eq!(cut(lines(), 3, 10), lines());
        assert_eq!(cut(lines(), 2, 10), ["the figure", "returns…"]);
        assert_eq!(cut(lines(), 1, 10), ["the figur…"]);
        assert!(cut(lines(), 0, 10).is_empty());
    }
}
