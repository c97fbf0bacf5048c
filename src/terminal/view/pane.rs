//! Arranges the pane: groups, landings, hearings and reasons, then what there is room for of the rest of the report.

use crate::analysis::Report;
use crate::terminal::State;
use crate::terminal::playback::practice;
use crate::terminal::view::full::{Block, Room};
use crate::terminal::view::{KeptBlocks, Layout, Pen, StyledLine};
use ratatui::layout::Rect;

mod flow;
mod parts;
mod reasons;

use parts::Parts;

/// Minimum columns for a pane with equal halves.
const MIN_HALVES_WIDTH: usize = 72;
/// Minimum columns for landings: name, bar, number, share.
const MIN_LANDINGS_WIDTH: usize = 26;
/// Maximum number of hearings in a pane below the grid: each edit sends them again.
const MAX_HEARINGS_BELOW: usize = 6;
/// Minimum rows of a pane below the grid that shows everything it has room for.
const MIN_TALL_HEIGHT: usize = 26;
/// Minimum rows of a pane below the grid in which the block of the groups has a least number of rows, so that an edit moves little.
const MIN_PADDED_HEIGHT: usize = 18;
/// Minimum rows of a pane next to the grid with long blocks.
const MIN_LONG_HEIGHT: usize = 26;
/// Maximum number of hearings in a lower one.
const MAX_HEARINGS_LOW: usize = 4;
/// Maximum number of hearings in a higher one that is not high enough for everything.
const MAX_HEARINGS: usize = 12;

/// Draws the pane: in one column next to the grid, or in two below it.
pub(crate) fn draw(state: &State, pen: &mut Pen<'_>, layout: &Layout, kept: &mut KeptBlocks) {
    let area = layout.pane;
    let theme = pen.theme;
    if layout.pane_right {
        let line = Rect::new(area.x - 1, area.y, 1, area.height);
        (0..usize::from(area.height)).for_each(|y| pen.put_char(line, 0, y, theme.glyphs().bar_line, theme.faint()));
    }
    let Some((report, fresh)) = state.report() else {
        pen.put(area, 1, 0, "analyzing...", theme.faint());
        return;
    };
    let pane = Pane::new(state, report, fresh, layout);
    let arranged = pane.arranged(kept);
    let mut x = usize::from(layout.pane_right);
    for (lines, width) in arranged.columns.iter().zip(&pane.widths) {
        pen.put_lines(area, x, 0, lines);
        x += width + 2;
    }
}

/// The number of rows that are empty in a column, and whether something has no room.
#[cfg(test)]
pub(crate) fn empty_rows(state: &State, layout: &Layout) -> (usize, bool) {
    let (report, fresh) = state.report().expect("a report");
    let pane = Pane::new(state, report, fresh, layout);
    let arranged = pane.arranged(&mut KeptBlocks::default());
    let is_empty = |column: &[StyledLine], y: usize| column.get(y).is_none_or(Vec::is_empty);
    let count = |column: &Vec<StyledLine>| (0..pane.rows).filter(|y| is_empty(column, *y)).count();
    (arranged.columns.iter().map(count).sum(), arranged.is_partial)
}

struct Pane<'a> {
    state: &'a State,
    report: &'a Report,
    fresh: bool,
    /// The texts of the reasons.
    reasons: Vec<String>,
    /// Of one or two columns.
    widths: Vec<usize>,
    rows: usize,
}

/// The lines of the pane.
struct Arranged {
    columns: Vec<Vec<StyledLine>>,
    /// Whether something is cut or left out.
    is_partial: bool,
}

impl<'a> Pane<'a> {
    fn new(state: &'a State, report: &'a Report, fresh: bool, layout: &Layout) -> Self {
        let (width, rows) = (usize::from(layout.pane.width), usize::from(layout.pane.height));
        // Names of hearings and reasons need the columns more than the bars of the landings do.
        let split = if width < MIN_HALVES_WIDTH { MIN_LANDINGS_WIDTH } else { width / 2 - 1 };
        let halves = vec![split, width.saturating_sub(split + 2)];
        let widths = if layout.pane_right { vec![width.saturating_sub(2)] } else { halves };
        Self { state, report, fresh, reasons: reasons::of(state), widths, rows }
    }

