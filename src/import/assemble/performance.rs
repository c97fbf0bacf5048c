//! Finds the grids of played onsets, none of which is exact.

use super::grid::{self, MAX_CELLS, Points, Tolerance, magnitude};
use crate::rhythm::{Fraction, Span, Swing};
use std::slice;

/// Most cells per beat of the grids that are tried first.
const MAX_SIMPLE: u16 = 4;
/// Cells per beat of the grids for onsets that no grid reaches.
const PLAIN: [u16; 8] = [1, 2, 3, 4, 6, 8, 12, 16];
/// Most beats of a span.
const MAX_BEATS: usize = 4;
/// Most cells per beat.
const MAX_CELLS_PER_BEAT: u16 = 16;
/// A grid other than the simple ones is accepted if random onsets would all be near some grid with so few cells in less than this
/// share of all cases (ours, no source).
const MAX_CHANCE: f64 = 0.05;
/// Cost of a beat that no grid reaches.
const UNREACHED: u32 = 128;

/// A division of a beat, and its cost.
#[derive(Clone, Copy)]
struct Choice {
    cost: u32,
    span: Span,
}

impl Choice {
    fn new(cost: u32, beats: u16, cells: u16) -> Self {
        Self { cost, span: Span { beats, cells } }
    }
}

/// How the beats of a bar are divided, given its onsets without those of the same moment as one before, and how far, in beats, they
/// may be moved. A beat gets 1 to 4 cells where these reach, whichever is nearest measured in its own cells; else the smallest grid
/// of at most 16 cells per beat that reaches and is unlikely to fit by chance; else the nearest plain one, measured in the same way.
pub(super) fn spans(beats: &[Points], swing: Option<Swing>, by: Fraction) -> Vec<Span> {
    let usual = best_plain(beats, swing).map_or(MAX_CELLS_PER_BEAT, |b| b.1);
    let single: Vec<Choice> = beats.iter().map(|b| single_beat(b, swing, by, usual)).collect();
    // The least cost of the first j beats, and the span that ends there.
    let mut best: Vec<Choice> = vec![Choice::new(0, 1, 1)];
    for j in 1..=beats.len() {
        let Choice { cost, span } = single[j - 1];
        let mut found = Choice { cost: best[j - 1].cost + cost, span };
        for i in (j.saturating_sub(MAX_BEATS)..j - 1).rev() {
            if single[i..j].iter().all(|o| o.span.cells <= MAX_SIMPLE && o.cost < UNREACHED) {
                continue;
            }
            let Some(span) = unlikely(&beats[i..j], swing, by) else { continue };
            let cost = best[i].cost + u32::from(span.cells);
            if cost < found.cost {
                found = Choice { cost, span };
            }
        }
        best.push(found);
    }
    grid::chain(beats.len(), |j| best[j].span)
}

fn single_beat(points: &Points, swing: Option<Swing>, by: Fraction, usual: u16) -> Choice {
    if points.is_empty() {
        return Choice::new(0, 1, 1);
    }
    let beat = slice::from_ref(points);
    let reaching = (1..=MAX_SIMPLE).filter_map(|cells| {
        let distances = distances_within(beat, Span { beats: 1, cells }, swing, by)?;
        Some((distances.into_iter().max()?.times(Fraction::whole(i32::from(cells)))?, cells))
    });
    if let Some((_, cells)) = reaching.min() {
        return Choice::new(u32::from(cells), 1, cells);
    }
    if let Some(span) = unlikely(beat, swing, by) {
        return Choice { cost: u32::from(span.cells), span };
    }
    let cells = plain(beat, swing, usual);
    Choice::new(UNREACHED + u32::from(cells), 1, cells)
}

/// The smallest grid over some beats that reaches all onsets, is unlikely to do so by chance, and is at least twice as near, measured
/// in its own cells, as any plain one.
fn unlikely(beats: &[Points], swing: Option<Swing>, by: Fraction) -> Option<Span> {
    let length = beats.len() as u16;
    let near = by.numer() as f64 / by.denom() as f64;
    // A point near the first cell or the end is near in every grid.
    let end = Fraction::whole(i32::from(length)).minus(by);
    let inner = grid::points(beats).flatten().filter(|p| *p > by && end.is_some_and(|e| *p < e)).count();
    let mut best = None;
    (1..=(MAX_CELLS_PER_BEAT * length).min(MAX_CELLS)).map(|cells| Span { beats: length, cells }).find(|span| {
        let per_beat = f64::from(span.cells) / f64::from(length);
        let chance = f64::from(span.cells) * (2.0 * near * per_beat).powi(inner.min(64) as i32);
        let distances = if chance <= MAX_CHANCE { distances_within(beats, *span, swing, by) } else { None };
        distances.is_some_and(|distances| {
            let plain = *best.get_or_insert_with(|| best_plain(beats, swing));
            plain.is_none_or(|(plain, _)| 4.0 * mean_square(&distances, per_beat) <= plain)
        })
    })
}

/// The plain grid of a beat: the usual one unless another is twice as near.
fn plain(beat: &[Points], swing: Option<Swing>, usual: u16) -> u16 {
    let Some((least, cells)) = best_plain(beat, swing) else { return MAX_CELLS_PER_BEAT };
    if score(beat, usual, swing).is_some_and(|s| s <= 4.0 * least) { usual } else { cells }
}

/// The plain grid that is nearest to all onsets of some beats, and its score.
fn best_plain(beats: &[Points], swing: Option<Swing>) -> Option<(f64, u16)> {
    let scored = PLAIN.iter().filter_map(|cells| Some((score(beats, *cells, swing)?, *cells)));
    scored.min_by(|a, b| a.0.total_cmp(&b.0))
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
    let tolerance = Tolerance { by, ..Tolerance::NONE };
    if grid::reaches(beats, span, swing, tolerance) { distances(beats, span, swing) } else { None }
}

/// The distance of every onset from its place, in beats; `None` if two would have one place.
fn distances(beats: &[Points], span: Span, swing: Option<Swing>) -> Option<Vec<Fraction>> {
    let mut last = None;
    let distance = |p: Option<Fraction>| {
        let p = p?;
        let place = grid::snapped(p, span, swing, false)?;
        if last.replace(place) >= Some(place) { None } else { Some(magnitude(place.minus(p)?)) }
    };
    grid::points(beats).map(distance).collect()
}
