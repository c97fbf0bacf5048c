//! Finds the smallest exact grid of a layer: its division, and tuplets where needed.

use crate::rhythm::bounds::{CELLS_OF_LAYER, DIVISION, TUPLET_BEATS, TUPLET_CELLS};
use crate::rhythm::{Fraction, Span, Swing};
use num_integer::lcm;
use std::collections::BTreeMap;

/// Most cells of one span.
pub(super) const MOST: u16 = TUPLET_CELLS.greatest as u16;

/// Where something begins or ends within one beat, in beats from its start, in order; what stands on the beat is listed as zero,
/// because a span over several beats has to reach that too.
pub(super) type Points = Vec<Fraction>;

/// How near a point has to be to a cell, and which grids are thought of.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tolerance {
    /// How far from a cell a point may stand, in beats.
    pub(super) by: Fraction,
    /// Most cells per beat.
    pub(super) cells: u16,
    /// Most beats of a span.
    pub(super) beats: u16,
}

impl Tolerance {
    /// No slack, and every grid that a groove can hold.
    pub(super) const NONE: Tolerance =
        Tolerance { by: Fraction::ZERO, cells: MOST, beats: TUPLET_BEATS.greatest as u16 };
}

/// Whether a place, in beats from the start of a span, is that of one of its cells. The second of each pair of an even number
/// of cells is where the swing puts it, as [`crate::rhythm::Part`] does.
fn stands(at: Fraction, span: Span, swing: Option<Swing>) -> bool {
    let cells = Fraction::whole(i32::from(span.cells)).over(Fraction::whole(i32::from(span.beats)));
    let Some(x) = cells.and_then(|c| at.times(c)) else { return false };
    match swing {
        Some(swing) if span.cells.is_multiple_of(2) => {
            let two = Fraction::whole(2);
            let pair = Fraction::new(x.floor().div_euclid(2) * 2, 1);
            let into = pair.and_then(|p| x.minus(p));
            into.is_some_and(|i| i == Fraction::ZERO || Some(i) == two.times(swing.share()))
        }
        _ => x.denom() == 1,
    }
}

/// The place of a cell of a span, in beats from its start.
pub(super) fn place(cell: u16, span: Span, swing: Option<Swing>) -> Option<Fraction> {
    let per = Fraction::new(i64::from(span.beats), i64::from(span.cells))?;
    match swing {
        Some(swing) if span.cells.is_multiple_of(2) && cell % 2 == 1 => {
            let share = swing.share().times(Fraction::whole(2))?;
            Fraction::whole(i32::from(cell) - 1).plus(share)?.times(per)
        }
        _ => Fraction::whole(i32::from(cell)).times(per),
    }
}

/// Whether a span reaches all points of its beats.
pub(super) fn reaches(beats: &[Points], span: Span, swing: Option<Swing>, slack: Tolerance) -> bool {
    if slack.by == Fraction::ZERO {
        return points(beats).all(|p| p.is_some_and(|p| stands(p, span, swing)));
    }
    let plain = swing.is_none() || !span.cells.is_multiple_of(2);
    points(beats).all(|p| {
        let Some(p) = p else { return false };
        match if plain { near_even(p, span, slack.by) } else { None } {
            Some(near) => near,
            None => {
                snapped(p, span, swing, false).and_then(|s| s.minus(p)).is_some_and(|off| magnitude(off) <= slack.by)
            }
        }
    })
}

/// Whether a place is within a distance of one of a span's even cells or its end, in whole numbers, since this is asked of every point
/// for every number of cells; `None` where they do not fit 128 bits.
fn near_even(at: Fraction, span: Span, by: Fraction) -> Option<bool> {
    let (cells, beats) = (i128::from(span.cells), i128::from(span.beats));
    // The place in cells is `parts / whole`; its distance to the nearest one, in beats, is `off / whole * beats / cells`.
    let (parts, whole) = (i128::from(at.numer()).checked_mul(cells)?, i128::from(at.denom()).checked_mul(beats)?);
    let over = parts.rem_euclid(whole);
    let off = if (0..=whole * cells).contains(&parts) { over.min(whole - over) } else { return None };
    let left = off.checked_mul(beats)?.checked_mul(i128::from(by.denom()))?;
    Some(left <= i128::from(by.numer()).checked_mul(whole)?.checked_mul(cells)?)
}

