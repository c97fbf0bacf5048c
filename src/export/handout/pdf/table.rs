//! Tables: widths of columns, rows of wrapped cells.

use super::layout::{Mark, Piece, Style};
use super::wrap::wrap;
use crate::export::handout::content::TEXT_WIDTH;
use crate::export::picture::font;
use crate::export::picture::pdf::TextWeight;

/// Space within a cell, left and right of its text.
const PADDING: f32 = 5.0;
const ABOVE: f32 = 3.0;
const BELOW: f32 = 4.0;

/// Widths of the columns without padding: as their texts need, the widest ones narrowed to fit the page, the last one to its edge.
fn widths(heads: &[&str], rows: &[Vec<String>], size: f32) -> Vec<f32> {
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|r| r.get(column)).map(|c| font::width(c, size));
        cells.fold(font::width(heads[column], size) * 1.05, f32::max)
    };
    let mut all: Vec<f32> = (0..heads.len()).map(width).collect();
    let room = TEXT_WIDTH - 2.0 * PADDING * heads.len() as f32;
    let capped = |cap: f32| all.iter().map(|w| w.min(cap)).sum::<f32>();
    if capped(f32::MAX) > room {
        let (mut low, mut high) = (0.0, TEXT_WIDTH);
        for _ in 0..24 {
            let middle = f32::midpoint(low, high);
            *(if capped(middle) > room { &mut high } else { &mut low }) = middle;
        }
        for width in &mut all {
            *width = width.min(low);
        }
    }
    let used: f32 = all.iter().sum();
    if let Some(last) = all.last_mut() {
        *last += (room - used).max(0.0);
    }
    all
}

/// Adds a header row and the rows; the header stays with the first row and begins every further sheet of the table.
pub(super) fn add(pieces: &mut Vec<Piece>, heads: &[&str], rows: &[Vec<String>], style: &Style) {
    let size = style.small;
    let widths = widths(heads, rows, size);
    let row = |cells: &mut dyn Iterator<Item = &str>, weight: TextWeight, rule: f32| {
        let (mut marks, mut x, mut most) = (Vec::new(), 0.0, 1);
        for (cell, width) in cells.zip(&widths) {
            let lines = wrap(cell, size, *width);
            most = most.max(lines.len());
            let at = x + PADDING;
            let text = |(k, text): (usize, String)| {
                let y = ABOVE + style.small_baseline() + k as f32 * style.small_line;
                Mark::Text { x: at, y, size, weight, text }
            };
            marks.extend(lines.into_iter().enumerate().map(text));
            x += width + 2.0 * PADDING;
        }
        let height = ABOVE + most as f32 * style.small_line + BELOW;
        marks.push(Mark::Rule { x: 0.0, y: height - rule, width: TEXT_WIDTH, height: rule });
        Piece { height, marks, ..Piece::default() }
    };
    let header = pieces.len();
    let head = row(&mut heads.iter().copied(), TextWeight::Bold, 1.2);
    pieces.push(Piece { gap: style.gap, stays_with_next: !rows.is_empty(), ..head });
    for cells in rows {
        let cells = row(&mut cells.iter().map(String::as_str), TextWeight::Regular, 0.4);
        pieces.push(Piece { header: Some(header), ..cells });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_fill_the_page_and_only_wide_ones_are_narrowed() {
        let row = |note: &str| vec!["1".to_owned(), "50%".to_owned(), note.to_owned()];
        let short = widths(&["step", "tempo", "note"], &[row("plain")], 10.0);
        let long = widths(&["step", "tempo", "note"], &[row(&"long words ".repeat(40))], 10.0);
        for all in [&short, &long] {
            assert!((all.iter().sum::<f32>() + 30.0 - TEXT_WIDTH).abs() < 0.1, "{all:?}");
        }
        assert_eq!(short[..2], long[..2]);
    }
}
