//! Finds the grids of played onsets, none of which is exact.

use super::grid::{self, MAX_SPAN_CELLS, Points, SpanEnd, Tolerance, magnitude};
use super::quantize::cells_per_beat;
use crate::rhythm::{Fraction, Span, Swing, Time};
use std::collections::BTreeSet;
use std::ops::Range;
use std::slice;

/// Most cells of the simple grids, per quarter; every beat may have so many.
const MAX_SIMPLE_CELLS: u16 = 4;
/// Most cells of the plain grids of twos and of threes, per quarter.
const MAX_PLAIN_CELLS: [i32; 2] = [16, 12];
const MAX_SPAN_BEATS: usize = 4;
/// A grid other than the simple ones is accepted if random onsets would all be near some grid with so few cells in less than this
/// share of all cases (ours, no source).
const MAX_CHANCE: f64 = 0.05;
const UNREACHED_COST: u32 = 128;

/// The grids for played beats of one length.
pub(super) struct PlayedGrids {
    /// Cells per beat of the grids that are tried first.
    simple_cells: Vec<u16>,
    /// Cells per beat of the grids for onsets that no grid reaches.
    plain_cells: Vec<u16>,
    max_cells_per_beat: u16,
}

impl PlayedGrids {
    /// A quarter has 1 to 4 cells in the simple grids; 1, 2, 3, 4, 6, 8, 12 or 16 in the plain ones. Longer and shorter beats have the
    /// same cells: a dotted quarter also 6, or 9, 18, 12 and 24.
    pub(super) fn new(beat: Time) -> Self {
        let few = 1..=MAX_SIMPLE_CELLS;
        let halved = |per_quarter: i32| {
            let finest = beat.scaled(Fraction::whole(4 * per_quarter)).map_or(Fraction::ONE, Time::wholes);
            let cells = (0..16).filter_map(move |k| finest.over(Fraction::whole(1 << k)));
            cells.filter(|c| c.denom() == 1 && c.numer() <= i64::from(MAX_SPAN_CELLS)).map(|c| c.numer() as u16)
        };
        let sorted = |cells: &mut dyn Iterator<Item = u16>| cells.collect::<BTreeSet<_>>().into_iter().collect();
        let most = MAX_PLAIN_CELLS.map(|per_quarter| cells_per_beat(beat, per_quarter));
        Self {
            simple_cells: sorted(&mut few.clone().chain(halved(i32::from(MAX_SIMPLE_CELLS)))),
            plain_cells: sorted(&mut few.chain(MAX_PLAIN_CELLS.into_iter().flat_map(halved))),
            max_cells_per_beat: most.into_iter().fold(MAX_SIMPLE_CELLS, u16::max),
        }
    }

    /// How the beats of a bar are divided, given its onsets without those of the same moment as one before, and how far, in beats,
    /// they may be moved. A beat gets a simple grid where one reaches, whichever is nearest measured in its own cells; else the
    /// smallest grid of at most 16 cells per quarter that reaches and is unlikely to fit by chance; else the nearest plain one,
    /// measured in the same way.
    pub(super) fn spans(&self, beats: &[Points], swing: Option<Swing>, by: Fraction) -> Vec<Span> {
        let usual = self.nearest_plain(beats, swing).map_or(self.max_cells_per_beat, |b| b.1);
        let single: Vec<(u32, u16)> = beats.iter().map(|b| self.single_beat(b, swing, by, usual)).collect();
        let cost = |range: Range<usize>| {
            if let [(cost, cells)] = single[range.clone()] {
                return Some((cost, Span { beats: 1, cells }));
            }
            let is_simple = |(cost, cells): &(u32, u16)| *cost < UNREACHED_COST && self.simple_cells.contains(cells);
            if single[range.clone()].iter().all(is_simple) {
                return None;
            }
            let span = self.unlikely_span(&beats[range], swing, by)?;
            Some((u32::from(span.cells), span))
        };
        grid::cheapest_spans(beats.len(), MAX_SPAN_BEATS, cost).expect("every beat has a grid")
    }

    /// Whether the exact grids of a bar of a played track are meant: they are plain, or random onsets would all be exact on them in less
    /// than [`MAX_CHANCE`] of all cases. An onset is exact within `by` beats.
    pub(super) fn are_meant(&self, beats: &[Points], spans: &[Span], by: Fraction) -> bool {
        let mut first = 0;
        let mut chance = 1.0;
        for span in spans {
            let end = (first + usize::from(span.beats)).min(beats.len());
            chance *= chance_of(&beats[first..end], *span, by).min(1.0);
            first = end;
        }
        chance <= MAX_CHANCE || spans.iter().all(|s| s.beats == 1 && self.plain_cells.contains(&s.cells))
    }

