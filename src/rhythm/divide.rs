//! Re-dividing beats: tuplets, divisions, bars and cycles. An attack keeps its time where the new cells allow it, and otherwise moves
//! to the cell it falls in.

use super::cell::Cell;
use super::part::{Part, PartContext, Span};

/// A barred part under construction.
#[derive(Default)]
pub(super) struct BarredBuilder {
    spans: Vec<Span>,
    cells: Vec<Cell>,
    /// The beats of the spans.
    pub(super) beats: usize,
}

impl BarredBuilder {
    pub(super) fn push(&mut self, span: Span, cells: &[Cell]) {
        self.spans.push(span);
        self.cells.extend_from_slice(cells);
        self.beats += usize::from(span.beats);
    }

    pub(super) fn part(self) -> Part {
        Part::Barred { spans: self.spans, cells: self.cells }
    }
}

/// The spans with their cells.
pub(super) fn pieces<'a>(spans: &'a [Span], mut cells: &'a [Cell]) -> impl Iterator<Item = (Span, &'a [Cell])> {
    spans.iter().map(move |span| {
        let (piece, rest) = cells.split_at(usize::from(span.cells));
        cells = rest;
        (*span, piece)
    })
}

/// Redistributes `old` over `count` cells of the same total length.
///
/// An attack moves to the cell its time falls in, or to the next free one; if none is free it is lost. Holds keep covering the
/// time they covered.
pub(super) fn recut(old: &[Cell], count: usize) -> Vec<Cell> {
    let mut new = vec![Cell::Rest; count];
    if old.is_empty() || count == 0 {
        return new;
    }
    // Holds first: a new cell is a hold if the old cell at its start is a hold, or an attack that begins before it.
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
    // An attack without holds stays without holds where the cells get shorter.
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

/// Divides the beats `beat..beat + beats` into one span of `cells` cells. Spans that reach beyond these beats are first cut
/// into beats of the layer's division.
pub(super) fn set_span(part: &Part, context: PartContext<'_>, beat: usize, beats: usize, cells: usize) -> Part {
    let end = beat + beats;
    let mut new = BarredBuilder::default();
    let mut replaced: Vec<(usize, Vec<Cell>)> = Vec::new();
    for spot in part.spots(context) {
        let piece = part.span_cells(spot);
        let length = usize::from(spot.span.beats);
        if spot.beat + length <= beat || spot.beat >= end {
            new.push(spot.span, &piece);
            continue;
        }
        let pieces = if spot.beat >= beat && spot.beat + length <= end {
            vec![(length, piece)]
        } else {
            into_beats(spot.span, &piece, context.division).into_iter().map(|beat| (1, beat)).collect()
        };
        let mut at = spot.beat;
        for (length, piece) in pieces {
            if (beat..end).contains(&at) {
                replaced.push((length, piece));
                if at + length == end {
                    new.push(Span { beats: beats as u16, cells: cells as u16 }, &join(&replaced, cells));
                }
            } else {
                new.push(context.even_span(), &piece);
            }
            at += length;
        }
    }
    new.part()
}

/// A span's cells at `division` cells per beat, beat by beat.
fn into_beats(span: Span, cells: &[Cell], division: u16) -> Vec<Vec<Cell>> {
    let per_beat = usize::from(division);
    recut(cells, usize::from(span.beats) * per_beat).chunks(per_beat).map(<[Cell]>::to_vec).collect()
}

/// Joins pieces, each with its length in beats, into `cells` cells.
fn join(pieces: &[(usize, Vec<Cell>)], cells: usize) -> Vec<Cell> {
    // One recut from a grid on which every piece is exact.
    let fine = pieces.iter().map(|(n, c)| c.len() / num_integer::gcd(c.len(), *n)).fold(1, num_integer::lcm);
    let grid: Vec<Cell> = pieces.iter().flat_map(|(n, c)| recut(c, n * fine)).collect();
    recut(&grid, cells)
}

/// The part at another division. Tuplets stay; a cycle is re-divided as a whole.
pub(super) fn set_division(part: &Part, old: u16, new: u16) -> Part {
    match part {
        Part::Cycled { cells, start } => {
            let cells = recut(cells, (cells.len() * usize::from(new)).div_ceil(usize::from(old)).max(1));
            let start = (usize::from(*start) * usize::from(new) / usize::from(old) % cells.len()) as u16;
            Part::Cycled { cells, start }
        }
        Part::Barred { spans, cells } => {
            let mut out = BarredBuilder::default();
            for (span, piece) in pieces(spans, cells) {
                if span == (Span { beats: 1, cells: old }) {
                    out.push(Span { beats: 1, cells: new }, &recut(piece, usize::from(new)));
                } else {
                    out.push(span, piece);
                }
            }
            out.part()
        }
    }
}

/// The part in a section of another meter or length at the same division. Beats keep their order; missing ones are filled
/// with rests. A tuplet that would cross a new bar line is cut into beats.
pub(super) fn refit(part: &Part, new: PartContext<'_>) -> Part {
    let (spans, cells) = match part {
        Part::Cycled { cells, start } => {
            let cells: Vec<Cell> = cells.iter().copied().take(new.even_cells().max(1)).collect();
            let start = (usize::from(*start) % cells.len()) as u16;
            return Part::Cycled { cells, start };
        }
        Part::Barred { spans, cells } => (spans, cells),
    };
    let (per_bar, total) = (new.meter.beats(), new.beats());
    let mut out = BarredBuilder::default();
    for (span, piece) in pieces(spans, cells) {
        let beats = usize::from(span.beats);
        if out.beats + beats <= total && beats <= per_bar - out.beats % per_bar {
            out.push(span, piece);
        } else {
            for piece in into_beats(span, piece, new.division).into_iter().take(total - out.beats) {
                out.push(new.even_span(), &piece);
            }
        }
    }
    let rests = vec![Cell::Rest; usize::from(new.division)];
    (out.beats..total).for_each(|_| out.push(new.even_span(), &rests));
    out.part()
}
