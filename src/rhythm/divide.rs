//! Dividing beats anew: tuplets, divisions, bars and cycles. Attacks keep their time where the new cells allow it and otherwise
//! move to the cell they fall in.

use super::cell::Cell;
use super::part::{Part, PartContext, Span};

/// Puts `old` cells into `count` cells of the same total length.
///
/// An attack moves to the cell its time falls in; if that cell has an attack already, to the next free one, and if none is
/// free it is lost. Holds keep covering the time they covered.
pub(super) fn recut(old: &[Cell], count: usize) -> Vec<Cell> {
    let mut new = vec![Cell::Rest; count];
    if old.is_empty() || count == 0 {
        return new;
    }
    // Holds first: a new cell is a hold if the old cell at its start is not a rest and it is not the attack itself.
    for (k, cell) in new.iter_mut().enumerate() {
        let at = k * old.len() / count;
        if old[at] == Cell::Hold || (old[at].attack().is_some() && !(k * old.len()).is_multiple_of(count)) {
            *cell = Cell::Hold;
        }
    }
    let mut free = 0;
    for (k, cell) in old.iter().enumerate() {
        if cell.attack().is_some() {
            let at = (k * count / old.len()).max(free);
            if at < count {
                new[at] = *cell;
                free = at + 1;
            }
        }
    }
    // A single attack that lasted one cell does not begin to hold because the cells got shorter.
    let mut covered = 0;
    for (k, cell) in old.iter().enumerate() {
        if cell.attack().is_some() && old.get(k + 1) != Some(&Cell::Hold) {
            let end = ((k + 1) * count).div_ceil(old.len()).min(count);
            for c in &mut new[(k * count / old.len()).max(covered)..end] {
                if *c == Cell::Hold {
                    *c = Cell::Rest;
                }
            }
            covered = end;
        }
    }
    new
}

/// Divides the beats `beat..beat + beats` into one span of `cells` cells.
///
/// Spans that reach beyond these beats are first cut into beats of the layer's division.
pub(super) fn set_span(part: &Part, context: PartContext<'_>, beat: usize, beats: usize, cells: usize) -> Part {
    let (mut spans, mut all, mut gathered) = (Vec::new(), Vec::new(), Vec::new());
    let inside = |b: usize| (beat..beat + beats).contains(&b);
    for spot in part.spots(context) {
        let piece: Vec<Cell> = (spot.first..spot.first + usize::from(spot.span.cells)).map(|i| part.cell(i)).collect();
        let (from, to) = (spot.beat, spot.beat + usize::from(spot.span.beats));
        if to <= beat || from >= beat + beats {
            spans.push(spot.span);
            all.extend(piece);
            continue;
        }
        let whole = inside(from) && inside(to - 1);
        let pieces =
            if whole { vec![(from, to - from, piece)] } else { cut(from, spot.span, &piece, context.division) };
        for (at, length, piece) in pieces {
            if !inside(at) {
                spans.push(Span { beats: 1, cells: context.division });
                all.extend(piece);
                continue;
            }
            gathered.push((length, piece));
            if gathered.iter().map(|(n, _)| n).sum::<usize>() == beats {
                spans.push(Span { beats: beats as u16, cells: cells as u16 });
                all.extend(join(&gathered, cells));
            }
        }
    }
    Part::Barred { spans, cells: all }
}

fn cut(beat: usize, span: Span, cells: &[Cell], division: u16) -> Vec<(usize, usize, Vec<Cell>)> {
    let per = usize::from(division);
    let all = recut(cells, usize::from(span.beats) * per);
    all.chunks(per).enumerate().map(|(i, c)| (beat + i, 1, c.to_vec())).collect()
}

fn join(pieces: &[(usize, Vec<Cell>)], cells: usize) -> Vec<Cell> {
    // A common grid on which every piece is exact, then one recut.
    let fine = pieces.iter().map(|(n, c)| c.len() / num_integer::gcd(c.len(), *n)).fold(1, num_integer::lcm);
    let mut grid = Vec::new();
    for (n, c) in pieces {
        grid.extend(recut(c, n * fine));
    }
    recut(&grid, cells)
}

/// The part at another division: spans at the old division are cut anew, tuplets stay. A cycle is cut as a whole.
pub(super) fn set_division(part: &Part, old: u16, new: u16) -> Part {
    match part {
        Part::Cycled { cells, start } => {
            let scale = |n: usize| (n * usize::from(new)).div_ceil(usize::from(old)).max(1);
            let cells = recut(cells, scale(cells.len()));
            let start = (usize::from(*start) * usize::from(new) / usize::from(old) % cells.len()) as u16;
            Part::Cycled { cells, start }
        }
        Part::Barred { spans, cells } => {
            let (mut out, mut all, mut first) = (Vec::new(), Vec::new(), 0);
            for span in spans {
                let piece = &cells[first..first + usize::from(span.cells)];
                first += usize::from(span.cells);
                if span.beats == 1 && span.cells == old {
                    out.push(Span { beats: 1, cells: new });
                    all.extend(recut(piece, usize::from(new)));
                } else {
                    out.push(*span);
                    all.extend_from_slice(piece);
                }
            }
            Part::Barred { spans: out, cells: all }
        }
    }
}

/// The part in a section of another meter or length: beats in their order, cut off or filled up with rests at the end. A
/// tuplet that a new bar line would cross is cut into beats.
pub(super) fn refit(part: &Part, old: PartContext<'_>, new: PartContext<'_>) -> Part {
    let (spans, cells) = match part {
        Part::Cycled { cells, start } => {
            let room = (new.beats() * usize::from(new.division)).max(1);
            let cells: Vec<Cell> = cells.iter().copied().take(room).collect();
            let start = (usize::from(*start) % cells.len()) as u16;
            return Part::Cycled { cells, start };
        }
        Part::Barred { spans, cells } => (spans, cells),
    };
    debug_assert_eq!(old.division, new.division);
    let (per_bar, total) = (new.meter.beats(), new.beats());
    let (mut out, mut all, mut beat, mut first) = (Vec::new(), Vec::new(), 0, 0);
    for span in spans {
        let piece = &cells[first..first + usize::from(span.cells)];
        first += usize::from(span.cells);
        let beats = usize::from(span.beats);
        if beat + beats <= total && beats <= per_bar - beat % per_bar {
            out.push(*span);
            all.extend_from_slice(piece);
            beat += beats;
        } else {
            for (_, _, one) in cut(0, *span, piece, new.division).into_iter().take(total - beat) {
                out.push(Span { beats: 1, cells: new.division });
                all.extend(one);
                beat += 1;
            }
        }
        if beat == total {
            break;
        }
    }
    while beat < total {
        out.push(Span { beats: 1, cells: new.division });
        all.extend(std::iter::repeat_n(Cell::Rest, usize::from(new.division)));
        beat += 1;
    }
    Part::Barred { spans: out, cells: all }
}
