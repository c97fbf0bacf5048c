//! A changing pulse where the cells are felt: the best sequence of structures.

use super::best_path::{StateRun, best, best_path, runs, windows};
use super::fold::{EventGrid, Factors, Folds};
use super::hypothesis::{Candidate, Piece, PulseOrigin, Pulses};
use super::params::{Params, ROUNDING};
use super::structure::Structure;

/// States of a changing pulse: the best of the whole, and of each window the best of so many tempos.
const BEST_OF_ALL: usize = 12;
const BEST_OF_WINDOW: usize = 3;

/// A structure, as an index, and its phase.
type State = (usize, usize);

/// The best sequence of structures, if one that changes is better than each alone, with its log posterior.
pub(super) fn changing_pulse(
    grid: &EventGrid,
    folds: &mut Folds,
    length: f64,
    cuts: &[f64],
    structures: &[Structure],
    scores: &[f64],
    params: &Params,
) -> Option<(f64, Candidate)> {
    let windows = windows(length, cuts, params);
    if windows.len() < 2 {
        return None;
    }
    let mut states = best_of_all(structures, scores);
    best_of_windows(grid, folds, &windows, structures, params, &mut states);
    states.sort_unstable();
    states.dedup();
    let (path, score) = cell_path(grid, structures, &states, params);
    let runs = runs(&path);
    if runs.len() < 2 {
        return None;
    }
    let prior = path.iter().map(|s| structures[states[*s].0].prior).sum::<f64>() / path.len() as f64;
    let is_beat = |(index, phase): State, cell: usize| {
        let s = &structures[index];
        s.is_beat((cell + s.cycle - phase) % s.cycle)
    };
    let first = if is_beat(states[path[grid.first]], grid.first) { params.first_beat_bonus } else { 0.0 };
    let piece = |&StateRun { from, to, state }: &StateRun| {
        let (s, phase) = (&structures[states[state].0], states[state].1);
        let pulses = (from..to).filter(|i| is_beat(states[state], *i));
        Piece {
            start: grid.seconds(from),
            end: grid.seconds(to),
            kind: s.kind(),
            period: s.period,
            sizes: s.sizes(phase, from),
            pulses: Pulses::at(pulses.map(|i| grid.seconds(i)).collect()),
        }
    };
    let candidate = Candidate::changing(PulseOrigin::Grid, runs.iter().map(piece).collect());
    Some((score * params.present_length / length + prior + first, candidate))
}

fn best_of_all(structures: &[Structure], scores: &[f64]) -> Vec<State> {
    let mut starts = vec![0];
    starts.extend(structures.iter().scan(0, |sum, s| {
        *sum += s.cycle;
        Some(*sum)
    }));
    let state = |at: usize| {
        let index = starts.partition_point(|s| *s <= at) - 1;
        (index, at - starts[index])
    };
    best(scores.iter().copied(), BEST_OF_ALL).into_iter().map(state).collect()
}

/// Adds the best structure of each of the best tempos of each window.
fn best_of_windows(
    grid: &EventGrid,
    folds: &mut Folds,
    windows: &[(f64, f64)],
    structures: &[Structure],
    params: &Params,
    states: &mut Vec<State>,
) {
    let logs = Factors::new(params, f64::ln);
    let means: Vec<f64> = structures.iter().map(|s| s.mean(params).ln() - params.rest_weight.ln()).collect();
    let mut tempos: Vec<(bool, usize)> = structures.iter().map(Structure::tempo_key).collect();
    tempos.sort_unstable();
    tempos.dedup();
    let tempo = |s: &Structure| tempos.partition_point(|t| *t < s.tempo_key());
    let of_tempo: Vec<usize> = structures.iter().map(tempo).collect();
    let (mut beats, mut silent, mut sums) = (Vec::new(), Vec::new(), Vec::new());
    for &(from, to) in windows {
        // A window that ends halfway through a cell leaves it out.
        let cell_of = |t: f64| ((t - grid.cell.origin) / grid.cell.length - ROUNDING).round().max(0.0) as usize;
        let range = cell_of(from).min(grid.cells())..cell_of(to).min(grid.cells());
        if range.is_empty() {
            continue;
        }
        folds.fill(grid, range.clone());
        let weight: f64 = grid.weights[range].iter().sum();
        let scale = params.present_length / (to - from);
        let mut local = vec![(f64::NEG_INFINITY, (0, 0)); tempos.len()];
        let mut index = 0;
        for alike in structures.chunk_by(Structure::shares_beats) {
            let fits = alike[0].cycle as f64 * grid.cell.length <= (to - from) * (1.0 + 1e-9);
            if fits {
                alike[0].on_beats(folds, &folds.weights, &mut beats);
                alike[0].on_beats(folds, &folds.empty, &mut silent);
            }
            for s in alike.iter().filter(|_| fits) {
                s.weigh(folds, &folds.weights, &beats, &logs, &mut sums);
                sums.iter_mut().zip(&silent).for_each(|(sum, silent)| *sum -= params.silent_beat_cost * silent);
                let likelihood = sums.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let log = (likelihood - weight * means[index]) * scale + s.prior;
                let of_tempo = &mut local[of_tempo[index]];
                if log > of_tempo.0 {
                    let phase = sums.iter().position(|sum| *sum == likelihood).unwrap_or(0);
                    *of_tempo = (log, (index, phase));
                }
                index += 1;
            }
            index += if fits { 0 } else { alike.len() };
        }
        local.retain(|l| l.0 > f64::NEG_INFINITY);
        local.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        states.extend(local.iter().take(BEST_OF_WINDOW).map(|l| l.1));
    }
}

/// The best sequence of states, cell by cell.
fn cell_path(grid: &EventGrid, structures: &[Structure], states: &[State], params: &Params) -> (Vec<usize>, f64) {
    /// What a state says of a cell that sounds, by its weight, and of an empty one, by place in the cycle.
    struct Shares {
        of_weight: Vec<f64>,
        of_empty: Vec<f64>,
        place: usize,
    }
    let shares = |&(index, phase): &State| {
        let s = &structures[index];
        let mean = s.mean(params);
        Shares {
            of_weight: (0..s.cycle).map(|i| (s.weight(i, params) / mean).ln()).collect(),
            of_empty: (0..s.cycle).map(|i| if s.is_beat(i) { -params.silent_beat_cost } else { 0.0 }).collect(),
            place: (s.cycle - phase) % s.cycle,
        }
    };
    let mut all: Vec<Shares> = states.iter().map(shares).collect();
    best_path(grid.cells(), states.len(), params.change_cost, |cell, row| {
        let weight = grid.weights[cell];
        for (share, s) in row.iter_mut().zip(&mut all) {
            *share = if weight > 0.0 { weight * s.of_weight[s.place] } else { s.of_empty[s.place] } as f32;
            s.place = if s.place + 1 == s.of_empty.len() { 0 } else { s.place + 1 };
        }
    })
}
