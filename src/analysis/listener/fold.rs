//! The events as cells, counted once for every length of a cycle: the sums from which each phase of each structure follows.

use super::cell::{Cell, on_grid};
use super::evidence::Event;
use super::params::Params;
use super::structure::{Beats, Cut, Structure};

/// The events as cells.
pub(super) struct Grid {
    pub(super) cell: Cell,
    pub(super) cells: usize,
    /// Cell and weight of the events on the grid, in order.
    pub(super) on: Vec<(usize, f64)>,
    /// Their weight.
    pub(super) weight: f64,
    /// The weight of events off the grid.
    pub(super) off: f64,
    /// The first event's cell.
    pub(super) first: usize,
}

/// Everything counted by cell modulo a length.
#[derive(Debug, Clone)]
pub(super) struct Fold {
    pub(super) weight: Vec<f64>,
    pub(super) empty: Vec<f64>,
    pub(super) cells: Vec<f64>,
}

/// The folds by every length of a range of cells.
pub(super) struct Folds<'a> {
    grid: &'a Grid,
    range: (usize, usize),
    by_length: Vec<Option<Fold>>,
}

impl<'a> Folds<'a> {
    pub(super) fn new(grid: &'a Grid, range: (usize, usize), structures: &[Structure]) -> Self {
        let most = structures.iter().map(|s| s.cycle).max().unwrap_or(0);
        let mut folds = Self { grid, range, by_length: vec![None; most + 1] };
        for s in structures {
            folds.add(s.cycle);
            match &s.beats {
                Beats::Even { beat, cut, .. } => {
                    folds.add(*beat);
                    if let Cut::Equal(parts) = cut {
                        folds.add(beat / parts);
                    }
                }
                Beats::Unequal { unit, .. } => folds.add(*unit),
            }
        }
        folds
    }

    pub(super) fn add(&mut self, length: usize) {
        if self.by_length[length].is_some() {
            return;
        }
        let (from, to) = self.range;
        let mut cells = vec![((to - from) / length) as f64; length];
        for i in 0..(to - from) % length {
            cells[(from + i) % length] += 1.0;
        }
        let mut fold = Fold { weight: vec![0.0; length], empty: cells.clone(), cells };
        let first = self.grid.on.partition_point(|e| e.0 < from);
        let mut before = usize::MAX;
        for &(cell, weight) in self.grid.on[first..].iter().take_while(|e| e.0 < to) {
            let at = cell % length;
            fold.weight[at] += weight;
            if cell != before {
                fold.empty[at] -= 1.0;
            }
            before = cell;
        }
        self.by_length[length] = Some(fold);
    }

    pub(super) fn of(&self, length: usize) -> &Fold {
        self.by_length[length].as_ref().expect("every length of a structure is folded")
    }
}

/// What lies at the head, on beats and on cuts of a structure at a phase.
pub(super) struct Classes {
    pub(super) head: f64,
    pub(super) beats: f64,
    pub(super) cuts: f64,
}

impl Structure {
    /// What `of` counts on the beats at every phase.
    pub(super) fn beat_sums(&self, folds: &Folds, of: impl Fn(&Fold) -> &[f64]) -> Vec<f64> {
        match &self.beats {
            Beats::Even { beat, .. } => of(folds.of(*beat)).iter().copied().cycle().take(self.cycle).collect(),
            Beats::Unequal { starts, .. } => {
                let by_cycle = of(folds.of(self.cycle));
                let mut sums = vec![0.0; self.cycle];
                for &start in starts {
                    let turned = by_cycle[start..].iter().chain(&by_cycle[..start]);
                    sums.iter_mut().zip(turned).for_each(|(sum, x)| *sum += x);
                }
                sums
            }
        }
    }

    /// What `of` counts at the head, on beats and on cuts, phase by phase; `beats` are its sums on beats.
    pub(super) fn each_phase(
        &self,
        folds: &Folds,
        beats: &[f64],
        of: impl Fn(&Fold) -> &[f64],
        mut each: impl FnMut(usize, Classes),
    ) {
        let by_cycle = of(folds.of(self.cycle));
        let (head, cuts) = match &self.beats {
            Beats::Even { beat, bar, cut } => (
                (*bar > 1).then_some(0),
                match cut {
                    Cut::Equal(1) => None,
                    Cut::Equal(parts) => Some((of(folds.of(beat / parts)), 0, true)),
                    Cut::Long(long) => Some((of(folds.of(*beat)), *long, false)),
                },
            ),
            Beats::Unequal { unit, starts, cut, strong, .. } => {
                (Some(starts[*strong]), cut.then(|| (of(folds.of(*unit)), 0, true)))
            }
        };
        let mut at_head = head.unwrap_or(0);
        let mut at_cut = cuts.map_or(0, |c| c.1);
        for (phase, &beats) in beats.iter().enumerate() {
            let on_head = if head.is_some() { by_cycle[at_head] } else { 0.0 };
            let on_cuts = cuts.map_or(0.0, |(fold, _, with_beats)| fold[at_cut] - if with_beats { beats } else { 0.0 });
            each(phase, Classes { head: on_head, beats, cuts: on_cuts });
            at_head = if at_head + 1 == self.cycle { 0 } else { at_head + 1 };
            at_cut = if cuts.is_some_and(|(fold, ..)| at_cut + 1 < fold.len()) { at_cut + 1 } else { 0 };
        }
    }

    /// Whether another structure has the same beats: the sums on these are the same.
    pub(super) fn shares_beats(&self, other: &Self) -> bool {
        self.cycle == other.cycle
            && match (&self.beats, &other.beats) {
                (Beats::Even { beat: a, .. }, Beats::Even { beat: b, .. }) => a == b,
                (Beats::Unequal { starts: a, .. }, Beats::Unequal { starts: b, .. }) => a == b,
                _ => false,
            }
    }

    /// The mean density over a whole cycle.
    pub(super) fn mean(&self, params: &Params) -> f64 {
        (0..self.cycle).map(|i| self.weight(i, params)).sum::<f64>() / self.cycle as f64
    }
}

/// The events on a grid of cells round the loop.
pub(super) fn grid(events: &[Event], length: f64, cell: Cell, params: &Params) -> Grid {
    let cells = (length / cell.length).round().max(1.0) as usize;
    let place = |e: &Event| ((e.time - cell.origin) / cell.length).round() as i64;
    let is_on = |e: &&Event| on_grid(e.time, cell.length, cell.origin, params);
    let mut on: Vec<(usize, f64)> =
        events.iter().filter(is_on).map(|e| (place(e).rem_euclid(cells as i64) as usize, e.weight)).collect();
    on.sort_by_key(|e| e.0);
    let weight: f64 = on.iter().map(|e| e.1).sum();
    let off = (events.iter().map(|e| e.weight).sum::<f64>() - weight).max(0.0);
    let first = place(&events[0]).rem_euclid(cells as i64) as usize;
    Grid { cell, cells, on, weight, off, first }
}