    /// The cost of a beat on its own, and its number of cells.
    fn single_beat(&self, points: &Points, swing: Option<Swing>, by: Fraction, usual: u16) -> (u32, u16) {
        if points.is_empty() {
            return (0, 1);
        }
        let beat = slice::from_ref(points);
        let reaching = self.simple_cells.iter().filter_map(|&cells| {
            let distances = distances_within(beat, Span { beats: 1, cells }, swing, by)?;
            Some((distances.into_iter().max()?.times(Fraction::whole(i32::from(cells)))?, cells))
        });
        let simple = reaching.min().map(|r| r.1);
        if let Some(cells) = simple.or_else(|| Some(self.unlikely_span(beat, swing, by)?.cells)) {
            return (u32::from(cells), cells);
        }
        let cells = self.usual_or_nearest_plain(beat, swing, usual);
        (UNREACHED_COST + u32::from(cells), cells)
    }

    /// The smallest grid over some beats that reaches all onsets, is unlikely to do so by chance, and is at least twice as near,
    /// measured in its own cells, as any plain one.
    fn unlikely_span(&self, beats: &[Points], swing: Option<Swing>, by: Fraction) -> Option<Span> {
        let length = beats.len() as u16;
        let mut best = None;
        let max_cells = (self.max_cells_per_beat * length).min(MAX_SPAN_CELLS);
        (1..=max_cells).map(|cells| Span { beats: length, cells }).find(|span| {
            let is_unlikely = chance_of(beats, *span, by) <= MAX_CHANCE;
            let distances = if is_unlikely { distances_within(beats, *span, swing, by) } else { None };
            distances.is_some_and(|distances| {
                let plain = *best.get_or_insert_with(|| self.nearest_plain(beats, swing));
                let per_beat = f64::from(span.cells) / f64::from(length);
                plain.is_none_or(|(plain, _)| 4.0 * mean_square(&distances, per_beat) <= plain)
            })
        })
    }

    /// The plain grid of a beat: the usual one unless another is twice as near.
    fn usual_or_nearest_plain(&self, beat: &[Points], swing: Option<Swing>, usual: u16) -> u16 {
        let Some((least, cells)) = self.nearest_plain(beat, swing) else { return self.max_cells_per_beat };
        if score(beat, usual, swing).is_some_and(|s| s <= 4.0 * least) { usual } else { cells }
    }

    /// The plain grid that is nearest to all onsets of some beats, and its score.
    fn nearest_plain(&self, beats: &[Points], swing: Option<Swing>) -> Option<(f64, u16)> {
        let scored = self.plain_cells.iter().filter_map(|cells| Some((score(beats, *cells, swing)?, *cells)));
        scored.min_by(|a, b| a.0.total_cmp(&b.0))
    }
}

/// The share of random onsets in some beats that would all be near some grid with as many cells as a span. More than 1 is possible,
/// because every such grid is counted.
fn chance_of(beats: &[Points], span: Span, by: Fraction) -> f64 {
    let near = by.numer() as f64 / by.denom() as f64;
    // A point near the first cell or the end is near in every grid.
    let end = Fraction::whole(beats.len() as i32).minus(by);
    let inner = grid::points(beats).flatten().filter(|p| *p > by && end.is_some_and(|e| *p < e)).count();
    let per_beat = f64::from(span.cells) / f64::from(span.beats);
    f64::from(span.cells) * (2.0 * near * per_beat).powi(inner.min(64) as i32)
}

/// The mean square of the distances, in cells, from a grid with a number of cells in each beat.
fn score(beats: &[Points], cells: u16, swing: Option<Swing>) -> Option<f64> {
    let mut all = Vec::new();
    for beat in beats {
        all.extend(distances(slice::from_ref(beat), Span { beats: 1, cells }, swing)?);
    }
    Some(mean_square(&all, f64::from(cells)))
}

fn mean_square(distances: &[Fraction], cells_per_beat: f64) -> f64 {
    let square = |o: &Fraction| (o.numer() as f64 / o.denom() as f64 * cells_per_beat).powi(2);
    distances.iter().map(square).sum::<f64>() / distances.len().max(1) as f64
}

/// [`distances`] if none is greater than `by`.
fn distances_within(beats: &[Points], span: Span, swing: Option<Swing>, by: Fraction) -> Option<Vec<Fraction>> {
    // Most grids do not reach, which `reaches` finds in integer arithmetic.
    let tolerance = Tolerance { distance: by, ..Tolerance::NONE };
    if grid::reaches(beats, span, swing, tolerance) { distances(beats, span, swing) } else { None }
}

/// The distance of every onset from its place, in beats; `None` if two would have one place.
fn distances(beats: &[Points], span: Span, swing: Option<Swing>) -> Option<Vec<Fraction>> {
    let mut last = None;
    let distance = |p: Option<Fraction>| {
        let p = p?;
        let place = grid::snap(p, span, swing, SpanEnd::Open)?;
        if last.replace(place) >= Some(place) { None } else { Some(magnitude(place.minus(p)?)) }
    };
    grid::points(beats).map(distance).collect()
}
