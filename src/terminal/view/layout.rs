//! Where each part of the screen lies, by the window's size.

use ratatui::layout::Rect;

/// Fewest columns on which everything works.
pub(crate) const MIN_WIDTH: u16 = 60;
/// Fewest rows on which everything works.
pub(crate) const MIN_HEIGHT: u16 = 18;
/// From so many columns on the pane stands beside the grid.
const WIDE: u16 = 110;
/// Columns of the pane beside the grid, at least and at most.
const MIN_PANE_WIDTH: u16 = 44;
const MAX_PANE_WIDTH: u16 = 62;
/// Rows in which the pane says below the grid what it says beside it.
const ROWS_BELOW: u16 = 24;
/// Columns of the layers' names.
const GUTTER: u16 = 12;
/// Rows of hearings under the grid, and the most there are where more are asked for.
const STRIPS: u16 = 2;
const MAX_STRIPS: u16 = 10;

/// The parts of the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Layout {
    /// Title, section, meter, tempo.
    pub top: Rect,
    /// Bar numbers and syllables, over the grid's columns.
    pub ruler: Rect,
    /// The layers' names.
    pub names: Rect,
    /// The cells.
    pub cells: Rect,
    /// The hearings under the cells; their names stand to the left.
    pub strips: Rect,
    /// The pane.
    pub pane: Rect,
    /// Whether the pane stands beside the grid.
    pub beside: bool,
    /// What sounds and where the cursor is.
    pub transport: Rect,
    /// Hints or a message.
    pub hints: Rect,
}

impl Layout {
    /// The layout of a window with so many layers and a section of so many columns, with more than two strips if they are asked for
    /// and there is room; `None` if the window is too small. The pane stands beside the grid where there are columns for both, and
    /// gives up some of its own if the section is then whole; else it goes below where there are rows for all it has to say.
    pub(crate) fn new(width: u16, height: u16, layers: usize, columns: usize, more_strips: bool) -> Option<Self> {
        if width < MIN_WIDTH || height < MIN_HEIGHT {
            return None;
        }
        // Top line, two lines of ruler, strips, transport, hints.
        let room = height - 5 - STRIPS;
        let free = usize::from(width).saturating_sub(usize::from(GUTTER) + 1 + columns);
        let whole = free >= usize::from(MIN_PANE_WIDTH);
        let rows_below = room.saturating_sub(layers.clamp(1, 64) as u16);
        let beside = width >= WIDE && (whole || rows_below < ROWS_BELOW);
        let pane_width = match beside {
            true if whole => (width * 2 / 5).min(MAX_PANE_WIDTH).min(free as u16),
            true => (width * 2 / 5).min(MAX_PANE_WIDTH),
            false => width,
        };
        let left = if beside { width - pane_width - 1 } else { width };
        let pane_least = if beside { 0 } else { (room / 2).max(6) };
        let rows = (layers.clamp(1, 64) as u16).min(room - pane_least);
        let cells = Rect::new(GUTTER, 3, left - GUTTER, rows);
        let more = if more_strips { MAX_STRIPS } else { STRIPS };
        let strips = more.min(STRIPS + room - pane_least - rows);
        let below = 3 + rows + strips;
        let pane = if beside {
            Rect::new(left + 1, 1, pane_width, height - 3)
        } else {
            Rect::new(0, below, width, height - 2 - below)
        };
        Some(Self {
            top: Rect::new(0, 0, width, 1),
            ruler: Rect::new(GUTTER, 1, left - GUTTER, 2),
            names: Rect::new(0, 3, GUTTER, rows),
            cells,
            strips: Rect::new(GUTTER, 3 + rows, left - GUTTER, strips),
            pane,
            beside,
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
                let (columns, layers, more) = (67 * (layers % 7), layers % 100, layers > 100);
                let l = Layout::new(width, height, layers, columns, more).expect("large enough");
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
            assert_eq!(Layout::new(width, height, 3, 67, true), None);
        }
    }

    #[test]
    fn the_pane_makes_room_for_a_section_that_would_be_whole() {
        let at = |width, height, layers, columns| {
            let l = Layout::new(width, height, layers, columns, false).expect("large enough");
            (l.beside, l.pane.width, usize::from(l.cells.width) >= columns)
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
