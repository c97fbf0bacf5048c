//! Finds the smallest exact grid of a layer: its division, and tuplets where needed.

use crate::rhythm::bounds::{CELLS_OF_LAYER, DIVISION, TUPLET_BEATS, TUPLET_CELLS};
use crate::rhythm::{Fraction, Span, Swing};
use num_integer::lcm;
use std::collections::{BTreeMap, HashMap};
use std::ops::Range;
use std::slice;

pub(super) const MAX_SPAN_CELLS: u16 = TUPLET_CELLS.greatest as u16;

/// Onsets and ends within one beat, in beats from its start, in order. One on the beat is zero, because a span over several beats
/// has to reach it too.
pub(super) type Points = Vec<Fraction>;

/// How near to a cell a point has to be, and the grids that are considered.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tolerance {
    /// Greatest distance of a point from a cell, in beats.
    pub(super) distance: Fraction,
    pub(super) max_cells_per_beat: u16,
    pub(super) max_span_beats: u16,
}

impl Tolerance {
    /// Exact points, and every grid that a groove can hold.
    pub(super) const NONE: Tolerance = Tolerance {
        distance: Fraction::ZERO,
        max_cells_per_beat: MAX_SPAN_CELLS,
        max_span_beats: TUPLET_BEATS.greatest as u16,
    };
}

/// Whether a point may move to the end of a span.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SpanEnd {
    Open,
    Closed,
}

/// Splits a place in beats into the beat and the place within it.
pub(super) fn split_beats(beats: Fraction) -> Option<(usize, Fraction)> {
    Some((usize::try_from(beats.floor()).ok()?, beats.minus(Fraction::new(beats.floor(), 1)?)?))
}

/// Whether swing moves cells of a span: the second of each pair of an even number of cells, as in [`crate::rhythm::Part`].
fn swing_of_span(span: Span, swing: Option<Swing>) -> Option<Swing> {
    swing.filter(|_| span.cells.is_multiple_of(2))
}

/// Whether a point, in beats from the start of a span, is exactly at one of its cells.
fn is_at_cell(at: Fraction, span: Span, swing: Option<Swing>) -> bool {
    let cells = Fraction::new(i64::from(span.cells), i64::from(span.beats));
    let Some(x) = cells.and_then(|c| at.times(c)) else { return false };
    let Some(swing) = swing_of_span(span, swing) else { return x.denom() == 1 };
    let pair = Fraction::new(x.floor().div_euclid(2) * 2, 1);
    let within = pair.and_then(|p| x.minus(p));
    within.is_some_and(|w| w == Fraction::ZERO || Some(w) == Fraction::whole(2).times(swing.share()))
}

/// The place of a cell of a span, in beats from its start.
pub(super) fn place(cell: u16, span: Span, swing: Option<Swing>) -> Option<Fraction> {
    let per_cell = Fraction::new(i64::from(span.beats), i64::from(span.cells))?;
    let cell = i32::from(cell);
    match swing_of_span(span, swing).filter(|_| cell % 2 == 1) {
        Some(swing) => Fraction::whole(cell - 1).plus(swing.share().times(Fraction::whole(2))?)?.times(per_cell),
        None => Fraction::whole(cell).times(per_cell),
    }
}

/// The end of the cell at a place within a span, in beats from the span's start.
pub(super) fn cell_end(within: Fraction, span: Span, swing: Option<Swing>) -> Fraction {
    let next = (0..span.cells).filter_map(|c| place(c, span, swing)).filter(|p| *p > within).min();
    next.unwrap_or(Fraction::whole(i32::from(span.beats)))
}

/// Whether a span reaches all points of its beats.
pub(super) fn reaches(beats: &[Points], span: Span, swing: Option<Swing>, tolerance: Tolerance) -> bool {
    let by = tolerance.distance;
    points(beats).all(|p| {
        let Some(p) = p else { return false };
        if by == Fraction::ZERO {
            return is_at_cell(p, span, swing);
        }
        let near = if swing_of_span(span, swing).is_none() { is_near_even(p, span, by) } else { None };
        near.unwrap_or_else(|| {
            snap(p, span, swing, SpanEnd::Open).and_then(|s| s.minus(p)).is_some_and(|off| magnitude(off) <= by)
        })
    })
}

