//! Finds the grids of played onsets, none of which is exact.

use super::grid::{self, MOST, Points, Tolerance, magnitude};
use crate::rhythm::{Fraction, Span, Swing};

/// Cells per beat of the grids that are thought of first.
const FIRST: u16 = 4;
/// Cells per beat of the grids that onsets which none reaches are put on.
const PLAIN: [u16; 8] = [1, 2, 3, 4, 6, 8, 12, 16];
/// Longest span in beats.
const LONGEST: usize = 4;
/// Most cells per beat.
const CELLS: usize = 16;
/// A grid other than the first ones is believed if onsets at random would all be near one with so few cells in fewer than so many of
/// all cases (ours, no source).
const CHANCE: f64 = 0.05;
/// What a beat costs that no grid reaches.
const MISSED: u32 = 128;

/// How the beats of a bar are divided, given its onsets without those that sound together with one before, and how far, in beats, they
/// may be moved: by 1 to 4 cells where these reach, whichever comes nearest counted in its own cells; else by the smallest grid of at most 16
/// cells per beat that reaches and is no chance; else by the plain one that comes nearest, counted in the same way.
pub(super) fn spans(beats: &[Points], swing: Option<Swing>, by: Fraction) -> Vec<Span> {
    let usual = best_plain(beats, swing).map_or(CELLS as u16, |b| b.1);
    let ones: Vec<(u32, Span)> = beats.iter().map(|b| one(b, swing, by, usual)).collect();
    // best[j]: the least cost of the first j beats, and the span that ends there.
    let mut best: Vec<(u32, Span)> = vec![(0, Span { beats: 1, cells: 1 })];
    for j in 1..=beats.len() {
        let (cost, span) = ones[j - 1];
        let mut found = (best[j - 1].0 + cost, span);
        for length in 2..=j.min(LONGEST) {
            let i = j - length;
            if ones[i..j].iter().all(|o| o.1.cells <= FIRST && o.0 < MISSED) {
                continue;
            }
            let Some(span) = odd(&beats[i..j], swing, by) else { continue };
            let cost = best[i].0 + u32::from(span.cells);
            if cost < found.0 {
                found = (cost, span);
            }
        }
        best.push(found);
    }
    let (mut spans, mut j) = (Vec::new(), beats.len());
    while j > 0 {
        let span = best[j].1;
        spans.push(span);
        j -= usize::from(span.beats);
    }
    spans.reverse();
    spans
}

/// The grid of one beat, and what it costs.
fn one(points: &Points, swing: Option<Swing>, by: Fraction, usual: u16) -> (u32, Span) {
    if points.is_empty() {
        return (0, Span { beats: 1, cells: 1 });
    }
    let beat = std::slice::from_ref(points);
    let reaching = (1..=FIRST).filter_map(|cells| {
        let off = within(beat, Span { beats: 1, cells }, swing, by)?;
        Some((off.into_iter().max()?.times(Fraction::whole(i32::from(cells)))?, cells))
    });
    if let Some((_, cells)) = reaching.min() {
        return (u32::from(cells), Span { beats: 1, cells });
    }
    if let Some(span) = odd(beat, swing, by) {
        return (u32::from(span.cells), span);
    }
    let cells = plain(points, swing, usual);
    (MISSED + u32::from(cells), Span { beats: 1, cells })
}

/// The smallest grid over some beats that reaches all onsets, if it is no chance, and comes twice as near, counted in its own cells, as
/// any plain one.
fn odd(beats: &[Points], swing: Option<Swing>, by: Fraction) -> Option<Span> {
    let length = beats.len() as u16;
    let near = by.numer() as f64 / by.denom() as f64;
    let most = (CELLS * beats.len()).min(usize::from(MOST)) as u16;
    // What is near the first cell, or the end, is so for every grid.
    let end = Fraction::whole(i32::from(length)).minus(by);
    let inner = grid::points(beats).flatten().filter(|p| *p > by && end.is_some_and(|e| *p < e)).count();
    let mut best = None;
    (1..=most).map(|cells| Span { beats: length, cells }).find(|span| {
        let per_beat = f64::from(span.cells) / f64::from(length);
        let chance = f64::from(span.cells) * (2.0 * near * per_beat).powi(inner.min(64) as i32);
        let off = if chance <= CHANCE { within(beats, *span, swing, by) } else { None };
        off.is_some_and(|off| {
            let plain = *best.get_or_insert_with(|| best_plain(beats, swing));
            plain.is_none_or(|(plain, _)| 4.0 * mean_square(&off, per_beat) <= plain)
        })
    })
}

/// The plain grid that comes nearest, counted in its own cells; the usual one unless another comes twice as near.
fn plain(points: &Points, swing: Option<Swing>, usual: u16) -> u16 {
    let beat = std::slice::from_ref(points);
    let Some((least, cells)) = best_plain(beat, swing) else { return CELLS as u16 };
    if score(beat, usual, swing).is_some_and(|s| s <= 4.0 * least) { usual } else { cells }
}

/// The plain grid that comes nearest to all onsets of some beats, and its score.
fn best_plain(beats: &[Points], swing: Option<Swing>) -> Option<(f64, u16)> {
    let scored = PLAIN.iter().filter_map(|cells| Some((score(beats, *cells, swing)?, *cells)));
    scored.min_by(|a, b| a.0.total_cmp(&b.0))
}

/// The mean square of the distances, in cells, from a grid of so many cells in each beat.
fn score(beats: &[Points], cells: u16, swing: Option<Swing>) -> Option<f64> {
    let mut off = Vec::new();
    for beat in beats {
        off.extend(misses(std::slice::from_ref(beat), Span { beats: 1, cells }, swing)?);
    }
    Some(mean_square(&off, f64::from(cells)))
}

fn mean_square(off: &[Fraction], cells_per_beat: f64) -> f64 {
    let square = |o: &Fraction| (o.numer() as f64 / o.denom() as f64 * cells_per_beat).powi(2);
    off.iter().map(square).sum::<f64>() / off.len().max(1) as f64
}

/// How far every onset is from its place, as [`misses`] tells it, where none is further than `by`.
fn within(beats: &[Points], span: Span, swing: Option<Swing>, by: Fraction) -> Option<Vec<Fraction>> {
    // Most grids do not reach, which is told in whole numbers.
    let slack = Tolerance { by, ..Tolerance::NONE };
    if grid::reaches(beats, span, swing, slack) { misses(beats, span, swing) } else { None }
}

/// How far, in beats, every onset is from its place; `None` where two would have one place.
fn misses(beats: &[Points], span: Span, swing: Option<Swing>) -> Option<Vec<Fraction>> {
    let mut last = None;
    let mut all = Vec::new();
    for p in grid::points(beats) {
        let p = p?;
        let place = grid::snapped(p, span, swing, false)?;
        if last >= Some(place) {
            return None;
        }
        last = Some(place);
        all.push(magnitude(place.minus(p)?));
    }
    Some(all)
}
