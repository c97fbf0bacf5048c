//! The cell: the longest step on whose grid nearly all attacks lie.

use super::evidence::Event;
use super::params::{Params, ROUNDING};

/// Share of the weight that must lie on the grid (ours, no source).
const MIN_GRID_SHARE: f64 = 0.9;
/// Commonest intervals from which candidates are made.
const MAX_INTERVALS: usize = 8;

/// A grid of equal cells round the loop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CellGrid {
    /// Length in seconds at the playing speed.
    pub(super) length: f64,
    /// A line of the grid, within the first cell.
    pub(super) origin: f64,
}

impl CellGrid {
    /// The grid through a time. A line a hair before the loop's return is the loop's start: cycles that do not close begin there.
    pub(super) fn through(length: f64, time: f64) -> Self {
        let origin = time.rem_euclid(length);
        Self { length, origin: if origin > length * (1.0 - ROUNDING) { 0.0 } else { origin } }
    }
}

/// The longest cell with at least 90 % of the weight within `min(jnd, u/10)` of its grid, a whole number of them in the loop.
/// Candidates are the commonest intervals and their differences, divided by 1 to 6.
pub(super) fn cell(events: &[Event], length: f64, params: &Params) -> Option<CellGrid> {
    // Relative to the loop, so that the answer scales with time.
    let key = |x: f64| (x / params.cell_tolerance * 6000.0).round() as i64;
    let unit = params.cell_tolerance / 6000.0;
    let mut counts = std::collections::BTreeMap::<i64, usize>::new();
    for (i, e) in events.iter().enumerate() {
        let next = events.get(i + 1).map_or(events[0].time + length, |n| n.time);
        if next - e.time > params.shortest_cell / 2.0 {
            *counts.entry(key(next - e.time)).or_default() += 1;
        }
    }
    let mut common: Vec<(i64, usize)> = counts.into_iter().collect();
    common.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(&b.0)));
    common.truncate(MAX_INTERVALS);
    let mut steps: Vec<i64> = common.iter().map(|c| c.0).collect();
    for a in &common {
        steps.extend(common.iter().map(|b| (a.0 - b.0).abs()));
    }
    steps.retain(|s| *s as f64 * unit > params.shortest_cell);
    let mut candidates: Vec<f64> = steps
        .iter()
        .flat_map(|s| (1..=6).map(move |q| *s as f64 * unit / f64::from(q)))
        .filter_map(|u| {
            let cells = length / u;
            let closes = (cells - cells.round()).abs() <= 0.02 * (cells * 0.001).max(1.0);
            (closes && cells.round() >= 1.0).then(|| length / cells.round())
        })
        .filter(|u| *u >= params.shortest_cell * (1.0 - ROUNDING))
        .collect();
    candidates.sort_by(|a, b| b.total_cmp(a));
    candidates.dedup_by(|a, b| (*a / *b - 1.0).abs() < 1e-9);
    let origins = || events.iter().take(3).map(|e| e.time);
    candidates.into_iter().find_map(|u| {
        let origin = origins().find(|o| is_grid_of(events, u, *o, params))?;
        Some(CellGrid::through(u, origin))
    })
}

/// Whether an event lies on the grid.
pub(super) fn on_grid(time: f64, cell: f64, origin: f64, params: &Params) -> bool {
    let x = (time - origin) / cell;
    (x - x.round()).abs() * cell < params.cell_tolerance.min(cell / 10.0) * 1.01
}

fn is_grid_of(events: &[Event], cell: f64, origin: f64, params: &Params) -> bool {
    let all: f64 = events.iter().map(|e| e.weight).sum();
    let mut may_miss = (1.0 - MIN_GRID_SHARE) * all + 1e-9;
    events.iter().all(|e| {
        if !on_grid(e.time, cell, origin, params) {
            may_miss -= e.weight;
        }
        may_miss >= 0.0
    })
}
