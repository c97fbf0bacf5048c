//! The areas of the screen, by the size of the window.

use crate::terminal::view::Strips;
use ratatui::layout::Rect;

/// The smallest window on which everything works.
pub(crate) const MIN_WIDTH: u16 = 60;
pub(crate) const MIN_HEIGHT: u16 = 18;
/// Minimum columns of a window with the pane next to the grid.
const MIN_WIDTH_FOR_PANE_RIGHT: u16 = 110;
const MIN_PANE_WIDTH: u16 = 44;
const MAX_PANE_WIDTH: u16 = 62;
/// Rows in which a pane below the grid has room for everything that one next to it shows.
const FULL_PANE_HEIGHT: u16 = 24;
/// Minimum rows of a pane below a grid of several systems.
const MIN_PANE_HEIGHT: u16 = 18;
/// Columns left of the cells: the names of layers and strips. A wide grid has more, from the first number of columns on.
const MIN_GUTTER: u16 = 12;
const GUTTERS: [(u16, u16); 2] = [(150, 32), (110, 20)];
/// Rows of hearings under the grid: default, and maximum with [`Strips::All`].
const DEFAULT_STRIPS: u16 = 2;
const MAX_STRIPS: u16 = 10;
/// Rows of the recording's lane, from so many rows of a window on; one in a lower one.
const LANE_ROWS: [(u16, u16); 2] = [(40, 4), (24, 2)];
/// Minimum rows of a window in which the second strip may be empty.
const MIN_HEIGHT_FOR_EMPTY_STRIP: u16 = 24;

/// The size of a section in columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct SectionColumns {
    /// Of a bar with its bar line.
    pub bar: usize,
    pub bars: usize,
}

/// What is drawn around the layers in every system.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct StripRows {
    /// The strips that are wanted.
    pub strips: Strips,
    /// Number of hearings; `None` before the first report.
    pub hearings: Option<usize>,
    /// Whether the level of a recording is drawn.
    pub has_lane: bool,
}

impl StripRows {
    /// The rows of the strips in a window of this height, without those that there may be room for besides. They stay as they are
    /// while an edit changes the number of hearings, except in a low window, which has no row to leave empty.
    fn rows(self, height: u16) -> u16 {
        match self.hearings {
            Some(hearings) if height < MIN_HEIGHT_FOR_EMPTY_STRIP => DEFAULT_STRIPS.min(hearings.max(1) as u16),
            _ => DEFAULT_STRIPS,
        }
    }

    /// The rows of the recording's lane in a window of this height.
    fn lane_rows(self, height: u16) -> u16 {
        let rows = LANE_ROWS.iter().find(|rows| height >= rows.0).map_or(1, |rows| rows.1);
        if self.has_lane { rows } else { 0 }
    }
}

/// The areas of the window. Where there is room, the grid continues in further systems, each with rows for all layers: the rows of
/// bars, as in a score. The areas of the grid are those of the first one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Layout {
    pub top: Rect,
    /// The level of the recording, over the ruler; without rows if there is none.
    pub lane: Rect,
    /// Bar numbers and syllables, over the grid's columns.
    pub ruler: Rect,
    pub names: Rect,
    pub cells: Rect,
    /// The hearings under the cells; their names are to the left.
    pub strips: Rect,
    pub pane: Rect,
    /// Whether the pane is to the right of the grid; otherwise it is below.
    pub pane_right: bool,
    pub transport: Rect,
    pub hints: Rect,
    /// At least 1; only the last one may be empty in part.
    pub systems: u16,
    /// Columns from the start of a system to that of the next one; several systems break at bar lines.
    pub system_columns: usize,
    /// First visible column of the section.
    pub first_column: usize,
    /// Column of the bar line that closes the section.
    pub end_column: usize,
}

