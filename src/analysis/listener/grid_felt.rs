//! The posterior where the cells are felt: every structure at every phase against the cells that sound.
//!
//! ```text
//! LL = sum_i C[i] ln w[i] + off ln wrest - (sum C + off) ln mean(w) - silent * #(beats on empty cells) - change * [N mod m != 0]
//! log posterior = LL * W / L + log prior + first * [the first event is on a beat]
//! ```
//! The events are folded once per length of a cycle; then a phase of an even structure costs three look-ups.

use super::cell::Cell;
use super::changing::{argmax, best_path, runs, windows};
use super::evidence::Event;
use super::fold::{Classes, Folds, Grid, grid};
use super::hypothesis::{Candidate, Kind, Piece, normalised};
use super::params::Params;
use super::structure::{Beats, Structure, structures};
use std::collections::BTreeMap;

/// Hypotheses of less than this are not told, only counted in the sum.
const LEAST: f64 = 1e-7;
/// Beats of less are not told.
const LEAST_TOLD: f64 = 1e-5;
/// States of a changing pulse: the best of the whole, and of each window.
const BEST_OF_ALL: usize = 12;
const BEST_OF_WINDOW: usize = 3;

/// What the grid says.
#[derive(Debug, Clone, Default)]
pub(super) struct GridPosterior {
    /// Ways to take the beat, summed over bars, cuts and weights.
    pub(super) candidates: Vec<Candidate>,
    /// Probability of unequal beats and of bars of five and seven.
    pub(super) odd: f64,
    /// Cycles above the beat: length and first head in seconds, probability.
    pub(super) cycles: Vec<(f64, f64, f64)>,
}

/// Natural logs of the four densities.
struct Logs {
    head: f64,
    beat: f64,
    cut: f64,
    rest: f64,
}

impl Logs {
    fn new(p: &Params) -> Self {
        Self { head: p.head.ln(), beat: p.beat.ln(), cut: p.cut.ln(), rest: p.rest.ln() }
    }

    /// The sum of weight times log density, of a total weight.
    fn sum(&self, c: &Classes, total: f64) -> f64 {
        c.head * (self.head - self.beat)
            + c.beats * self.beat
            + c.cuts * self.cut
            + (total - c.beats - c.cuts) * self.rest
    }
}

/// The log posterior of every structure at every phase, structure by structure.
fn scores(grid: &Grid, structures: &[Structure], params: &Params, scale: f64) -> Vec<f64> {
    let folds = Folds::new(grid, (0, grid.cells), structures);
    let logs = Logs::new(params);
    let (all, cells) = (grid.weight + grid.off, grid.cells as f64);
    let density = |c: &Classes| {
        let rest = cells - c.beats - c.cuts;
        let head = c.head * (params.head - params.beat);
        (head + c.beats * params.beat + c.cuts * params.cut + rest * params.rest) / cells
    };
    let mut scores = Vec::new();
    for alike in structures.chunk_by(Structure::shares_beats) {
        let first = &alike[0];
        let cycle = first.cycle;
        let beats = first.beat_sums(&folds, |f| &f.weight);
        let silent = first.beat_sums(&folds, |f| &f.empty);
        let beat_cells = first.beat_sums(&folds, |f| &f.cells);
        let on_first: Vec<f64> = (0..cycle)
            .map(|phase| if first.is_beat((grid.first + cycle - phase) % cycle) { params.first } else { 0.0 })
            .collect();
        let closes = grid.cells.is_multiple_of(cycle);
        let constant = grid.off * logs.rest - if closes { 0.0 } else { params.change };
        for s in alike {
            let from = scores.len();
            s.each_phase(
                &folds,
                &beats,
                |f| &f.weight,
                |phase, c| {
                    let likelihood = logs.sum(&c, grid.weight) + constant - params.silent * silent[phase];
                    scores.push(likelihood * scale + s.prior + on_first[phase]);
                },
            );
            let mut mean = f64::NAN;
            s.each_phase(
                &folds,
                &beat_cells,
                |f| &f.cells,
                |phase, c| {
                    // The same at every phase of a cycle that closes with the loop.
                    if phase == 0 || !closes {
                        mean = all * density(&c).ln() * scale;
                    }
                    scores[from + phase] -= mean;
                },
            );
        }
    }
    scores
}

/// The log posterior of every structure at every phase, for a check against the formula.
#[cfg(test)]
pub(super) fn log_posteriors(events: &[Event], length: f64, cell: Cell, params: &Params) -> Vec<f64> {
    let grid = grid(events, length, cell, params);
    scores(&grid, &structures(cell.length, grid.cells, params), params, params.present / length)
}

