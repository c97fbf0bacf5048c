//! Where each part of the screen lies, by the window's size. It must not know what the parts show.

use ratatui::layout::Rect;

/// Fewest columns on which everything works.
pub const LEAST_WIDTH: u16 = 60;
/// Fewest rows on which everything works.
pub const LEAST_HEIGHT: u16 = 18;
/// From so many columns on the pane stands beside the grid.
const WIDE: u16 = 110;
/// Columns of the layers' names.
const GUTTER: u16 = 12;
/// Rows of hearings under the grid, and the most there are where more are asked for.
const STRIPS: u16 = 2;
const STRIPS_MOST: u16 = 10;

/// The parts of the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Layout {
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
    /// The layout of a window with so many layers, with more than two strips if they are asked for and there is room;
    /// `None` if the window is too small.
    pub(super) fn new(width: u16, height: u16, layers: usize, more_strips: bool) -> Option<Self> {
        if width < LEAST_WIDTH || height < LEAST_HEIGHT {
            return None;
        }
        let beside = width >= WIDE;
        let pane_width = if beside { (width * 2 / 5).min(62) } else { width };
        let left = if beside { width - pane_width - 1 } else { width };
        // Top line, two lines of ruler, strips, transport, hints.
        let room = height - 5 - STRIPS;
        let pane_least = if beside { 0 } else { (room / 2).max(6) };
        let rows = (layers.clamp(1, 64) as u16).min(room - pane_least);
        let cells = Rect::new(GUTTER, 3, left - GUTTER, rows);
        let more = if more_strips { STRIPS_MOST } else { STRIPS };
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
                let l = Layout::new(width, height, layers % 100, layers > 100).expect("large enough");
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
            assert_eq!(Layout::new(width, height, 3, true), None);
        }
    }
}
