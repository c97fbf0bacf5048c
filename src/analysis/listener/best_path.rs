//! A pulse that changes: windows in which a hearing of its own is looked for, and the best path through the hearings.

use super::evidence::Event;
use super::lanes::{LANES, Lanes};
use super::params::{Params, ROUNDING};

const MAX_WINDOWS: usize = 16;
/// Most windows of a section.
const MAX_PER_SECTION: usize = 6;

/// Sections, each cut into parts of about the time a listener weighs.
pub(super) fn windows(length: f64, cuts: &[f64], params: &Params) -> Vec<(f64, f64)> {
    let mut edges: Vec<f64> = cuts.iter().copied().filter(|c| *c > 0.0 && *c < length).collect();
    edges.extend([0.0, length]);
    edges.sort_by(f64::total_cmp);
    edges.dedup_by(|a, b| *a - *b < length * 1e-9);
    let mut windows = Vec::new();
    for pair in edges.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let parts = (((to - from) / params.present_length + 1e-9) as usize).clamp(1, MAX_PER_SECTION);
        let step = (to - from) / parts as f64;
        windows.extend((0..parts).map(|i| (from + step * i as f64, from + step * (i + 1) as f64)));
    }
    windows.truncate(MAX_WINDOWS);
    windows
}

/// The whole loop and its windows as sets of events; none if the loop is too short for a change.
#[derive(Debug)]
pub(super) struct Windows {
    pub(super) length: f64,
    /// What the evidence of a set is multiplied with: the whole first.
    pub(super) scales: Vec<f64>,
    /// The set of an event beside the whole.
    of_event: Vec<Option<usize>>,
}

impl Windows {
    pub(super) fn new(events: &[Event], length: f64, cuts: &[f64], params: &Params) -> Self {
        let windows = windows(length, cuts, params);
        let mut scales = Vec::new();
        let mut of_event = vec![None; events.len()];
        if windows.len() > 1 {
            scales.push(params.present_length / length);
            for (from, to) in windows {
                let at = |t: f64| events.partition_point(|e| e.time < t - ROUNDING);
                if at(from) < at(to) {
                    of_event[at(from)..at(to)].fill(Some(scales.len()));
                    scales.push(params.present_length / (to - from));
                }
            }
        }
        Self { length, scales, of_event }
    }

    pub(super) fn count(&self) -> usize {
        self.scales.len()
    }

    /// Adds an event's shares to the sums of its sets.
    #[inline(always)]
    pub(super) fn add(&self, sums: &mut [[f64; LANES]], event: usize, shares: &Lanes) {
        let mut add = |set: usize| {
            for (sum, share) in sums[set].iter_mut().zip(shares) {
                *sum += f64::from(*share);
            }
        };
        add(0);
        self.of_event[event].into_iter().for_each(add);
    }
}

/// The best sequence of states where each change costs `change`, one more for the change at the loop's return: the state at every
/// place, and the score (Viterbi 1967). `shares` fills in each state's share of the log likelihood at a place, place by place.
pub(super) fn best_path(
    places: usize,
    states: usize,
    change: f64,
    mut shares: impl FnMut(usize, &mut [f32]),
) -> (Vec<usize>, f64) {
    let mut score = vec![0.0_f64; states];
    let mut row = vec![0.0_f32; states];
    // At each place, the best state before it and which states were entered from there.
    let mut from = vec![0_u16; places];
    let mut entered = vec![false; places * states];
    for place in 0..places {
        shares(place, &mut row);
        let best = argmax(&score);
        from[place] = best as u16;
        let jump = if place == 0 { f64::NEG_INFINITY } else { score[best] - change };
        let entered = &mut entered[place * states..][..states];
        for ((score, share), entered) in score.iter_mut().zip(&row).zip(entered) {
            *entered = jump > *score;
            *score = score.max(jump) + f64::from(*share);
        }
    }
    let mut state = argmax(&score);
    let total = score[state];
    let mut path = vec![state; places];
    for place in (1..places).rev() {
        if entered[place * states + state] {
            state = usize::from(from[place]);
        }
        path[place - 1] = state;
    }
    let returns = if path.first() == path.last() { 0.0 } else { change };
    (path, total - returns)
}

/// The first greatest.
pub(super) fn argmax(values: &[f64]) -> usize {
    let mut best = 0;
    for (i, v) in values.iter().enumerate() {
        if *v > values[best] {
            best = i;
        }
    }
    best
}

/// Where the `count` greatest are, greatest first, of equal ones the first first.
pub(super) fn best(values: impl Iterator<Item = f64>, count: usize) -> Vec<usize> {
    let mut kept: Vec<(f64, usize)> = Vec::with_capacity(count + 1);
    for (i, value) in values.enumerate() {
        if kept.len() < count || value > kept[count - 1].0 {
            kept.insert(kept.partition_point(|k| k.0 >= value), (value, i));
            kept.truncate(count);
        }
    }
    kept.into_iter().map(|k| k.1).collect()
}

/// Neighbouring places of one state in a path.
pub(super) struct StateRun {
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) state: usize,
}

pub(super) fn runs(path: &[usize]) -> Vec<StateRun> {
    let mut from = 0;
    let run = |places: &[usize]| {
        let to = from + places.len();
        StateRun { from: std::mem::replace(&mut from, to), to, state: places[0] }
    };
    path.chunk_by(|a, b| a == b).map(run).collect()
}
