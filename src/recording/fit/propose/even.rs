//! Even beats: every length, phase, bar and downbeat on the cells.

use super::Excerpt;
use super::cells::{Cells, fold};
use super::hypothesis::{
    BEAT, BEATS, CUT, Cycle, Hypothesis, LOW_HEAD, REPETITION, REST, Reading, beginning, preference,
};

/// Longest bar in seconds.
const LONGEST_BAR: f64 = 6.0;
/// Beats a bar may have.
const BARS: [usize; 6] = [2, 3, 4, 5, 6, 7];
/// Cost of a three, as bar or as cut, in nats.
const THREE: f64 = 0.7;
/// Cost of a bar of more than four beats, and of beats of a number of cells that no usual division has.
const ODD: f64 = 1.4;
/// Cells per beat that no usual division has.
const ODD_CELLS: [usize; 6] = [5, 7, 10, 11, 13, 14];
/// Cost of a beat without cuts that has cells, of a beat cut long and short, and of a bar of two.
const UNCUT: f64 = 0.2;
const LONG_SHORT: f64 = 0.5;
const TWO: f64 = 0.3;
/// What a bar of six has to repeat better than one of three.
const SIX: f64 = 0.15;
/// Weight of strokes on the downbeat against the other beats.
const HEAD: f64 = 2.0;
/// Weight of middle strokes on the second and fourth beat.
const BACKBEAT: f64 = 1.0;

/// All even readings of the cells.
pub(super) fn hypotheses(cells: &Cells, excerpt: Excerpt, found: &mut Vec<Hypothesis>) {
    let beginning = beginning(excerpt);
    for count in 1..=(BEATS.1 / cells.length) as usize {
        let beat = count as f64 * cells.length;
        if beat < BEATS.0 {
            continue;
        }
        let mut phases = phases(cells, count);
        if ODD_CELLS.contains(&count) {
            for score in &mut phases {
                *score -= ODD;
            }
        }
        for bar in BARS {
            if bar * count > cells.longest_cycle() || bar as f64 * beat > LONGEST_BAR {
                continue;
            }
            bars(cells, count, bar, &phases, beginning, found);
        }
    }
}

/// The best score over all cuts of a beat of `count` cells, per phase.
fn phases(cells: &Cells, count: usize) -> Vec<f64> {
    let cycle = Cycle::new(cells, count);
    let mut best = vec![f64::NEG_INFINITY; count];
    for cut in cuts(count) {
        let mut expected = vec![REST; count];
        for &position in &cut.positions {
            expected[position] = CUT;
        }
        expected[0] = BEAT;
        for (best, score) in best.iter_mut().zip(cycle.likelihoods(&expected, &[0])) {
            *best = best.max(score - cut.cost);
        }
    }
    best
}

/// Positions inside a beat that are as usual as its cuts, at a cost.
struct Cut {
    positions: Vec<usize>,
    cost: f64,
}

/// The cuts of a beat of `count` cells: whole, in two, three, four, and long and short.
fn cuts(count: usize) -> Vec<Cut> {
    let mut cuts = vec![Cut { positions: Vec::new(), cost: if count > 1 { UNCUT } else { 0.0 } }];
    for parts in 2..=4 {
        if count.is_multiple_of(parts) {
            let positions = (1..parts).map(|part| part * count / parts).collect();
            cuts.push(Cut { positions, cost: if parts == 3 { THREE } else { 0.0 } });
        }
    }
    if count.is_multiple_of(3) && count <= 6 {
        cuts.push(Cut { positions: vec![2 * count / 3], cost: LONG_SHORT });
    }
    cuts
}

/// The readings with `bar` beats of `count` cells in a bar: every phase and every downbeat.
fn bars(cells: &Cells, count: usize, bar: usize, phases: &[f64], beginning: f64, found: &mut Vec<Hypothesis>) {
    let cycle = count * bar;
    let (low, mid, weight) = (fold(&cells.low, cycle), fold(&cells.mid, cycle), fold(&cells.weight, cycle));
    let beats = bar as f64;
    let length = count as f64 * cells.length;
    let same_for_all = REPETITION * (cells.repetition[cycle] - if bar == 6 { SIX } else { 0.0 }) + preference(length)
        - 0.5 * (cycle as f64).ln()
        - if bar == 3 { THREE } else { 0.0 }
        - if bar > 4 { ODD } else { 0.0 }
        - if bar == 2 { TWO } else { 0.0 };
    for (phase, score) in phases.iter().enumerate() {
        let on_beat = |values: &[f64], beat: usize| values[phase + beat % bar * count];
        let low_sum: f64 = (0..bar).map(|beat| on_beat(&low, beat)).sum();
        let weight_sum: f64 = (0..bar).map(|beat| on_beat(&weight, beat)).sum();
        for downbeat in 0..bar {
            let low_head = on_beat(&low, downbeat) * beats - low_sum;
            let head = on_beat(&weight, downbeat) / weight_sum.max(1e-9) * beats - 1.0;
            let mut score = score + same_for_all + LOW_HEAD * low_head + 0.5 * HEAD * head;
            if bar == 2 || bar == 4 {
                let backbeat: f64 =
                    (0..bar).map(|beat| on_beat(&mid, downbeat + beat) * if beat % 2 == 1 { 1.0 } else { -1.0 }).sum();
                score += 2.0 * BACKBEAT * backbeat;
            }
            let before = cells.first + cycle - (phase + downbeat * count);
            score += 0.5 * beginning * f64::from(u8::from(before.is_multiple_of(count)));
            score += 0.5 * beginning * f64::from(u8::from(before.is_multiple_of(cycle)));
            let reading = Reading::Even { cells: count, bar, downbeat };
            found.push(Hypothesis { score, phase: phase as f64, reading });
        }
    }
}