/// All points of some beats, in beats from the first one's start.
pub(super) fn points(beats: &[Points]) -> impl Iterator<Item = Option<Fraction>> + '_ {
    beats.iter().enumerate().flat_map(|(b, points)| {
        let beat = Fraction::whole(b as i32);
        points.iter().map(move |p| p.plus(beat))
    })
}

/// The fewest cells that reach all points of these beats, if a span may have so many.
pub(super) fn fewest(beats: &[Points], swing: Option<Swing>, slack: Tolerance) -> Option<u16> {
    let count = beats.len() as u16;
    let most = slack.cells.saturating_mul(count).min(MOST);
    if swing.is_some() || slack.by != Fraction::ZERO {
        return (1..=most).find(|cells| reaches(beats, Span { beats: count, cells: *cells }, swing, slack));
    }
    let mut cells = 1_i64;
    for p in points(beats) {
        let part = p?.over(Fraction::whole(i32::from(count)))?;
        if part.denom() > i64::from(most) {
            return None;
        }
        cells = lcm(cells, part.denom());
        if cells > i64::from(most) {
            return None;
        }
    }
    Some(cells as u16)
}

/// What asks for a grid: the points of a beat, and the share of the swing it is under.
type Beat<'a> = (&'a Points, Option<(u8, u8)>);

/// The division that writes a layer of so many beats with the fewest cells, tuplets counted.
///
/// A beat that the division reaches costs its cells. A tuplet costs its own and two more; a beat of the same kind as the
/// division that is only finer (eighths under sixteenths) costs eight times its cells, so that only rare ones become spans.
pub(super) fn division<'a>(beats: impl Iterator<Item = (&'a Points, Option<Swing>)>, count: usize, silent: u16) -> u16 {
    let mut kinds: BTreeMap<Beat, (usize, Option<Swing>)> = BTreeMap::new();
    // A beat in which nothing begins or ends asks for no division.
    for (points, swing) in beats.filter(|b| !b.0.is_empty()) {
        let key = swing.map(|s| (s.share().numer() as u8, s.share().denom() as u8));
        kinds.entry((points, key)).or_insert((0, swing)).0 += 1;
    }
    if kinds.is_empty() {
        return silent;
    }
    let rows: Vec<(&Points, Option<Swing>, usize, Option<u16>)> = kinds
        .iter()
        .map(|((points, _), (count, swing))| {
            (*points, *swing, *count, fewest(std::slice::from_ref(*points), *swing, Tolerance::NONE))
        })
        .collect();
    let room = CELLS_OF_LAYER.greatest as usize / count.max(1);
    // The needs by their odd part, with the greatest power of two of each: 3, 6 and 12 are one kind.
    let mut odd_parts: BTreeMap<u16, u32> = BTreeMap::new();
    for need in rows.iter().filter_map(|r| r.3) {
        let powers = need.trailing_zeros();
        let greatest = odd_parts.entry(need >> powers).or_insert(powers);
        *greatest = powers.max(*greatest);
    }
    let kinds = odd_parts.iter().flat_map(|(odd, powers)| (*powers.min(&2)..=*powers).map(move |k| (*odd, odd << k)));
    let candidates: Vec<(u16, u16)> = kinds.filter(|(_, d)| i64::from(*d) <= DIVISION.greatest).collect();
    let cost = |&(odd, division): &(u16, u16)| -> usize {
        let one = |(points, swing, count, need): &(&Points, Option<Swing>, usize, Option<u16>)| {
            let cells = match need {
                _ if reaches(
                    std::slice::from_ref(*points),
                    Span { beats: 1, cells: division },
                    *swing,
                    Tolerance::NONE,
                ) =>
                {
                    division
                }
                None => MOST,
                Some(n) if n >> n.trailing_zeros() == odd => 8 * n,
                Some(n) => n + 2,
            };
            count * usize::from(cells)
        };
        rows.iter().map(one).sum()
    };
    let within = candidates.iter().filter(|c| usize::from(c.1) <= room).min_by_key(|c| cost(c));
    within.map_or(1, |c| c.1)
}