/// Whether a point is within a distance of one of a span's even cells or its end, in integer arithmetic, because this is asked of
/// every point for every number of cells; `None` on overflow of 128 bits.
fn is_near_even(at: Fraction, span: Span, by: Fraction) -> Option<bool> {
    let (cells, beats) = (i128::from(span.cells), i128::from(span.beats));
    // The point in cells is `parts / whole`; its distance from the nearest cell, in beats, is `off / whole * beats / cells`.
    let (parts, whole) = (i128::from(at.numer()).checked_mul(cells)?, i128::from(at.denom()).checked_mul(beats)?);
    if !(0..=whole * cells).contains(&parts) {
        return None;
    }
    let over = parts.rem_euclid(whole);
    let off = over.min(whole - over).checked_mul(beats)?.checked_mul(i128::from(by.denom()))?;
    Some(off <= i128::from(by.numer()).checked_mul(whole)?.checked_mul(cells)?)
}

/// All points of some beats, in beats from the start of the first; `None` for one that overflows.
pub(super) fn points(beats: &[Points]) -> impl Iterator<Item = Option<Fraction>> + '_ {
    beats.iter().enumerate().flat_map(|(b, points)| points.iter().map(move |p| p.plus(Fraction::whole(b as i32))))
}

/// The fewest cells that reach all points of these beats, if a span may have so many.
pub(super) fn fewest_cells(beats: &[Points], swing: Option<Swing>, tolerance: Tolerance) -> Option<u16> {
    let count = beats.len() as u16;
    let most = tolerance.max_cells_per_beat.saturating_mul(count).min(MAX_SPAN_CELLS);
    if swing.is_some() || tolerance.distance != Fraction::ZERO {
        return (1..=most).find(|cells| reaches(beats, Span { beats: count, cells: *cells }, swing, tolerance));
    }
    let mut cells = 1_i64;
    for p in points(beats) {
        let denom = p?.over(Fraction::whole(i32::from(count)))?.denom();
        // Checked first, so that the multiple cannot overflow.
        if denom > i64::from(most) {
            return None;
        }
        cells = lcm(cells, denom);
        if cells > i64::from(most) {
            return None;
        }
    }
    Some(cells as u16)
}

/// Beats of a layer with the same points and swing.
struct BeatKind<'a> {
    points: &'a Points,
    swing: Option<Swing>,
    count: usize,
    min_cells: Option<u16>,
}

/// The division that writes a layer of `count` beats with the fewest cells, tuplets counted; `silent` for a layer without points.
///
/// A beat that the division reaches costs its cells. A tuplet costs its own and two more; a beat of the same kind as the
/// division that is only finer (eighths under sixteenths) costs eight times its cells, so that only rare ones become spans.
pub(super) fn division<'a>(beats: impl Iterator<Item = (&'a Points, Option<Swing>)>, count: usize, silent: u16) -> u16 {
    let mut counts: HashMap<(&Points, Option<Swing>), usize> = HashMap::new();
    for beat in beats.filter(|b| !b.0.is_empty()) {
        *counts.entry(beat).or_default() += 1;
    }
    if counts.is_empty() {
        return silent;
    }
    let kinds: Vec<BeatKind> = counts
        .into_iter()
        .map(|((points, swing), count)| {
            let min_cells = fewest_cells(slice::from_ref(points), swing, Tolerance::NONE);
            BeatKind { points, swing, count, min_cells }
        })
        .collect();
    // The needs by their odd part, with the greatest power of two of each: 3, 6 and 12 are of one kind.
    let mut odd_parts: BTreeMap<u16, u32> = BTreeMap::new();
    for min_cells in kinds.iter().filter_map(|k| k.min_cells) {
        let power = min_cells.trailing_zeros();
        let greatest = odd_parts.entry(min_cells >> power).or_insert(power);
        *greatest = power.max(*greatest);
    }
    let candidates = odd_parts.iter().flat_map(|(odd, power)| (*power.min(&2)..=*power).map(move |k| (*odd, odd << k)));
    let cost = |&(odd, division): &(u16, u16)| -> usize {
        let of_kind = |kind: &BeatKind| {
            let even = Span { beats: 1, cells: division };
            let cells = match kind.min_cells {
                _ if reaches(slice::from_ref(kind.points), even, kind.swing, Tolerance::NONE) => division,
                None => MAX_SPAN_CELLS,
                Some(n) if n >> n.trailing_zeros() == odd => 8 * n,
                Some(n) => n + 2,
            };
            kind.count * usize::from(cells)
        };
        kinds.iter().map(of_kind).sum()
    };
    let max_division = (CELLS_OF_LAYER.greatest / count.max(1) as i64).min(DIVISION.greatest);
    candidates.filter(|c| i64::from(c.1) <= max_division).min_by_key(cost).map_or(1, |c| c.1)
}

