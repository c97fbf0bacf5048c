//! The stretches of a hearing that follows the attacks: its own pulse intervals cut where their mean changes.
//!
//! A stretch costs `STRETCH_PRICE + sum of (interval - mean)^2 / (2 sigma^2)`, and the cut of least total cost is found over all cuts by
//! dynamic programming. `sigma` is what neighbouring intervals differ by (von Neumann 1941), so that the steps of a figure count as
//! its own unevenness and a change of tempo does not; it is at least the noise floor. Neighbours nobody could tell apart are one.

use super::hypothesis::{Candidate, Piece, PulseKind, Pulses};
use crate::analysis::limits;

/// Price of a stretch in nats: its tempo and its place, each worth knowing to about one part in fifty (ours, no source).
const STRETCH_PRICE: f64 = 8.0;
/// Intervals that differ by less, in seconds, are the same.
const INTERVAL_TOLERANCE: f64 = 1e-6;
/// Most pulses in a stretch before neighbours are joined.
const MAX_WINDOW: usize = 128;
/// Smallest difference of two tempos that makes two stretches, as a share: the cautious end of the limen.
const MIN_CHANGE: f64 = limits::TEMPO_CHANGE.high / 100.0;

/// Sums of the intervals and of their squares up to each pulse.
pub(super) struct Intervals {
    pulses: Vec<f64>,
    squares: Vec<f64>,
    variance: f64,
}

impl Intervals {
    /// Intervals between pulses; the last of these is the loop's return.
    pub(super) fn new(pulses: Vec<f64>) -> Self {
        let gaps: Vec<f64> = pulses.windows(2).map(|w| w[1] - w[0]).collect();
        let mut squares = vec![0.0];
        squares.extend(gaps.iter().scan(0.0, |sum, g| {
            *sum += g * g;
            Some(*sum)
        }));
        let mean = gaps.iter().sum::<f64>() / gaps.len().max(1) as f64;
        let floor = (limits::NOISE.value / 100.0 * mean).powi(2);
        let differences: f64 = gaps.windows(2).map(|w| (w[1] - w[0]).powi(2)).sum();
        let variance = (differences / (2.0 * gaps.len().saturating_sub(1).max(1) as f64)).max(floor);
        Self { pulses, squares, variance }
    }

    fn len(&self) -> usize {
        self.pulses.len() - 1
    }

    fn mean(&self, from: usize, to: usize) -> f64 {
        (self.pulses[to] - self.pulses[from]) / (to - from) as f64
    }

    /// Cost of a stretch without its price.
    pub(super) fn cost(&self, from: usize, to: usize) -> f64 {
        let squares = self.squares[to] - self.squares[from];
        let sum = self.pulses[to] - self.pulses[from];
        (squares - sum * sum / (to - from) as f64).max(0.0) / (2.0 * self.variance)
    }

    /// Where the cheapest cut into stretches of at most `window` intervals starts each, and the end. Of cuts that cost the same the
    /// one with long stretches first.
    pub(super) fn cheapest(&self, window: usize) -> Vec<usize> {
        let n = self.len();
        let mut best = vec![f64::INFINITY; n + 1];
        let mut back = vec![0; n + 1];
        best[0] = 0.0;
        let twice = 2.0 * self.variance;
        for to in 1..=n {
            let (mut least, mut start) = (f64::INFINITY, 0);
            let first = to.saturating_sub(window);
            let starts = best[first..to].iter().zip(&self.squares[first..to]).zip(&self.pulses[first..to]);
            for (from, ((best, square), pulse)) in (first..to).zip(starts) {
                // The sums say without a division, and with room for rounding, that most stretches cost too much.
                let (sum, count) = (self.pulses[to] - pulse, (to - from) as f64);
                let room = (least - best - STRETCH_PRICE + 1e-6) * twice;
                if ((self.squares[to] - square) * (1.0 - 1e-12) - room) * count > sum * sum {
                    continue;
                }
                let cost = best + self.cost(from, to) + STRETCH_PRICE;
                if cost < least - 1e-9 {
                    (least, start) = (cost, from);
                }
            }
            (best[to], back[to]) = (least, start);
        }
        let mut edges = vec![n];
        while edges[edges.len() - 1] > 0 {
            edges.push(back[edges[edges.len() - 1]]);
        }
        edges.reverse();
        edges
    }
}

/// Cuts the pulses of a hearing that follows attacks into stretches; its kind and tempo become those of the cut.
pub(super) fn cut(candidate: &mut Candidate, length: f64) {
    let mut pulses: Vec<f64> = candidate.times().into_owned();
    pulses.dedup_by(|a, b| *a - *b < 1e-9);
    let n = pulses.len();
    if n < 3 {
        return;
    }
    pulses.push(pulses[0] + length);
    let repeat = repeat_length(&pulses);
    let repeated = Intervals::new(pulses[..=repeat].to_vec());
    let edges = repeated.cheapest(MAX_WINDOW);
    let again = |k: usize| edges[..edges.len() - 1].iter().map(move |e| e + k * repeat);
    let mut edges: Vec<usize> = (0..n / repeat).flat_map(again).chain([n]).collect();
    let intervals = Intervals::new(pulses);
    join(&mut edges, |a, b, c| intervals.cost(a, c) <= intervals.cost(a, b) + intervals.cost(b, c) + STRETCH_PRICE);
    join(&mut edges, |a, b, c| (intervals.mean(a, b) / intervals.mean(b, c)).ln().abs() < MIN_CHANGE);
    let pulses = &intervals.pulses;
    let pieces = edges
        .windows(2)
        .map(|e| Piece {
            start: if e[0] == 0 { 0.0 } else { pulses[e[0]] },
            end: if e[1] == n { length } else { pulses[e[1]] },
            kind: PulseKind::Average,
            period: intervals.mean(e[0], e[1]),
            sizes: Vec::new(),
            pulses: Pulses::at(pulses[e[0]..e[1]].to_vec()),
        })
        .collect();
    if edges.len() > 2 {
        *candidate = Candidate { probability: candidate.probability, ..Candidate::changing(candidate.origin, pieces) };
    } else {
        (candidate.kind, candidate.pieces) = (PulseKind::Average, pieces);
    }
}

/// The least number of intervals after which all of them come again, so that a repeat inside the loop costs nothing.
fn repeat_length(pulses: &[f64]) -> usize {
    let gaps: Vec<f64> = pulses.windows(2).map(|w| w[1] - w[0]).collect();
    let repeats = |d: usize| gaps.iter().zip(&gaps[d..]).all(|(a, b)| (a - b).abs() < INTERVAL_TOLERANCE);
    (2..gaps.len()).find(|d| gaps.len().is_multiple_of(*d) && repeats(*d)).unwrap_or(gaps.len())
}

/// Takes away edges between neighbours that are one, until there is none.
fn join(edges: &mut Vec<usize>, one: impl Fn(usize, usize, usize) -> bool) {
    let mut i = 1;
    while i + 1 < edges.len() {
        if one(edges[i - 1], edges[i], edges[i + 1]) {
            edges.remove(i);
            i = i.saturating_sub(1).max(1);
        } else {
            i += 1;
        }
    }
}
