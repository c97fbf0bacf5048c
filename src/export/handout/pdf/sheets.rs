//! Puts pieces on sheets of paper.

use super::layout::Piece;

/// Where the pieces stand on one sheet: upper edge from the top of the printed area, and index.
pub(super) type Sheet = Vec<(f32, usize)>;

/// Fills sheets of a height in order. A piece stays with the next one if it asks for that, and a piece with a header that begins a
/// sheet is preceded by its header.
pub(super) fn fill(pieces: &[Piece], room: f32) -> Vec<Sheet> {
    let mut sheets: Vec<Sheet> = vec![Vec::new()];
    let (mut y, mut next) = (0.0_f32, 0);
    while next < pieces.len() {
        let last = (next..pieces.len()).find(|i| !pieces[*i].stays_with_next).unwrap_or(pieces.len() - 1);
        let group = &pieces[next..=last];
        let height: f32 = group.iter().map(|p| p.gap + p.height).sum();
        let begins = sheets.last().is_some_and(Vec::is_empty);
        if !begins && y + height > room + 0.01 {
            sheets.push(Vec::new());
            y = 0.0;
        }
        let Some(sheet) = sheets.last_mut() else { break };
        let header = pieces[next].header.filter(|_| sheet.is_empty());
        for index in header.into_iter().chain(next..=last) {
            y += if sheet.is_empty() { 0.0 } else { pieces[index].gap };
            sheet.push((y, index));
            y += pieces[index].height;
        }
        next = last + 1;
    }
    sheets
}