/// How the beats of a bar are divided: at the division where that reaches them, by tuplets with the fewest cells elsewhere, the
/// shorter of equally good ones. `None` if no spans reach all points.
pub(super) fn spans(beats: &[Points], division: u16, swing: Option<Swing>, tolerance: Tolerance) -> Option<Vec<Span>> {
    let even = Span { beats: 1, cells: division };
    let plain: Vec<bool> = beats.iter().map(|b| reaches(slice::from_ref(b), even, swing, tolerance)).collect();
    if plain.iter().all(|p| *p) {
        return Some(vec![even; beats.len()]);
    }
    let cost = |range: Range<usize>| {
        let all_plain = plain[range.clone()].iter().all(|p| *p);
        if all_plain {
            return (range.len() == 1).then_some((0, even));
        }
        let cells = fewest_cells(&beats[range.clone()], swing, tolerance)?;
        Some((u32::from(cells), Span { beats: range.len() as u16, cells }))
    };
    cheapest_spans(beats.len(), usize::from(tolerance.max_span_beats), cost)
}

/// The spans of the least total cost that divide some beats, the shorter of equally good ones. `cost` gives the cost of a span over a
/// range of beats, and the span, if there is one. `None` if no spans divide the beats.
pub(super) fn cheapest_spans(
    beats: usize,
    max_span_beats: usize,
    cost: impl Fn(Range<usize>) -> Option<(u32, Span)>,
) -> Option<Vec<Span>> {
    // For the beats up to each end, the least cost and the last span.
    let mut best: Vec<Option<(u32, Span)>> = vec![Some((0, Span { beats: 1, cells: 1 }))];
    for end in 1..=beats {
        let choices = (1..=max_span_beats.min(end)).filter_map(|length| {
            let (before, _) = best[end - length]?;
            let (cost, span) = cost(end - length..end)?;
            Some((before + cost, span))
        });
        let cheapest = choices.min_by_key(|c| c.0);
        best.push(cheapest);
    }
    let (mut spans, mut end) = (Vec::new(), beats);
    while end > 0 {
        let (_, span) = best[end]?;
        spans.push(span);
        end = end.checked_sub(usize::from(span.beats))?;
    }
    spans.reverse();
    Some(spans)
}

/// The nearest grid of a beat with points that no grid reaches: the one with the smallest greatest move.
pub(super) fn nearest_span(points: &Points, swing: Option<Swing>, end: SpanEnd, most: u16) -> Span {
    let greatest_move = |cells: u16| {
        let span = Span { beats: 1, cells };
        points.iter().filter_map(|p| snap(*p, span, swing, end)?.minus(*p)).map(magnitude).max()
    };
    let all = 1..=most.clamp(1, MAX_SPAN_CELLS);
    let cells = all.min_by_key(|cells| greatest_move(*cells).unwrap_or(Fraction::ZERO)).unwrap_or(1);
    Span { beats: 1, cells }
}

/// The place of a span's cells that is nearest to a point, or its end if that is open.
pub(super) fn snap(at: Fraction, span: Span, swing: Option<Swing>, end: SpanEnd) -> Option<Fraction> {
    let end = (end == SpanEnd::Open).then_some(Fraction::whole(i32::from(span.beats)));
    let about = at.times(Fraction::new(i64::from(span.cells), i64::from(span.beats))?)?.floor();
    let cells = (about - 2..=about + 2).filter(|c| (0..i64::from(span.cells)).contains(c));
    let places = cells.filter_map(|c| place(c as u16, span, swing)).chain(end);
    places.min_by_key(|p| p.minus(at).map_or(Fraction::whole(i32::MAX), magnitude))
}

pub(crate) fn magnitude(x: Fraction) -> Fraction {
    x.max(Fraction::ZERO.minus(x).unwrap_or(x))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn a_place_is_near_a_cell_where_the_nearest_cell_is_near(
            cells in 1_u16..=64, beats in 1_u16..=4, numer in 0_i64..100_000, denom in 1_i64..60_000, by in 0_i64..200,
        ) {
            let (span, by) = (Span { beats, cells }, Fraction::new(by, 4_800).expect("a fraction"));
            let at = Fraction::new(numer % (denom * i64::from(beats)), denom).expect("a fraction");
            let off = snap(at, span, None, SpanEnd::Open).and_then(|s| s.minus(at)).map(magnitude).expect("a place");
            prop_assert_eq!(is_near_even(at, span, by), Some(off <= by));
        }
    }
}
