//! Fits a number of beats between two marks.
//!
//! Somebody marks two beats of a recording, some hundredths of a second off, and says how many beats lie between. Both marks are
//! moved about on a grid, with even beats between them, until the onsets stand on beats or on halves, thirds or fourths of them:
//! ```text
//! sum over onsets of w ln(0.85 f normal(e; s) c + 0.15) - (a^2 + b^2) / (2 m^2) - cost of the division
//! ```
//! with `e` the distance of an onset from its cell of length `c`, `f` more on beats than between, `w` the strength, and `a` and `b`
//! how far the marks move, which people place with a standard deviation of `m`. Then the beats bend to the onsets on cells (see
//! [`crate::recording::fit::fit_map`]). Ours, no source.

use std::f64::consts::TAU;

use crate::recording::fit::clock::{FitOptions, FitPoint, fit_map};
use crate::recording::fit::onset::{Onset, clipped_strengths};

/// Standard deviation of a mark in seconds (ours, no source).
pub(super) const MARK_SIGMA: f64 = 0.045;
/// Marks are moved by so many standard deviations, or this fraction of a beat, at most (ours, no source).
const MAX_MOVE_SIGMAS: f64 = 2.5;
const MAX_MOVE_BEATS: f64 = 0.3;
/// Beats that bend to the onsets keep their ends within so many times that move (ours, no source).
const MAX_BENT_MOVES: f64 = 1.2;
/// Steps of the grid, first and last, in seconds.
const COARSE: f64 = 0.012;
const FINE: f64 = 0.003;
/// Cells per beat and their costs in nats (ours, no source).
pub(super) const DIVISIONS: [(u32, f64); 4] = [(1, 0.0), (2, 0.3), (3, 1.5), (4, 0.8)];
/// Shortest cell in seconds (ours, no source).
pub(super) const MIN_CELL: f64 = 0.07;
/// Standard deviations of an onset that are tried, in seconds, and their largest fraction of a cell (ours, no source).
pub(super) const SIGMAS: [f64; 2] = [0.012, 0.020];
pub(super) const MAX_SIGMA_SHARE: f64 = 0.25;
/// Share of onsets that stand on cells (ours, no source).
pub(super) const ON_GRID: f64 = 0.85;
/// How much more likely an onset is on a beat (ours, no source).
pub(super) const BEAT_FACTOR: f64 = 1.5;
/// Marks farther apart than this in either end are another reading, in seconds (ours, no source).
const OTHER: f64 = 0.035;
/// Another reading nearer than this in nats leaves it open (ours, no source).
const MIN_GAP: f64 = 4.0;
/// Onsets below which the marks stand alone.
const MIN_ONSETS: usize = 4;
/// Onsets outside the marks by this fraction of a beat still count (ours, no source).
const OUTSIDE: f64 = 0.3;
/// Change of a beat's length, as a fraction of it (ours, no source).
const SMOOTHNESS: f64 = 0.003;
/// Onsets nearer to a cell than this, in seconds, hold the beats (ours, no source).
const MIN_REACH: f64 = 0.020;
const BOUNDS_OF_SIGMA: (f64, f64) = (0.006, 0.030);
const ROUNDS: usize = 4;

/// Beats from one mark to the other.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkedBeats {
    /// Seconds of the beats, both marked ones included.
    pub beats: Vec<f64>,
    /// Seconds by which the first and the last mark moved.
    pub moved: [f64; 2],
    /// Standard deviation of the onsets about their cells, in seconds; `None` if too few hold the beats.
    pub sigma: Option<f64>,
    /// Cells per beat the onsets stand on.
    pub division: u32,
}

/// What two marks and a number of beats give.
#[derive(Debug, Clone, PartialEq)]
pub struct MarksFit {
    /// The beats that fit best.
    pub best: MarkedBeats,
    /// Even beats between the marks as they are.
    pub unmoved: Vec<f64>,
    /// The best fit with either mark elsewhere, and by how many nats it fits worse.
    pub second: Option<(MarkedBeats, f64)>,
    /// Another number of beats that fits better, and by how many nats.
    pub other_count: Option<(usize, f64)>,
    /// Whether even beats between the marks do not lead to the onsets, because the tempo changes: the marks stay.
    pub is_uneven: bool,
}

impl MarksFit {
    /// Whether the marks should stay where they are until somebody chooses: too few onsets, or two readings as good.
    pub fn is_ambiguous(&self) -> bool {
        self.best.sigma.is_none() || self.second.as_ref().is_some_and(|(_, gap)| *gap < MIN_GAP)
    }
}