/// How the beats of a bar are divided: at the division where that reaches them, by tuplets with the fewest cells elsewhere, the
/// shorter of equally good ones. `None` if no spans reach all points.
pub(super) fn spans(beats: &[Points], division: u16, swing: Option<Swing>, slack: Tolerance) -> Option<Vec<Span>> {
    let even = Span { beats: 1, cells: division };
    let plain: Vec<bool> = beats.iter().map(|b| reaches(std::slice::from_ref(b), even, swing, slack)).collect();
    if plain.iter().all(|p| *p) {
        return Some(vec![even; beats.len()]);
    }
    // best[j]: the least cost of the first j beats, and the span that ends there.
    let mut best: Vec<Option<(u32, Span)>> = vec![None; beats.len() + 1];
    for j in 1..=beats.len() {
        for length in 1..=j.min(usize::from(slack.beats)) {
            let i = j - length;
            let before = match (i, best[i]) {
                (0, _) => 0,
                (_, Some((cost, _))) => cost,
                (_, None) => continue,
            };
            let (cost, span) = if length == 1 && plain[i] {
                (before, even)
            } else if plain[i] && plain[j - 1] && plain[i..j].iter().all(|p| *p) {
                continue;
            } else {
                let Some(cells) = fewest(&beats[i..j], swing, slack) else { continue };
                (before + u32::from(cells), Span { beats: length as u16, cells })
            };
            if best[j].is_none_or(|(least, _)| cost < least) {
                best[j] = Some((cost, span));
            }
        }
    }
    let (mut spans, mut j) = (Vec::new(), beats.len());
    while j > 0 {
        let (_, span) = best[j]?;
        spans.push(span);
        j -= usize::from(span.beats);
    }
    spans.reverse();
    Some(spans)
}

/// The grid of a beat that comes nearest to points which no grid reaches: the one with the smallest greatest move.
pub(super) fn nearest(points: &Points, swing: Option<Swing>, closed: bool, most: u16) -> Span {
    let miss = |cells: u16| {
        let span = Span { beats: 1, cells };
        points.iter().filter_map(|p| snapped(*p, span, swing, closed)?.minus(*p)).map(magnitude).max()
    };
    let cells = (1..=most.clamp(1, MOST)).min_by_key(|cells| miss(*cells).unwrap_or(Fraction::ZERO)).unwrap_or(1);
    Span { beats: 1, cells }
}

/// The place of a span's cells that is nearest to a point, or its end unless it is `closed` because nothing follows.
pub(super) fn snapped(at: Fraction, span: Span, swing: Option<Swing>, closed: bool) -> Option<Fraction> {
    let last = Some(Fraction::whole(i32::from(span.beats))).filter(|_| !closed);
    let about = at.times(Fraction::new(i64::from(span.cells), i64::from(span.beats))?)?.floor();
    let cells = (about - 2..=about + 2).filter(|c| (0..i64::from(span.cells)).contains(c));
    cells
        .filter_map(|c| place(c as u16, span, swing))
        .chain(last)
        .min_by_key(|p| p.minus(at).map_or(Fraction::whole(i32::MAX), magnitude))
}

/// The size of a number, whatever its sign.
pub(super) fn magnitude(x: Fraction) -> Fraction {
    if x < Fraction::ZERO { Fraction::ZERO.minus(x).unwrap_or(x) } else { x }
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
            let off = snapped(at, span, None, false).and_then(|s| s.minus(at)).map(magnitude).expect("a place");
            prop_assert_eq!(near_even(at, span, by), Some(off <= by));
        }
    }
}
