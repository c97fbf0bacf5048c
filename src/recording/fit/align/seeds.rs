//! Where and how fast the groove might be played: correlation of windows of the recording with the loop, at all rates and phases.
//!
//! In a window of length `W` every pair of an onset and an event votes for the position in the loop at the middle of the window.
//! The votes `h` at a position and rate are compared with what chance gives, `h0 = E n v sqrt(2 pi) / W` for `E` events expected, `n`
//! onsets and votes spread by `v`:
//! ```text
//! z = (h - h0) / sqrt(h0 + 2) min(1, sqrt(2 h / (E + n)))
//! ```
//! The last factor asks that a good part of the events and of the onsets agree. Ours, no source.

use std::f64::consts::TAU;

use super::events::Events;
use crate::recording::fit::onset::{Onset, clipped_strengths, seconds_of};

/// Width of a bin in score seconds, and bins at most (ours, no source).
const BIN: f64 = 0.0125;
const MAX_BINS: usize = 8192;
/// Standard deviation of a vote in seconds (ours, no source).
const VOTE_SIGMA: f64 = 0.020;
/// Rates searched on either side of the written one, and their step, both as logarithms (ours, no source).
const RATE_SPAN: f64 = 0.371_564;
const RATE_STEP: f64 = 0.006;
/// Windows at most; events in one; bounds of its length in seconds (ours, no source).
const MAX_WINDOWS: usize = 12;
const WINDOW_EVENTS: f64 = 28.0;
const WINDOW_SECONDS: (f64, f64) = (6.0, 16.0);
/// Onsets below which a window says nothing (ours, no source).
const MIN_WINDOW_ONSETS: usize = 5;
/// Peaks taken from a window, and how near a better one suppresses others: rate steps and seconds (ours, no source).
const WINDOW_PEAKS: usize = 5;
const SUPPRESSED_STEPS: usize = 4;
const SUPPRESSED_SECONDS: f64 = 0.05;

/// A place to begin following.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seed {
    pub(super) z: f32,
    pub(super) seconds: f64,
    pub(super) score: f64,
    pub(super) rate: f64,
}

#[derive(Debug, Clone, Copy)]
struct Peak {
    /// Square of `z`: the same order without a root.
    square: f32,
    step: usize,
    bin: usize,
}

/// Onsets of a window, about its middle.
struct Window {
    middle: f64,
    offsets: Vec<f64>,
    weights: Vec<f32>,
    total: f32,
}

/// Seeds of all windows, best first.
pub(super) fn seeds(events: &Events, onsets: &[Onset]) -> Vec<Seed> {
    let bins = ((events.length / BIN).round() as usize).clamp(64, MAX_BINS);
    let width = events.length / bins as f64;
    let (windows, length) = windows(events, onsets);
    let mut histogram = vec![0.0f32; bins];
    for (t, w) in events.times.iter().zip(&events.weights) {
        histogram[(t / width) as usize % bins] += *w as f32;
    }
    let sums = cumulated(&histogram);
    let span = (SUPPRESSED_SECONDS / width) as usize + 1;
    let mut peaks = vec![Vec::new(); windows.len()];
    let mut votes = vec![0.0f32; bins];
    let steps = (2.0 * RATE_SPAN / RATE_STEP) as usize + 1;
    let rate_of = |step: usize| (step as f64 * RATE_STEP - RATE_SPAN).exp();
    for step in 0..steps {
        let rate = rate_of(step);
        let smoothed = smoothed_twice(&histogram, VOTE_SIGMA / rate / width);
        let half = (length / rate / 2.0 / width) as usize;
        for (window, peaks) in windows.iter().zip(&mut peaks) {
            votes.fill(0.0);
            for (offset, weight) in window.offsets.iter().zip(&window.weights) {
                let shift = ((offset / rate / width).round() as i64).rem_euclid(bins as i64) as usize;
                for (v, s) in votes.iter_mut().zip(&smoothed[shift..shift + bins]) {
                    *v += weight * s;
                }
            }
            let chance = window.total * (VOTE_SIGMA * TAU.sqrt() / length) as f32;
            squares(&mut votes, &sums, half, window.total, chance);
            insert_peaks(peaks, &votes, step, span);
        }
    }
    let mut seeds: Vec<Seed> = Vec::new();
    for (window, peaks) in windows.iter().zip(&peaks) {
        seeds.extend(peaks.iter().map(|p| Seed {
            z: p.square.sqrt(),
            seconds: window.middle,
            score: p.bin as f64 * width,
            rate: rate_of(p.step),
        }));
    }
    seeds.sort_by(|a, b| b.z.total_cmp(&a.z));
    seeds
}