/// An onset near the marks.
#[derive(Debug, Clone, Copy)]
struct Weighted {
    seconds: f64,
    weight: f64,
}

/// A place of the grid.
#[derive(Debug, Clone, Copy)]
struct Grid {
    score: f64,
    moved: [f64; 2],
    division: u32,
    sigma: f64,
}

impl Grid {
    fn is_other(&self, than: &Self) -> bool {
        self.moved.iter().zip(&than.moved).any(|(a, b)| (a - b).abs() > OTHER)
    }
}

/// Fits `count` beats between two marks, given in seconds. `None` if the marks are not in order or there are no beats.
pub fn fit_marks(onsets: &[Onset], marks: [f64; 2], count: usize) -> Option<MarksFit> {
    let period = (marks[1] - marks[0]) / count as f64;
    if count == 0 || !period.is_finite() || period <= 0.0 {
        return None;
    }
    let near = near(onsets, marks, period);
    let even = evenly(marks, count);
    let grids = if near.len() < MIN_ONSETS { Vec::new() } else { search(&near, marks, count) };
    let Some(best) = grids.first() else {
        let best = MarkedBeats { beats: even.clone(), moved: [0.0; 2], sigma: None, division: 1 };
        return Some(MarksFit { best, unmoved: even, second: None, other_count: None, is_uneven: false });
    };
    let best_beats = bent(&near, marks, count, best);
    if best_beats.moved.iter().any(|m| m.abs() > MAX_BENT_MOVES * max_move(period)) {
        let best = MarkedBeats { beats: even.clone(), moved: [0.0; 2], sigma: None, division: 1 };
        return Some(MarksFit { best, unmoved: even, second: None, other_count: None, is_uneven: true });
    }
    let second = grids.iter().find(|g| g.is_other(best));
    let mut other_count: Option<(usize, f64)> = None;
    // Twice as many fit better wherever there are eighths.
    for other in [count.saturating_sub(1), count + 1, count / 2] {
        let is_whole = other != count / 2 || count.is_multiple_of(2);
        if other == 0 || !is_whole {
            continue;
        }
        let gain = search(&near, marks, other).first().map_or(f64::NEG_INFINITY, |g| g.score) - best.score;
        if gain > other_count.map_or(MIN_GAP, |(_, g)| g) {
            other_count = Some((other, gain));
        }
    }
    Some(MarksFit {
        second: second.map(|g| (bent(&near, marks, count, g), best.score - g.score)),
        best: best_beats,
        unmoved: even,
        other_count,
        is_uneven: false,
    })
}

fn evenly(marks: [f64; 2], count: usize) -> Vec<f64> {
    (0..=count).map(|i| marks[0] + (marks[1] - marks[0]) * i as f64 / count as f64).collect()
}

/// Onsets between the marks and a little outside; loud and low ones have more weight.
fn near(onsets: &[Onset], marks: [f64; 2], period: f64) -> Vec<Weighted> {
    let range = marks[0] - OUTSIDE * period..marks[1] + OUTSIDE * period;
    let weighted = |(o, w): (&Onset, f64)| {
        let bands: f64 = o.bands().iter().sum();
        let low = if bands > 0.0 { o.low / bands } else { 0.0 };
        Weighted { seconds: o.seconds, weight: w * (0.8 + 0.6 * low) }
    };
    let weights = clipped_strengths(onsets, 0.3, 2.0);
    onsets.iter().zip(weights).filter(|(o, _)| range.contains(&o.seconds)).map(weighted).collect()
}

/// Seconds by which a mark is moved at most.
fn max_move(period: f64) -> f64 {
    (MAX_MOVE_SIGMAS * MARK_SIGMA).min(MAX_MOVE_BEATS * period)
}

/// The best grid of every pair of moves, best first; the best ones refined.
fn search(onsets: &[Weighted], marks: [f64; 2], count: usize) -> Vec<Grid> {
    let period = (marks[1] - marks[0]) / count as f64;
    let steps = (max_move(period) / COARSE) as i32;
    let mut grids = Vec::new();
    for (division, cost) in DIVISIONS {
        let cell = period / f64::from(division);
        for sigma in SIGMAS.into_iter().filter(|s| *s <= MAX_SIGMA_SHARE * cell && cell >= MIN_CELL) {
            for i in -steps..=steps {
                for j in -steps..=steps {
                    let moved = [f64::from(i) * COARSE, f64::from(j) * COARSE];
                    let score = evidence(onsets, marks, count, moved, division, sigma) - cost;
                    grids.push(Grid { score, moved, division, sigma });
                }
            }
        }
    }
    grids.sort_by(|a, b| b.score.total_cmp(&a.score));
    let Some(mut best) = grids.first().copied() else {
        return grids;
    };
    let mut second = grids.iter().find(|g| g.is_other(&best)).copied();
    refine(onsets, marks, count, &mut best);
    if let Some(second) = &mut second {
        refine(onsets, marks, count, second);
    }
    let mut refined: Vec<Grid> = std::iter::once(best).chain(second).collect();
    refined.sort_by(|a, b| b.score.total_cmp(&a.score));
    refined
}