impl Layout {
    /// The layout of a window for so many layers; `None` if the window is too small. The pane is below the grid if there are rows
    /// for its whole content, otherwise to the right of it if there are columns for both, and narrower if the whole section is then
    /// visible.
    pub(crate) fn new(
        width: u16,
        height: u16,
        layers: usize,
        section: SectionColumns,
        strips: StripRows,
        first_column: usize,
    ) -> Option<Self> {
        if width < MIN_WIDTH || height < MIN_HEIGHT {
            return None;
        }
        // Top line, lane, two lines of ruler, strips, transport, hints.
        let (least_strips, lane) = (strips.rows(height), strips.lane_rows(height));
        let room = height - 5 - least_strips - lane;
        let columns = section.bar * section.bars + 1;
        let free = usize::from(width).saturating_sub(usize::from(MIN_GUTTER) + 1 + columns);
        let whole = free >= usize::from(MIN_PANE_WIDTH);
        let rows_below = room.saturating_sub(layers.clamp(1, 64) as u16);
        let pane_right = width >= MIN_WIDTH_FOR_PANE_RIGHT && rows_below < FULL_PANE_HEIGHT;
        let pane_width = match pane_right {
            true if whole => (width * 2 / 5).min(MAX_PANE_WIDTH).min(free as u16),
            true => (width * 2 / 5).min(MAX_PANE_WIDTH),
            false => width,
        };
        let left = if pane_right { width - pane_width - 1 } else { width };
        let gutter = GUTTERS.iter().find(|g| left >= g.0).map_or(MIN_GUTTER, |g| g.1);
        let min_pane_height = if pane_right { 0 } else { (room / 2).max(6) };
        let rows = (layers.clamp(1, 64) as u16).min(room - min_pane_height);
        let all = strips.hearings.map_or(MAX_STRIPS, |n| MAX_STRIPS.min(n as u16)).max(least_strips);
        let max_strips = if strips.strips == Strips::All { all } else { least_strips };
        let strips = max_strips.min(least_strips + room - min_pane_height - rows);
        let visible = left - gutter;
        // The row of bar numbers sets a system apart from the one above.
        let step = lane + 2 + rows + strips;
        let grid_height = if pane_right { height - 3 } else { height.saturating_sub(3 + MIN_PANE_HEIGHT) };
        let (systems, system_columns) = systems(section, usize::from(visible), usize::from(grid_height / step));
        // A system of several ends with its closing bar line. The pane gets the columns after it.
        let own = if systems > 1 { (system_columns + 1) as u16 } else { visible };
        let spare = if pane_right { (visible - own).min(MAX_PANE_WIDTH - pane_width.min(MAX_PANE_WIDTH)) } else { 0 };
        let (visible, left, pane_width) = (own, left - spare, pane_width + spare);
        let below = 1 + systems * step;
        let pane = if pane_right {
            Rect::new(left + 1, 1, pane_width, height - 3)
        } else {
            Rect::new(0, below, width, height - 2 - below)
        };
        Some(Self {
            top: Rect::new(0, 0, width, 1),
            lane: Rect::new(gutter, 1, visible, lane),
            ruler: Rect::new(gutter, lane + 1, visible, 2),
            names: Rect::new(0, lane + 3, gutter, rows),
            cells: Rect::new(gutter, lane + 3, visible, rows),
            strips: Rect::new(gutter, lane + 3 + rows, visible, strips),
            pane,
            pane_right,
            transport: Rect::new(0, height - 2, width, 1),
            hints: Rect::new(0, height - 1, width, 1),
            systems,
            system_columns,
            first_column,
            end_column: columns - 1,
        })
    }

    /// The same window with the areas of the grid moved to the `index`th system.
    pub(crate) fn system(&self, index: u16) -> Self {
        let step = self.lane.height + 2 + self.cells.height + self.strips.height;
        let moved = |area: Rect| Rect { y: area.y + index * step, ..area };
        Self {
            lane: moved(self.lane),
            ruler: moved(self.ruler),
            names: moved(self.names),
            cells: moved(self.cells),
            strips: moved(self.strips),
            first_column: self.first_column + usize::from(index) * self.system_columns,
            ..*self
        }
    }

    /// Columns of the section that are visible at a time.
    pub(crate) fn visible_columns(&self) -> usize {
        match self.systems {
            1 => usize::from(self.cells.width),
            n => usize::from(n) * self.system_columns,
        }
    }

    /// The window's column of a column of the section, if this system shows it.
    pub(crate) fn x(&self, column: usize) -> Option<usize> {
        let x = column.checked_sub(self.first_column)?;
        // The bar line that closes a system belongs to the next one, if there is one.
        let is_own = self.systems == 1 || x < self.system_columns || column == self.end_column;
        (is_own && x < usize::from(self.cells.width)).then_some(x)
    }
}

