//! The posterior where the cells are felt: every structure at every phase against the cells that sound.
//!
//! ```text
//! LL = sum_i C[i] ln w[i] + off ln wrest - (sum C + off) ln mean(w) - silent * #(beats on empty cells) - change * [N mod m != 0]
//! log posterior = LL * W / L + log prior + first * [the first event is on a beat]
//! ```
//! The events are folded once per length of a cycle; then a phase of an even structure costs three look-ups.

use super::cell::CellGrid;
use super::evidence::Event;
use super::fold::{EventGrid, Factors, Folds};
use super::grid_changes::changing_pulse;
use super::hypothesis::{Candidate, PulseOrigin, Pulses, normalised};
use super::params::Params;
use super::structure::{Structure, structures};

/// Beats and cycles of less are left out.
const MIN_BEAT_PROBABILITY: f64 = 1e-5;
const MIN_CYCLE_PROBABILITY: f64 = 1e-6;

/// What the grid says.
#[derive(Debug, Clone, Default)]
pub(super) struct GridPosterior {
    /// Ways to take the beat, summed over bars, cuts and weights.
    pub(super) candidates: Vec<Candidate>,
    /// Probability of unequal beats and of bars of five and seven.
    pub(super) odd: f64,
    pub(super) cycles: Vec<Cycle>,
}

/// A cycle above the beat: its length and its first head in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cycle {
    pub(super) length: f64,
    pub(super) head: f64,
    pub(super) probability: f64,
}

/// The log posterior of every structure at every phase, structure by structure.
fn scores(grid: &EventGrid, folds: &Folds, structures: &[Structure], params: &Params, scale: f64) -> Vec<f64> {
    let (logs, densities) = (Factors::new(params, f64::ln), Factors::new(params, |x| x));
    let (all, cells) = (grid.weight + grid.off, grid.cells() as f64);
    let at_rest = all * params.rest_weight.ln();
    let mut scores = Vec::with_capacity(structures.iter().map(|s| s.cycle).sum());
    let (mut beats, mut silent, mut beat_cells, mut sums) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for alike in structures.chunk_by(Structure::shares_beats) {
        let (first, cycle) = (&alike[0], alike[0].cycle);
        let closes = grid.cells().is_multiple_of(cycle);
        first.on_beats(folds, &folds.weights, &mut beats);
        first.on_beats(folds, &folds.empty, &mut silent);
        if !closes {
            first.on_beats(folds, &folds.cells, &mut beat_cells);
        }
        for s in alike {
            let from = scores.len();
            let likelihood = at_rest - if closes { all * s.mean(params).ln() } else { params.change_cost };
            s.weigh(folds, &folds.weights, &beats, &logs, &mut sums);
            let score =
                |(sum, silent): (&f64, &f64)| (sum + likelihood - params.silent_beat_cost * silent) * scale + s.prior;
            scores.extend(sums.iter().zip(&silent).map(score));
            for start in s.starts() {
                scores[from + (grid.first + cycle - start) % cycle] += params.first_beat_bonus;
            }
            if !closes {
                s.weigh(folds, &folds.cells, &beat_cells, &densities, &mut sums);
                let mut last = (f64::NAN, 0.0);
                for (score, sum) in scores[from..].iter_mut().zip(&sums) {
                    // Neighbouring phases mostly have the same mean.
                    if *sum != last.0 {
                        last = (*sum, all * (params.rest_weight + sum / cells).ln() * scale);
                    }
                    *score -= last.1;
                }
            }
        }
    }
    scores
}

/// The log posterior of every structure at every phase, for a check against the formula.
#[cfg(test)]
pub(super) fn log_posteriors(events: &[Event], length: f64, cell: CellGrid, params: &Params) -> Vec<f64> {
    let grid = EventGrid::new(events, length, cell, params);
    let structures = structures(cell.length, grid.cells(), params);
    scores(&grid, &Folds::new(&grid, &structures), &structures, params, params.present_length / length)
}

/// The posterior of the beats on a grid of cells.
pub(super) fn hear(events: &[Event], length: f64, cell: CellGrid, cuts: &[f64], params: &Params) -> GridPosterior {
    let grid = EventGrid::new(events, length, cell, params);
    let structures = structures(cell.length, grid.cells(), params);
    if structures.is_empty() {
        return GridPosterior::default();
    }
    let mut folds = Folds::new(&grid, &structures);
    let log = scores(&grid, &folds, &structures, params, params.present_length / length);
    let change = changing_pulse(&grid, &mut folds, length, cuts, &structures, &log, params);
    let probabilities = normalised(log.iter().copied().chain(change.iter().map(|c| c.0)));
    let mut posterior = summed(&grid, length, &structures, &probabilities);
    if let Some((_, candidate)) = change {
        posterior.candidates.push(Candidate { probability: probabilities[log.len()], ..candidate });
    }
    posterior
}

/// One beat with the probability of all its bars, cuts and weights, and the likeliest of them.
#[derive(Clone)]
struct Beat {
    probability: f64,
    best: f64,
    structure: usize,
    phase: usize,
}

fn summed(grid: &EventGrid, length: f64, structures: &[Structure], probabilities: &[f64]) -> GridPosterior {
    let mut cycles = vec![Vec::new(); structures.iter().map(|s| s.cycle + 1).max().unwrap_or(0)];
    let mut posterior = GridPosterior::default();
    let (mut rest, mut index) = (probabilities, 0);
    for same in structures.chunk_by(Structure::has_beat_of) {
        let none = Beat { probability: 0.0, best: -1.0, structure: 0, phase: 0 };
        let mut beats = vec![none; same[0].beat_length()];
        for s in same {
            let (of_structure, others) = rest.split_at(s.cycle);
            rest = others;
            if s.is_odd() {
                posterior.odd += of_structure.iter().sum::<f64>();
            }
            if s.head().is_some() {
                let sums = &mut cycles[s.cycle];
                sums.resize(s.cycle, 0.0);
                sums.iter_mut().zip(of_structure).for_each(|(sum, p)| *sum += p);
            }
            for (phase, &p) in of_structure.iter().enumerate() {
                let beat = &mut beats[phase % same[0].beat_length()];
                beat.probability += p;
                if p > beat.best {
                    (beat.best, beat.structure, beat.phase) = (p, index, phase);
                }
            }
            index += 1;
        }
        let likely = beats.iter().filter(|b| b.probability >= MIN_BEAT_PROBABILITY);
        posterior.candidates.extend(likely.map(|b| candidate(grid, length, &structures[b.structure], b)));
    }
    let cycle = |cycle: usize, phase: usize, probability: f64| Cycle {
        length: cycle as f64 * grid.cell.length,
        head: grid.seconds(phase),
        probability,
    };
    for (length, sums) in cycles.iter().enumerate() {
        let likely = sums.iter().enumerate().filter(|s| *s.1 >= MIN_CYCLE_PROBABILITY);
        posterior.cycles.extend(likely.map(|(phase, p)| cycle(length, phase, *p)));
    }
    posterior
}

fn candidate(grid: &EventGrid, length: f64, s: &Structure, beat: &Beat) -> Candidate {
    // The beats of one cycle from the loop's start, then cycle by cycle.
    let mut starts: Vec<usize> = s.starts().map(|start| (start + beat.phase) % s.cycle).collect();
    starts.sort_unstable();
    let pulses = Pulses::Cells { cell: grid.cell, starts, cycle: s.cycle, cells: grid.cells() };
    let sizes = s.sizes(beat.phase, 0);
    Candidate::steady(s.kind(), PulseOrigin::Grid, beat.probability, s.period, length, sizes, pulses)
}