/// Climbs to the best place nearby.
fn refine(onsets: &[Weighted], marks: [f64; 2], count: usize, grid: &mut Grid) {
    let cost = DIVISIONS.iter().find(|(d, _)| *d == grid.division).map_or(0.0, |(_, c)| *c);
    let mut step = COARSE / 2.0;
    while step >= FINE {
        let from = grid.moved;
        for (i, j) in (-1..=1).flat_map(|i| (-1..=1).map(move |j| (i, j))) {
            let moved = [from[0] + f64::from(i) * step, from[1] + f64::from(j) * step];
            let score = evidence(onsets, marks, count, moved, grid.division, grid.sigma) - cost;
            if score > grid.score {
                *grid = Grid { score, moved, ..*grid };
            }
        }
        step /= 2.0;
    }
}

fn evidence(onsets: &[Weighted], marks: [f64; 2], count: usize, moved: [f64; 2], division: u32, sigma: f64) -> f64 {
    let start = marks[0] + moved[0];
    let cells = (count as u32 * division) as f64;
    let per_cell = (marks[1] + moved[1] - start) / cells;
    let height = ON_GRID * per_cell / (sigma * TAU.sqrt());
    let between = if division > 1 { 1.0 - 0.5 / f64::from(division - 1) } else { BEAT_FACTOR };
    let mut sum = 0.0;
    for o in onsets {
        let place = (o.seconds - start) / per_cell;
        let cell = place.round();
        let error = (place - cell) * per_cell / sigma;
        let factor = if (cell as i64).rem_euclid(i64::from(division)) == 0 { BEAT_FACTOR } else { between };
        sum += o.weight * (height * factor * (-0.5 * error * error).exp() + 1.0 - ON_GRID).ln();
    }
    sum - moved.iter().map(|m| m * m).sum::<f64>() / (2.0 * MARK_SIGMA * MARK_SIGMA)
}

/// Bends the beats of a grid to the onsets on its cells.
fn bent(onsets: &[Weighted], marks: [f64; 2], count: usize, grid: &Grid) -> MarkedBeats {
    let even = evenly([marks[0] + grid.moved[0], marks[1] + grid.moved[1]], count);
    let holds = [(0.0, marks[0]), (count as f64, marks[1])];
    let seconds: Vec<f64> = onsets.iter().map(|o| o.seconds).collect();
    let Bent { beats, sigma } = bend(&seconds, even, &holds, grid.division, grid.sigma);
    let moved = [beats[0] - marks[0], beats[count] - marks[1]];
    MarkedBeats { beats, moved, sigma, division: grid.division }
}

/// Beats that were bent to onsets.
pub(super) struct Bent {
    pub(super) beats: Vec<f64>,
    /// Standard deviation of the onsets about their cells; `None` if too few hold the beats.
    pub(super) sigma: Option<f64>,
}

/// Bends beats to the onsets on their cells, and, weakly, to the places where somebody marked or tapped them.
pub(super) fn bend(onsets: &[f64], mut beats: Vec<f64>, holds: &[(f64, f64)], division: u32, mut sigma: f64) -> Bent {
    let count = beats.len() - 1;
    let period = (beats[count] - beats[0]) / count as f64;
    let division = f64::from(division);
    let margin = 0.5 * period / division;
    let mut held = None;
    for _ in 0..ROUNDS {
        let mut points = Vec::new();
        for &seconds in onsets {
            if seconds < beats[0] - margin || seconds > beats[count] + margin {
                continue;
            }
            let place = place(&beats, seconds);
            let cell = (place * division).round() / division;
            let is_near = ((place - cell) * period).abs() < (3.0 * sigma).max(MIN_REACH);
            if is_near && (0.0..=count as f64).contains(&cell) {
                points.push(FitPoint { position: cell, seconds, weight: 1.0 });
            }
        }
        if points.len() < MIN_ONSETS - 1 {
            break;
        }
        let weight = (sigma / MARK_SIGMA).powi(2);
        points.extend(holds.iter().map(|&(position, seconds)| FitPoint { position, seconds, weight }));
        let Some(fit) = fit_map(&points, count, FitOptions { sigma, smoothness: SMOOTHNESS, rounds: ROUNDS }) else {
            break;
        };
        if fit.knots.windows(2).any(|k| k[1] <= k[0]) {
            break;
        }
        beats = fit.knots;
        sigma = fit.sigma.clamp(BOUNDS_OF_SIGMA.0, BOUNDS_OF_SIGMA.1);
        held = Some(sigma);
    }
    Bent { beats, sigma: held }
}