fn windows(events: &Events, onsets: &[Onset]) -> (Vec<Window>, f64) {
    let seconds = seconds_of(onsets);
    let weights = clipped_strengths(onsets, 0.4, 2.0);
    let (Some(first), Some(last)) = (seconds.first(), seconds.last()) else {
        return (Vec::new(), WINDOW_SECONDS.0);
    };
    let density = events.times.len() as f64 / events.length;
    let length = (WINDOW_EVENTS / density).clamp(WINDOW_SECONDS.0, WINDOW_SECONDS.1);
    let duration = last - first;
    let count = ((duration / length * 2.0) as usize).clamp(1, MAX_WINDOWS);
    let middle = |i: usize| {
        if count == 1 {
            return f64::midpoint(*first, *last);
        }
        first + length / 2.0 + i as f64 * (duration - length).max(0.0) / (count - 1) as f64
    };
    let window = |i: usize| {
        let middle = middle(i);
        let from = seconds.partition_point(|t| *t <= middle - length / 2.0);
        let to = seconds.partition_point(|t| *t < middle + length / 2.0).max(from);
        let weights: Vec<f32> = weights[from..to].iter().map(|w| *w as f32).collect();
        let offsets = seconds[from..to].iter().map(|t| t - middle).collect();
        Window { middle, offsets, total: weights.iter().sum(), weights }
    };
    ((0..count).map(window).filter(|w| w.offsets.len() >= MIN_WINDOW_ONSETS).collect(), length)
}

/// Sums up to each bin over three times through the loop.
fn cumulated(histogram: &[f32]) -> Vec<f32> {
    let mut sum = 0.0;
    let mut sums = vec![0.0];
    for v in histogram.iter().cycle().take(3 * histogram.len()) {
        sum += v;
        sums.push(sum);
    }
    sums
}

/// The histogram with every entry spread to a normal curve of height 1, twice in a row.
pub(super) fn smoothed_twice(histogram: &[f32], sigma: f64) -> Vec<f32> {
    let bins = histogram.len();
    let reach = ((4.0 * sigma).ceil() as usize).min(bins / 2);
    let kernel: Vec<f32> = (0..=reach).map(|d| (-0.5 * (d as f64 / sigma).powi(2)).exp() as f32).collect();
    let mut smoothed = vec![0.0f32; 2 * bins];
    for (i, h) in histogram.iter().enumerate().filter(|(_, h)| **h != 0.0) {
        for (d, k) in kernel.iter().enumerate() {
            smoothed[(i + d) % bins] += h * k;
            if d > 0 {
                smoothed[(i + bins - d) % bins] += h * k;
            }
        }
    }
    let (once, again) = smoothed.split_at_mut(bins);
    again.copy_from_slice(once);
    smoothed
}

/// Replaces votes by the square of `z`, or 0 where there are fewer than chance gives.
fn squares(votes: &mut [f32], sums: &[f32], half: usize, onsets: f32, chance: f32) {
    let bins = votes.len();
    let whole = sums[bins] * (2 * half / bins) as f32;
    let rest = 2 * half % bins;
    let from = (bins - half % bins) % bins;
    let starts = &sums[from..from + bins];
    let ends = &sums[from + rest..from + rest + bins];
    for ((h, start), end) in votes.iter_mut().zip(starts).zip(ends) {
        let expected = whole + end - start;
        let by_chance = expected * chance;
        let excess = (*h - by_chance).max(0.0);
        let both = (expected + onsets).max(1e-9);
        *h = excess * excess * (2.0 * *h).min(both) / ((by_chance + 2.0) * both);
    }
}

/// Takes the highest local maxima of a row that no better peak is near.
fn insert_peaks(peaks: &mut Vec<Peak>, row: &[f32], step: usize, span: usize) {
    let bins = row.len();
    let mut least = if peaks.len() < WINDOW_PEAKS { 0.0 } else { peaks[WINDOW_PEAKS - 1].square };
    for bin in 0..bins {
        let square = row[bin];
        if square <= least || square < row[(bin + 1) % bins] || square < row[(bin + bins - 1) % bins] {
            continue;
        }
        let near = |p: &Peak| {
            let apart = p.bin.abs_diff(bin);
            p.step.abs_diff(step) <= SUPPRESSED_STEPS && apart.min(bins - apart) <= span
        };
        if peaks.iter().any(|p| near(p) && p.square >= square) {
            continue;
        }
        peaks.retain(|p| !near(p));
        let at = peaks.partition_point(|p| p.square >= square);
        peaks.insert(at, Peak { square, step, bin });
        peaks.truncate(WINDOW_PEAKS);
        if peaks.len() == WINDOW_PEAKS {
            least = peaks[WINDOW_PEAKS - 1].square;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{ScoreAttack, ScoreLayer, ScoreLoop};
    use super::*;

    #[test]
    fn the_best_seed_of_an_exact_performance_is_where_and_how_fast_it_is() {
        let times = [0.0, 0.375, 0.5, 1.0, 1.25, 1.75, 2.25, 2.5];
        let attacks = times.map(|seconds| ScoreAttack { seconds, weight: 0.6 }).to_vec();
        let score = ScoreLoop {
            layers: vec![ScoreLayer { attacks, bands: None }],
            length: 3.0,
            bars: vec![0.0],
            beats: vec![0.0, 0.5, 1.0, 1.5, 2.0, 2.5],
        };
        let events = Events::new(&score);
        let onset = |s: f64| Onset { seconds: 7.0 + s * 1.1, strength: 1.0, ..Onset::default() };
        let onsets: Vec<Onset> = events.between(0.0, 30.0).map(|(_, s)| onset(s)).collect();
        let best = seeds(&events, &onsets)[0];
        let truth = (best.seconds - 7.0) / 1.1;
        let off = (best.score - truth + 1.5).rem_euclid(3.0) - 1.5;
        assert!(off.abs() < 0.02, "{off}");
        assert!((best.rate / 1.1 - 1.0).abs() < 0.007, "{}", best.rate);
    }
}