/// How many systems a section needs, at most `max`, and the columns of each: whole bars, as equally many as possible.
fn systems(section: SectionColumns, visible: usize, max: usize) -> (u16, usize) {
    let fit = visible.saturating_sub(1) / section.bar;
    if fit == 0 || max < 2 || fit >= section.bars {
        return (1, visible);
    }
    let needed = section.bars.div_ceil(fit);
    let each = if needed <= max { section.bars.div_ceil(needed) } else { fit };
    (needed.min(max) as u16, each * section.bar)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TWO: StripRows = StripRows { strips: Strips::Two, hearings: Some(2), has_lane: false };

    #[test]
    fn the_parts_fill_the_window_and_do_not_overlap() {
        for (width, height) in [(60, 18), (80, 24), (109, 30), (110, 18), (200, 60), (500, 200)] {
            for layers in [0, 1, 2, 6, 16, 64, 101, 102, 116] {
                let strips = if layers > 100 { Strips::All } else { Strips::Two };
                let strips =
                    StripRows { strips, hearings: (layers % 3 > 0).then_some(layers % 4), has_lane: layers % 2 > 0 };
                let (section, layers) = (SectionColumns { bar: 33, bars: 2 * (layers % 7) + 1 }, layers % 100);
                let l = Layout::new(width, height, layers, section, strips, 0).expect("large enough");
                let mut parts = vec![l.top, l.pane, l.transport, l.hints];
                for s in (0..l.systems).map(|k| l.system(k)) {
                    parts.extend([s.ruler, s.names, s.cells, s.strips]);
                    parts.extend(Some(s.lane).filter(|_| strips.has_lane));
                }
                let window = Rect::new(0, 0, width, height);
                for (i, a) in parts.iter().enumerate() {
                    assert_eq!(a.intersection(window), *a, "{width}x{height} {layers}");
                    assert!(a.width > 0 && a.height > 0);
                    for b in &parts[i + 1..] {
                        assert!(a.intersection(*b).is_empty(), "{width}x{height} {layers}: {a} {b}");
                    }
                }
                assert!(l.pane.height >= 6 && (l.systems > 1 || l.cells.width >= 40), "{l:?}");
            }
        }
        for (width, height) in [(0, 0), (1, 1), (59, 18), (60, 17)] {
            assert_eq!(Layout::new(width, height, 3, SectionColumns { bar: 33, bars: 2 }, TWO, 0), None);
        }
    }

    #[test]
    fn the_grid_continues_in_systems_and_the_pane_takes_the_rest() {
        let at = |width, height, layers, bars| {
            let section = SectionColumns { bar: 33, bars };
            let l = Layout::new(width, height, layers, section, TWO, 0).expect("large enough");
            (l.pane_right, l.pane.width, l.systems, l.system_columns)
        };
        assert_eq!(at(200, 60, 3, 2), (false, 200, 1, 168));
        assert_eq!(at(200, 60, 3, 6), (false, 200, 2, 99));
        assert_eq!(at(200, 60, 3, 9), (false, 200, 2, 165));
        // As many as there are rows for, with whole bars.
        assert_eq!(at(200, 60, 3, 64), (false, 200, 5, 165));
        assert_eq!(at(160, 24, 3, 4), (true, 62, 2, 66));
        assert_eq!(at(110, 18, 1, 1), (true, 44, 1, 53));
        assert_eq!(at(80, 24, 3, 4), (false, 80, 1, 68));
        assert_eq!(at(120, 40, 3, 9), (false, 120, 2, 99));
        // Bars of 33 columns leave 25 of the grid empty; the pane takes as many as it can use.
        assert_eq!(at(120, 24, 3, 4), (true, 62, 3, 33));
    }

    #[test]
    fn a_recording_has_a_lane_over_each_system() {
        let at = |width, height, bars, has_lane| {
            let section = SectionColumns { bar: 33, bars };
            let strips = StripRows { has_lane, ..TWO };
            let l = Layout::new(width, height, 3, section, strips, 0).expect("large enough");
            (l.lane.height, l.ruler.y, l.system(l.systems - 1).ruler.y, l.pane.height)
        };
        assert_eq!(at(80, 24, 2, false), (0, 1, 1, 14));
        assert_eq!(at(80, 24, 2, true), (2, 3, 3, 12));
        assert_eq!(at(80, 18, 2, true), (1, 2, 2, 7));
        assert_eq!(at(200, 60, 6, true), (4, 5, 16, 35));
    }

    #[test]
    fn a_low_window_has_no_row_for_a_hearing_that_does_not_exist() {
        let at = |height, layers, hearings| {
            let strips = StripRows { strips: Strips::Two, hearings, has_lane: false };
            let section = SectionColumns { bar: 33, bars: 4 };
            let l = Layout::new(80, height, layers, section, strips, 0).expect("large enough");
            (l.cells.height, l.strips.height, l.pane.height)
        };
        assert_eq!(at(18, 4, None), (4, 2, 7));
        assert_eq!(at(18, 4, Some(2)), (4, 2, 7));
        assert_eq!(at(18, 4, Some(1)), (4, 1, 8));
        assert_eq!(at(18, 9, Some(1)), (6, 1, 6), "a layer more");
        assert_eq!(at(18, 9, Some(2)), (5, 2, 6));
        assert_eq!(at(24, 4, Some(1)), (4, 2, 13), "where there is room nothing moves");
    }
}