/// Place among beats, whole on each of them; before the first and after the last the nearest length goes on.
pub(super) fn place(beats: &[f64], seconds: f64) -> f64 {
    let i = beats.partition_point(|b| *b <= seconds).saturating_sub(1).min(beats.len() - 2);
    i as f64 + (seconds - beats[i]) / (beats[i + 1] - beats[i])
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn onsets(seconds: impl Iterator<Item = f64>) -> Vec<Onset> {
        seconds
            .map(|seconds| Onset { seconds, strength: 1.0, low: 0.5, mid: 0.3, high: 0.2, ..Onset::default() })
            .collect()
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(40))]

        /// Quarters and eighths at a slightly changing tempo: rough marks come to the beats.
        #[test]
        fn rough_marks_move_to_the_beats(
            period in 0.42..0.8f64,
            drift in -0.0008..0.0008f64,
            off in [-0.05..0.05f64, -0.05..0.05f64],
            count in 6..20usize,
        ) {
            let at = |beat: f64| 3.0 + period * beat * (1.0 + drift * beat);
            // Eighths after every other beat: cells between the beats are not as full as the beats.
            let strokes = (0..=2 * count).filter(|i| i % 4 != 1).map(|i| at(i as f64 / 2.0));
            let fit = fit_marks(&onsets(strokes), [at(0.0) + off[0], at(count as f64) + off[1]], count);
            let fit = fit.expect("marks in order");
            for (i, beat) in fit.best.beats.iter().enumerate() {
                prop_assert!((beat - at(i as f64)).abs() < 0.005, "beat {i}: expected {}, found {beat}", at(i as f64));
            }
        }
    }

    #[test]
    fn few_onsets_leave_the_marks() {
        let fit = fit_marks(&onsets([1.0, 2.0].into_iter()), [1.0, 3.0], 4).expect("marks in order");
        assert_eq!(fit.best.beats, vec![1.0, 1.5, 2.0, 2.5, 3.0]);
        assert!(fit.is_ambiguous());
        assert_eq!(fit_marks(&[], [3.0, 1.0], 4), None);
        assert_eq!(fit_marks(&[], [1.0, 3.0], 0), None);
    }

    #[test]
    fn a_tempo_that_changes_too_much_leaves_the_marks() {
        // Quarters of sixteenths in groups of seven that slow down by 6 % over 64 beats.
        let at = |beat: f64| 3.5 + 0.6 * beat * (1.0 + 0.0009 * beat);
        let cells = (0..).map(|i| i * 7).flat_map(|i| [i, i + 2, i + 4]).take_while(|c| *c <= 256);
        let fit = fit_marks(&onsets(cells.map(|c| at(f64::from(c) / 4.0))), [at(0.0), at(64.0)], 64).expect("marks");
        let ends = [fit.best.beats[0] - at(0.0), fit.best.beats[64] - at(64.0)];
        assert!(ends.iter().all(|e| e.abs() < 0.05), "{ends:?} {}", fit.is_uneven);
    }

    #[test]
    fn marks_between_two_strokes_leave_it_open() {
        // Strokes on both sides of either mark, all alike.
        let strokes = (0..=40).flat_map(|i| [f64::from(i) * 0.5 - 0.05, f64::from(i) * 0.5 + 0.05]);
        let fit = fit_marks(&onsets(strokes), [1.0, 9.0], 16).expect("marks in order");
        assert!(fit.is_ambiguous());
    }

    #[test]
    fn a_wrong_number_of_beats_is_noticed() {
        let strokes = (0..=17).map(|i| 1.0 + f64::from(i) * 0.5);
        let fit = fit_marks(&onsets(strokes), [1.0, 9.5], 16).expect("marks in order");
        assert_eq!(fit.other_count.map(|(n, _)| n), Some(17));
        let right = fit_marks(&onsets((0..=16).map(|i| 1.0 + f64::from(i) * 0.5)), [1.0, 9.0], 16).expect("in order");
        assert_eq!(right.other_count, None);
    }
}