    fn parts(&self) -> Parts<'a> {
        Parts { state: self.state, report: self.report, fresh: self.fresh, theme: self.state.view.theme }
    }

    /// Blocks with an empty row between them if there is room for everything, without one otherwise.
    fn arranged(&self, kept: &mut KeptBlocks) -> Arranged {
        let mut dense = self.dense();
        let free: usize = dense.columns.iter().map(|column| self.rows.saturating_sub(column.len())).sum();
        if free == 0 || practice::visible_ladder(self.state).is_some() {
            return dense;
        }
        let width = self.widths.iter().copied().min().unwrap_or(0);
        let blocks = kept.of(self.state, Room { width, rows: self.rows * self.widths.len() });
        if !dense.is_partial
            && blocks.iter().map(|block| block.lines.len()).sum::<usize>() <= free
            && let Some(columns) = self.apart(blocks, width)
        {
            return Arranged { columns, is_partial: false };
        }
        let (theme, limits) = (self.state.view.theme, vec![self.rows; self.widths.len()]);
        let mut filled = dense.columns.clone();
        let mut columns = flow::Columns { lines: &mut filled, limits: limits.clone(), width, theme, is_dense: true };
        let hidden = columns.pour(blocks);
        if hidden.parts.is_empty() {
            return Arranged { columns: filled, ..dense };
        }
        // A row names what is hidden: one that is left, or else the last row of the last column with a free one.
        let key = self.state.key_or_name("hearings");
        if let Some(k) = columns.single_row() {
            columns.add_names(k, &key, &hidden);
            columns.fill_up(&hidden);
            return Arranged { columns: filled, is_partial: true };
        }
        let named = dense.columns.iter().rposition(|column| column.len() < self.rows).unwrap_or(0);
        let mut fewer = limits;
        fewer[named] -= 1;
        let mut columns = flow::Columns { lines: &mut dense.columns, limits: fewer, width, theme, is_dense: true };
        let hidden = columns.pour(blocks);
        columns.fill_up(&hidden);
        columns.add_names(named, &key, &hidden);
        Arranged { is_partial: true, ..dense }
    }

    /// All blocks and parts, an empty row apart; `None` if there is no room for them.
    fn apart(&self, further: &[Block], width: usize) -> Option<Vec<Vec<StyledLine>>> {
        let theme = self.state.view.theme;
        let last = self.widths.len() - 1;
        let mut columns = vec![Vec::new(); last + 1];
        let [groups, landings, hearings] = [0, 0, last].map(|k| (k, self.widths[k]));
        let blocks = [
            (groups.0, self.parts().groups(groups.1, (6, usize::MAX))),
            (landings.0, self.parts().landings(landings.1, usize::MAX)),
            (hearings.0, self.parts().hearings(hearings.1, usize::MAX)),
        ];
        for (k, lines) in blocks.into_iter().filter(|(_, lines)| !lines.is_empty()) {
            let column: &mut Vec<StyledLine> = &mut columns[k];
            column.resize(column.len() + usize::from(!column.is_empty()), Vec::new());
            column.extend(lines);
        }
        if !self.reasons.is_empty() {
            columns[last].push(Vec::new());
        }
        let has_room = columns[last].len() + reasons::rows(&self.reasons, self.widths[last]) <= self.rows;
        if !has_room || columns[0].len() > self.rows {
            return None;
        }
        reasons::add(self.state, theme, &mut columns, &self.reasons, (&self.widths, self.rows));
        let limits = vec![self.rows; columns.len()];
        let mut poured = flow::Columns { lines: &mut columns, limits, width, theme, is_dense: false };
        poured.pour(further).parts.is_empty().then_some(columns)
    }

    /// The blocks and reasons without an empty row.
    fn dense(&self) -> Arranged {
        let (mut columns, hearings) = if self.widths.len() > 1 { self.halves() } else { self.one_column() };
        let theme = self.state.view.theme;
        let has_reasons = reasons::add(self.state, theme, &mut columns, &self.reasons, (&self.widths, self.rows));
        Arranged { columns, is_partial: !has_reasons || self.report.hearings.len() > hearings }
    }

    /// The columns of a pane below the grid, without the reasons: groups, then landings or the steps of a ladder; hearings. Also the
    /// number of hearings.
    fn halves(&self) -> (Vec<Vec<StyledLine>>, usize) {
        let (parts, rows) = (self.parts(), self.rows);
        // A low pane shows at least the first hearing and the first reason.
        let max = match rows {
            0..=6 => 1,
            7 => 2,
            8..=9 => 3,
            _ if rows >= MIN_TALL_HEIGHT => rows / 2,
            _ => (rows / 2).saturating_sub(4).clamp(4, MAX_HEARINGS_BELOW),
        };
        let width = self.widths[1];
        let mut right = parts.hearings(width, max);
        // Rows that the reasons do not need.
        let free = rows.saturating_sub(right.len() + reasons::rows(&self.reasons, width));
        if free > 0 && self.report.hearings.len() > max {
            right = parts.hearings(width, max + free);
        }
        (vec![self.left_half(), right], max + free)
    }

    fn left_half(&self) -> Vec<StyledLine> {
        let (parts, width, rows) = (self.parts(), self.widths[0], self.rows);
        let fixed = match rows {
            13.. => 5,
            10.. => 4,
            _ => 2,
        };
        // A low pane needs the rows for reasons.
        let least = if rows >= MIN_PADDED_HEIGHT { fixed } else { 0 };
        let groups = |max| parts.groups(width, (least, max));
        if let Some((ladder, at)) = practice::visible_ladder(self.state) {
            let mut lines = groups(fixed);
            lines.resize(fixed, Vec::new());
            // Without playback the steps cannot be scrolled: all are shown, if necessary in place of the groups.
            if at.is_none() && ladder.speeds.len() + 1 > rows.saturating_sub(fixed) {
                lines.clear();
            }
            let max = rows.saturating_sub(lines.len());
            lines.extend(parts.landings_or_ladder(width, max));
            return lines;
        }
        let landings = parts.landings(width, rows);
        let mut lines = groups(rows.saturating_sub(landings.len()).max(fixed));
        let max = rows.saturating_sub(lines.len());
        lines.extend(parts.landings(width, max));
        lines
    }

    /// The column of a pane next to the grid, without the reasons, and the number of hearings.
    fn one_column(&self) -> (Vec<Vec<StyledLine>>, usize) {
        let (parts, width) = (self.parts(), self.widths[0]);
        let is_low = self.rows < MIN_LONG_HEIGHT;
        let mut lines = parts.groups(width, if is_low { (4, 4) } else { (6, 6) });
        lines.extend(parts.landings_or_ladder(width, if is_low { 7 } else { 12 }));
        let reasons = reasons::rows(&self.reasons, width);
        let hearings = |max| parts.hearings(width, max);
        let mut max = if is_low { MAX_HEARINGS_LOW } else { MAX_HEARINGS };
        if lines.len() + hearings(max).len() + reasons > self.rows {
            max = MAX_HEARINGS_LOW;
        }
        lines.extend(hearings(max));
        (vec![lines], max)
    }
}
