//! A pulse that changes: windows in which a hearing of its own is looked for, and the best sequence of hearings.

use super::params::Params;

/// Most windows.
const MOST_WINDOWS: usize = 16;
/// Most windows a section is cut into.
const MOST_PER_SECTION: usize = 6;

/// Sections, each cut into parts of about the time a listener weighs.
pub(super) fn windows(length: f64, cuts: &[f64], params: &Params) -> Vec<(f64, f64)> {
    let mut edges: Vec<f64> = cuts.iter().copied().filter(|c| *c > 0.0 && *c < length).collect();
    edges.extend([0.0, length]);
    edges.sort_by(f64::total_cmp);
    edges.dedup_by(|a, b| *a - *b < length * 1e-9);
    let mut windows = Vec::new();
    for pair in edges.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let parts = (((to - from) / params.present + 1e-9) as usize).clamp(1, MOST_PER_SECTION);
        let step = (to - from) / parts as f64;
        windows.extend((0..parts).map(|i| (from + step * i as f64, from + step * (i + 1) as f64)));
    }
    windows.truncate(MOST_WINDOWS);
    windows
}

/// The best sequence of states where each change costs `change`, one more for the change at the loop's return: the state at
/// every place, and the score (Viterbi 1967). `rows[state][place]` is a state's share of the log likelihood at a place.
pub(super) fn best_path(rows: &[Vec<f32>], change: f64) -> (Vec<usize>, f64) {
    let places = rows.first().map_or(0, Vec::len);
    if places == 0 {
        return (Vec::new(), f64::NEG_INFINITY);
    }
    let mut score: Vec<f64> = rows.iter().map(|r| f64::from(r[0])).collect();
    // At each place, the best state before it and which states were entered from there.
    let mut from = vec![0_u16; places];
    let mut entered = vec![false; places * rows.len()];
    for place in 1..places {
        let best = argmax(&score);
        let jump = score[best] - change;
        from[place] = best as u16;
        for (state, row) in rows.iter().enumerate() {
            if jump > score[state] {
                score[state] = jump;
                entered[place * rows.len() + state] = true;
            }
            score[state] += f64::from(row[place]);
        }
    }
    let mut state = argmax(&score);
    let total = score[state];
    let mut path = vec![state; places];
    for place in (1..places).rev() {
        if entered[place * rows.len() + state] {
            state = usize::from(from[place]);
        }
        path[place - 1] = state;
    }
    let returns = if path[0] == path[places - 1] { 0.0 } else { change };
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

/// Runs of one state in a path, as start, end and state.
pub(super) fn runs(path: &[usize]) -> Vec<(usize, usize, usize)> {
    let mut at = 0;
    path.chunk_by(|a, b| a == b)
        .map(|run| {
            let from = at;
            at += run.len();
            (from, at, run[0])
        })
        .collect()
}