/// The posterior of the beats on a grid of cells.
pub(super) fn hear(events: &[Event], length: f64, cell: Cell, cuts: &[f64], params: &Params) -> GridPosterior {
    let grid = grid(events, length, cell, params);
    let structures = structures(cell.length, grid.cells, params);
    let mut log = scores(&grid, &structures, params, params.present / length);
    let single = log.len();
    let change = changing(&grid, length, cuts, &structures, &log, params);
    log.extend(change.iter().map(|c| c.0));
    if log.is_empty() {
        return GridPosterior::default();
    }
    let probabilities = normalised(log.iter().copied());
    let mut posterior = summed(&grid, length, &structures, &probabilities);
    if let Some((_, mut candidate)) = change {
        candidate.probability = probabilities[single];
        posterior.candidates.push(candidate);
    }
    posterior
}

/// One beat with the probability of all its bars, cuts and weights, and the likeliest of them.
struct Beat {
    probability: f64,
    best: f64,
    structure: usize,
    phase: usize,
}

fn summed(grid: &Grid, length: f64, structures: &[Structure], probabilities: &[f64]) -> GridPosterior {
    let mut beats: BTreeMap<Vec<usize>, Beat> = BTreeMap::new();
    let mut cycles: BTreeMap<(usize, usize), f64> = BTreeMap::new();
    let (mut at, mut odd) = (0, 0.0);
    for (index, s) in structures.iter().enumerate() {
        for phase in 0..s.cycle {
            let p = probabilities[at];
            at += 1;
            if s.is_odd() {
                odd += p;
            }
            if p < LEAST {
                continue;
            }
            let key = match &s.beats {
                Beats::Even { beat, .. } => vec![*beat, phase % beat],
                Beats::Unequal { starts, .. } => {
                    let mut key: Vec<usize> = starts.iter().map(|b| (phase + b) % s.cycle).collect();
                    key.sort_unstable();
                    // Unlike an even beat's key by its length, with the cycle in front.
                    key.splice(0..0, [usize::MAX, s.cycle]);
                    key
                }
            };
            if !matches!(s.beats, Beats::Even { bar: 1, .. }) {
                *cycles.entry((s.cycle, phase)).or_default() += p;
            }
            let beat = beats.entry(key).or_insert(Beat { probability: 0.0, best: -1.0, structure: 0, phase: 0 });
            beat.probability += p;
            if p > beat.best {
                (beat.best, beat.structure, beat.phase) = (p, index, phase);
            }
        }
    }
    let seconds = |cell: usize| grid.cell.origin + cell as f64 * grid.cell.length;
    let candidates = beats
        .values()
        .filter(|b| b.probability >= LEAST_TOLD)
        .map(|b| candidate(grid, length, &structures[b.structure], b))
        .collect();
    let cycles =
        cycles.into_iter().map(|((cycle, phase), p)| (cycle as f64 * grid.cell.length, seconds(phase), p)).collect();
    GridPosterior { candidates, odd, cycles }
}

fn candidate(grid: &Grid, length: f64, s: &Structure, beat: &Beat) -> Candidate {
    // The beats of one cycle from the loop's start, then cycle by cycle.
    let starts: Vec<usize> = (0..s.cycle).filter(|i| s.is_beat((i + s.cycle - beat.phase) % s.cycle)).collect();
    let cells = (0..grid.cells).step_by(s.cycle).flat_map(|from| starts.iter().map(move |i| from + i));
    let pulses =
        cells.take_while(|i| *i < grid.cells).map(|i| grid.cell.origin + i as f64 * grid.cell.length).collect();
    let mut c = Candidate::steady(s.kind(), beat.probability, s.period, length, s.sizes(beat.phase, 0), pulses);
    c.on_grid = true;
    c
}

impl Structure {
    fn kind(&self) -> Kind {
        if matches!(self.beats, Beats::Even { .. }) { Kind::Even } else { Kind::Unequal }
    }

    /// Sizes of unequal beats in units, from the first beat at a cell or after it.
    fn sizes(&self, phase: usize, from: usize) -> Vec<u8> {
        let Beats::Unequal { sizes, starts, .. } = &self.beats else { return Vec::new() };
        let place = (from + self.cycle - phase % self.cycle) % self.cycle;
        let first = starts.iter().position(|s| *s >= place).unwrap_or(0);
        [&sizes[first..], &sizes[..first]].concat()
    }
}

