//! The events as cells, counted once for every length of a cycle: the sums from which each phase of each structure follows.

use super::cell::{CellGrid, on_grid};
use super::evidence::Event;
use super::params::Params;
use super::structure::{Beats, Structure};
use std::ops::Range;

pub(super) struct EventGrid {
    pub(super) cell: CellGrid,
    /// Weight of the events on each cell, and 1 for a cell without any.
    pub(super) weights: Vec<f64>,
    pub(super) empty: Vec<f64>,
    /// Weight of the events on the grid, and off it.
    pub(super) weight: f64,
    pub(super) off: f64,
    /// The first event's cell.
    pub(super) first: usize,
}

impl EventGrid {
    pub(super) fn new(events: &[Event], length: f64, cell: CellGrid, params: &Params) -> Self {
        let cells = (length / cell.length).round().max(1.0) as usize;
        let place = |e: &Event| {
            let place = ((e.time - cell.origin) / cell.length).round() as i64;
            place.rem_euclid(cells as i64) as usize
        };
        let (mut weights, mut empty, mut off) = (vec![0.0; cells], vec![1.0; cells], 0.0);
        for e in events {
            if on_grid(e.time, cell.length, cell.origin, params) {
                weights[place(e)] += e.weight;
                empty[place(e)] = 0.0;
            } else {
                off += e.weight;
            }
        }
        Self { cell, weight: weights.iter().sum(), weights, empty, off, first: place(&events[0]) }
    }

    pub(super) fn cells(&self) -> usize {
        self.weights.len()
    }

    pub(super) fn seconds(&self, cell: usize) -> f64 {
        self.cell.origin + cell as f64 * self.cell.length
    }
}

/// Sums over the cells by cell modulo a length, for every length that the structures need, one after the other.
pub(super) struct Folds {
    /// Where the fold of a length starts; `usize::MAX` if there is none.
    starts: Vec<usize>,
    lengths: Vec<usize>,
    pub(super) weights: Vec<f64>,
    pub(super) empty: Vec<f64>,
    /// The number of cells of the whole loop.
    pub(super) cells: Vec<f64>,
}

impl Folds {
    pub(super) fn new(grid: &EventGrid, structures: &[Structure]) -> Self {
        let needs = |s: &Structure| [s.cycle, s.beat_length(), s.cuts().map_or(s.cycle, |c| c.0)];
        let mut lengths: Vec<usize> = structures.iter().flat_map(needs).collect();
        lengths.sort_unstable();
        lengths.dedup();
        let mut starts = vec![usize::MAX; lengths.last().map_or(0, |m| m + 1)];
        let mut cells = Vec::new();
        for &length in &lengths {
            starts[length] = cells.len();
            cells.extend((0..length).map(|i| ((grid.cells() + length - 1 - i) / length) as f64));
        }
        let none = vec![0.0; cells.len()];
        let mut folds = Self { starts, lengths, weights: none.clone(), empty: none, cells };
        folds.fill(grid, 0..grid.cells());
        folds
    }

    pub(super) fn fill(&mut self, grid: &EventGrid, range: Range<usize>) {
        for &length in &self.lengths {
            let place = self.place(length);
            fold(&grid.weights, range.clone(), &mut self.weights[place.clone()]);
            fold(&grid.empty, range.clone(), &mut self.empty[place]);
        }
    }

    /// Where the fold of a length is.
    fn place(&self, length: usize) -> Range<usize> {
        self.starts[length]..self.starts[length] + length
    }
}

fn fold(cells: &[f64], range: Range<usize>, sums: &mut [f64]) {
    sums.fill(0.0);
    let length = sums.len();
    let aligned = range.start.next_multiple_of(length).min(range.end);
    let mut add = |from: usize, cells: &[f64]| sums[from..].iter_mut().zip(cells).for_each(|(sum, x)| *sum += x);
    add(range.start % length, &cells[range.start..aligned]);
    cells[aligned..range.end].chunks(length).for_each(|chunk| add(0, chunk));
}

/// What a cell adds to a sum at the head, on a beat, on a cut, more than elsewhere.
#[derive(Debug, Clone, Copy)]
pub(super) struct Factors {
    pub(super) head: f64,
    pub(super) beat: f64,
    pub(super) cut: f64,
}

impl Factors {
    /// The densities through a function.
    pub(super) fn new(params: &Params, of: impl Fn(f64) -> f64) -> Self {
        let over_rest = |x| of(x) - of(params.rest_weight);
        Self {
            head: over_rest(params.head_weight),
            beat: over_rest(params.beat_weight),
            cut: over_rest(params.cut_weight),
        }
    }
}

impl Structure {
    /// The sums of `of` on the beats at every phase.
    pub(super) fn on_beats(&self, folds: &Folds, of: &[f64], sums: &mut Vec<f64>) {
        sums.clear();
        match self.beats {
            Beats::Even { beat, bar, .. } => {
                (0..bar).for_each(|_| sums.extend_from_slice(&of[folds.place(beat)]));
            }
            Beats::Unequal { .. } => {
                sums.resize(self.cycle, 0.0);
                self.starts().for_each(|start| add_turned(sums, &of[folds.place(self.cycle)], start, 1.0));
            }
        }
    }

    /// The sums of `of` times the factors at every phase; `on_beats` are the sums on the beats.
    pub(super) fn weigh(&self, folds: &Folds, of: &[f64], on_beats: &[f64], factors: &Factors, sums: &mut Vec<f64>) {
        let cuts = self.cuts();
        // Equal cuts fall on the beats too.
        let of_beats = factors.beat - if matches!(cuts, Some((_, 0))) { factors.cut } else { 0.0 };
        sums.clear();
        sums.extend(on_beats.iter().map(|b| b * of_beats));
        if let Some((length, from)) = cuts {
            let of_cuts = &of[folds.place(length)];
            sums.chunks_mut(length).for_each(|chunk| add_turned(chunk, of_cuts, from, factors.cut));
        }
        if let Some(head) = self.head() {
            add_turned(sums, &of[folds.place(self.cycle)], head, factors.head - factors.beat);
        }
    }
}

/// Adds `factor` times the values from one place on, round the cycle.
fn add_turned(sums: &mut [f64], values: &[f64], from: usize, factor: f64) {
    let (end, start) = values.split_at(from);
    let (low, high) = sums.split_at_mut(start.len());
    low.iter_mut().zip(start).for_each(|(sum, x)| *sum += x * factor);
    high.iter_mut().zip(end).for_each(|(sum, x)| *sum += x * factor);
}
