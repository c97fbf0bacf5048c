//! The grid's posterior by its formula, cell by cell, against the folded sums.

use super::super::cell::CellGrid;
use super::super::evidence::Event;
use super::super::grid_posterior::{self, log_posteriors};
use super::super::stretches::Intervals;
use super::super::structure::structures;
use super::*;

/// The log posterior of every structure at every phase, summed over the cells one by one.
fn slow(events: &[Event], length: f64, cell: CellGrid, params: &Params) -> Vec<f64> {
    let cells = (length / cell.length).round() as usize;
    let mut weights = vec![0.0; cells];
    for e in events {
        weights[((e.time - cell.origin) / cell.length).round() as usize % cells] += e.weight;
    }
    let first = ((events[0].time - cell.origin) / cell.length).round() as usize % cells;
    let mut all = Vec::new();
    for s in structures(cell.length, cells, params) {
        for phase in 0..s.cycle {
            let place = |i: usize| (i + s.cycle - phase) % s.cycle;
            let density: Vec<f64> = (0..cells).map(|i| s.weight(place(i), params)).collect();
            let mean = density.iter().sum::<f64>() / cells as f64;
            let mut log = 0.0;
            for i in 0..cells {
                log += weights[i] * (density[i] / mean).ln();
                if weights[i] == 0.0 && s.is_beat(place(i)) {
                    log -= params.silent_beat_cost;
                }
            }
            if !cells.is_multiple_of(s.cycle) {
                log -= params.change_cost;
            }
            let on_first = if s.is_beat(place(first)) { params.first_beat_bonus } else { 0.0 };
            all.push(log * params.present_length / length + s.prior + on_first);
        }
    }
    all
}

#[test]
fn folded_sums_are_the_formula() {
    let params = Params::default();
    let mut seed = 12345_u32;
    for cells in [7, 8, 13, 16, 24, 31] {
        let cell = CellGrid { length: 0.2, origin: 0.0 };
        let events: Vec<Event> = (0..cells)
            .filter_map(|i| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (i == 2 || seed >> 28 < 7)
                    .then(|| Event { time: f64::from(i) * 0.2, weight: 0.4 + f64::from(seed >> 24 & 7) / 4.0 })
            })
            .collect();
        let length = f64::from(cells) * 0.2;
        let (fast, slow) = (log_posteriors(&events, length, cell, &params), slow(&events, length, cell, &params));
        assert_eq!(fast.len(), slow.len());
        for (a, b) in fast.iter().zip(&slow) {
            assert!((a - b).abs() < 1e-9, "{cells} {a} {b}");
        }
        let posterior = grid_posterior::hear(&events, length, cell, &[], &params);
        let sum: f64 = posterior.candidates.iter().map(|c| c.probability).sum();
        // Beats too unlikely to be told are left out.
        assert!(sum > 0.995 && sum < 1.0 + 1e-9, "{sum}");
    }
}

#[test]
fn the_cut_into_stretches_is_the_cheapest_of_all() {
    let mut random = super::invariance::Random(77_345_112_357);
    for _ in 0..60 {
        let n = 3 + random.below(8);
        let mut pulses = vec![0.0];
        for _ in 0..n {
            pulses.push(pulses[pulses.len() - 1] + 0.3 + 0.1 * random.below(4) as f64);
        }
        let intervals = Intervals::new(pulses);
        let total = |edges: &[usize]| edges.windows(2).map(|e| 8.0 + intervals.cost(e[0], e[1])).sum::<f64>();
        let every = (0..1_usize << (n - 1)).map(|mask| {
            let mut edges: Vec<usize> = std::iter::once(0).chain((1..n).filter(|i| mask >> (i - 1) & 1 == 1)).collect();
            edges.push(n);
            total(&edges)
        });
        let (found, least) = (total(&intervals.cheapest(128)), every.fold(f64::INFINITY, f64::min));
        assert!((found - least).abs() < 1e-6, "{found} {least}");
    }
}