/// The best sequence of structures, if one that changes is better than each alone, with its log posterior.
fn changing(
    grid: &Grid,
    length: f64,
    cuts: &[f64],
    structures: &[Structure],
    scores: &[f64],
    params: &Params,
) -> Option<(f64, Candidate)> {
    let windows = windows(length, cuts, params);
    if windows.len() < 2 || structures.is_empty() {
        return None;
    }
    let states = states(grid, &windows, structures, scores, params);
    let mut sounding = vec![0.0; grid.cells];
    grid.on.iter().for_each(|e| sounding[e.0] += e.1);
    let rows: Vec<Vec<f32>> = states
        .iter()
        .map(|&(index, phase)| {
            let s = &structures[index];
            let mean = s.mean(params);
            let logs: Vec<f64> = (0..s.cycle).map(|i| (s.weight(i, params) / mean).ln()).collect();
            let mut place = (s.cycle - phase) % s.cycle;
            sounding
                .iter()
                .map(|c| {
                    let silent = if *c == 0.0 && s.is_beat(place) { params.silent } else { 0.0 };
                    let share = c * logs[place] - silent;
                    place = (place + 1) % s.cycle;
                    share as f32
                })
                .collect()
        })
        .collect();
    let (path, score) = best_path(&rows, params.change);
    let runs = runs(&path);
    if runs.len() < 2 {
        return None;
    }
    let prior = path.iter().map(|s| structures[states[*s].0].prior).sum::<f64>() / path.len() as f64;
    let (index, phase) = states[path[grid.first]];
    let cycle = structures[index].cycle;
    let on_first = structures[index].is_beat((grid.first + cycle - phase) % cycle);
    let log = score * params.present / length + prior + if on_first { params.first } else { 0.0 };
    let seconds = |i: usize| grid.cell.origin + i as f64 * grid.cell.length;
    let pieces: Vec<Piece> = runs
        .iter()
        .map(|&(from, to, state)| {
            let (s, phase) = (&structures[states[state].0], states[state].1);
            let is_beat = |i: &usize| s.is_beat((i + s.cycle - phase) % s.cycle);
            Piece {
                start: seconds(from),
                end: seconds(to),
                kind: s.kind(),
                period: s.period,
                sizes: s.sizes(phase, from),
                pulses: (from..to).filter(is_beat).map(seconds).collect(),
            }
        })
        .collect();
    let period = longest(&pieces);
    Some((
        log,
        Candidate {
            kind: Kind::Changing,
            probability: 0.0,
            period,
            follows: false,
            is_attacks: false,
            on_grid: true,
            pieces,
        },
    ))
}

/// The period of the longest piece.
pub(super) fn longest(pieces: &[Piece]) -> f64 {
    let best = argmax(&pieces.iter().map(|p| p.end - p.start).collect::<Vec<_>>());
    pieces.get(best).map_or(0.0, |p| p.period)
}

/// The states of a changing pulse, as structure and phase.
fn states(
    grid: &Grid,
    windows: &[(f64, f64)],
    structures: &[Structure],
    scores: &[f64],
    params: &Params,
) -> Vec<(usize, usize)> {
    let starts: Vec<usize> = structures
        .iter()
        .scan(0, |sum, s| {
            *sum += s.cycle;
            Some(*sum - s.cycle)
        })
        .collect();
    let mut order: Vec<usize> = (0..scores.len()).collect();
    let best = BEST_OF_ALL.min(order.len());
    if best < order.len() {
        order.select_nth_unstable_by(best, |a, b| scores[*b].total_cmp(&scores[*a]).then(a.cmp(b)));
    }
    let mut states: Vec<(usize, usize)> = order[..best]
        .iter()
        .map(|at| {
            let index = starts.partition_point(|s| s <= at) - 1;
            (index, at - starts[index])
        })
        .collect();
    let logs = Logs::new(params);
    let means: Vec<f64> = structures.iter().map(|s| s.mean(params).ln()).collect();
    for &(from, to) in windows {
        let cell_of = |t: f64| (((t - grid.cell.origin) / grid.cell.length).round().max(0.0) as usize).min(grid.cells);
        let range = (cell_of(from), cell_of(to));
        if range.0 >= range.1 {
            continue;
        }
        let folds = Folds::new(grid, range, structures);
        let weight: f64 = grid.on.iter().filter(|e| e.0 >= range.0 && e.0 < range.1).map(|e| e.1).sum();
        let scale = params.present / (to - from);
        let mut local: Vec<(f64, usize, usize)> = Vec::new();
        let mut index = 0;
        for alike in structures.chunk_by(Structure::shares_beats) {
            let fits = alike[0].cycle as f64 * grid.cell.length <= (to - from) * (1.0 + 1e-9);
            if fits {
                let beats = alike[0].beat_sums(&folds, |f| &f.weight);
                let silent = alike[0].beat_sums(&folds, |f| &f.empty);
                for (i, s) in alike.iter().enumerate() {
                    let mut best = (f64::NEG_INFINITY, 0);
                    s.each_phase(
                        &folds,
                        &beats,
                        |f| &f.weight,
                        |phase, c| {
                            let likelihood = logs.sum(&c, weight) - params.silent * silent[phase];
                            if likelihood > best.0 {
                                best = (likelihood, phase);
                            }
                        },
                    );
                    let log = (best.0 - weight * means[index + i]) * scale + s.prior;
                    local.push((log, index + i, best.1));
                }
            }
            index += alike.len();
        }
        local.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut taken: Vec<usize> = Vec::new();
        for (_, index, phase) in local {
            if taken.iter().any(|t| structures[*t].same_beat(&structures[index])) {
                continue;
            }
            taken.push(index);
            states.push((index, phase));
            if taken.len() == BEST_OF_WINDOW {
                break;
            }
        }
    }
    states.sort_unstable();
    states.dedup();
    states
}
