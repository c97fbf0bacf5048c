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
const NAMES_WIDTH: u16 = 12;
/// Rows of hearings under the grid: default, and maximum with [`Strips::All`].
const DEFAULT_STRIPS: u16 = 2;
const MAX_STRIPS: u16 = 10;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Layout {
    pub top: Rect,
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
}

impl Layout {
    /// The layout of a window for so many layers and a section of so many columns; `None` if the window is too small. The pane is
    /// to the right of the grid if there are columns for both, and narrower if the whole section is then visible; otherwise it goes
    /// below if there are rows for its whole content.
    pub(crate) fn new(width: u16, height: u16, layers: usize, columns: usize, strips: Strips) -> Option<Self> {
        if width < MIN_WIDTH || height < MIN_HEIGHT {
            return None;
        }
        // Top line, two lines of ruler, strips, transport, hints.
        let room = height - 5 - DEFAULT_STRIPS;
        let free = usize::from(width).saturating_sub(usize::from(NAMES_WIDTH) + 1 + columns);
        let whole = free >= usize::from(MIN_PANE_WIDTH);
        let rows_below = room.saturating_sub(layers.clamp(1, 64) as u16);
        let pane_right = width >= MIN_WIDTH_FOR_PANE_RIGHT && (whole || rows_below < FULL_PANE_HEIGHT);
        let pane_width = match pane_right {
            true if whole => (width * 2 / 5).min(MAX_PANE_WIDTH).min(free as u16),
            true => (width * 2 / 5).min(MAX_PANE_WIDTH),
            false => width,
        };
        let left = if pane_right { width - pane_width - 1 } else { width };
        let min_pane_height = if pane_right { 0 } else { (room / 2).max(6) };
        let rows = (layers.clamp(1, 64) as u16).min(room - min_pane_height);
        let cells = Rect::new(NAMES_WIDTH, 3, left - NAMES_WIDTH, rows);
        let max_strips = if strips == Strips::All { MAX_STRIPS } else { DEFAULT_STRIPS };
        let strips = max_strips.min(DEFAULT_STRIPS + room - min_pane_height - rows);
        let below = 3 + rows + strips;
        let pane = if pane_right {
            Rect::new(left + 1, 1, pane_width, height - 3)
        } else {
            Rect::new(0, below, width, height - 2 - below)
        };
        Some(Self {
            top: Rect::new(0, 0, width, 1),
            ruler: Rect::new(NAMES_WIDTH, 1, left - NAMES_WIDTH, 2),
            names: Rect::new(0, 3, NAMES_WIDTH, rows),
            cells,
            strips: Rect::new(NAMES_WIDTH, 3 + rows, left - NAMES_WIDTH, strips),
            pane,
            pane_right,
            transport: Rect::new(0, height - 2, width, 1),
            hints: Rect::new(0, height - 1, width, 1),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_parts_fill_the_window_and_do_not_overlap() {
        for (width, height) in [(60, 18), (80, 24), (109, 30), (110, 18), (200, 60), (500, 200)] {
            for layers in [0, 1, 2, 6, 16, 64, 101, 102, 116] {
                let strips = if layers > 100 { Strips::All } else { Strips::Two };
                let (columns, layers) = (67 * (layers % 7), layers % 100);
                let l = Layout::new(width, height, layers, columns, strips).expect("large enough");
                let parts = [l.top, l.ruler, l.names, l.cells, l.strips, l.pane, l.transport, l.hints];
                let window = Rect::new(0, 0, width, height);
                for (i, a) in parts.iter().enumerate() {
                    assert_eq!(a.intersection(window), *a, "{width}x{height} {layers}");
                    assert!(a.width > 0 && a.height > 0);
                    for b in &parts[i + 1..] {
                        assert!(a.intersection(*b).is_empty(), "{width}x{height} {layers}: {a} {b}");
                    }
                }
                assert!(l.pane.height >= 6 && l.cells.width >= 48);
            }
        }
        for (width, height) in [(0, 0), (1, 1), (59, 18), (60, 17)] {
            assert_eq!(Layout::new(width, height, 3, 67, Strips::All), None);
        }
    }

    #[test]
    fn the_pane_makes_room_for_a_section_that_would_be_whole() {
        let at = |width, height, layers, columns| {
            let l = Layout::new(width, height, layers, columns, Strips::Two).expect("large enough");
            (l.pane_right, l.pane.width, usize::from(l.cells.width) >= columns)
        };
        // Two bars of sixteenths, four, six; a low window; many layers.
        assert_eq!(at(200, 60, 3, 67), (true, 62, true));
        assert_eq!(at(200, 60, 3, 133), (true, 54, true));
        assert_eq!(at(200, 60, 3, 199), (false, 200, false));
        assert_eq!(at(160, 40, 3, 133), (false, 160, true));
        assert_eq!(at(160, 24, 3, 133), (true, 62, false));
        assert_eq!(at(200, 60, 40, 199), (true, 62, false));
        assert_eq!(at(110, 18, 1, 34), (true, 44, true));
        assert_eq!(at(109, 60, 1, 34), (false, 109, true));
    }
}
