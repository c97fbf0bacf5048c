//! Reads a fitted clock at other tempos and from other places of the loop, whether or not anything led there.
//!
//! This guards against half and double tempo and against shifts: every way to read the same clock gets a score.

use super::context::Context;
use super::events::centred;
use super::reading::{Point, Reading, refit};
use super::seeds::smoothed_twice;

/// New tempo as a multiple of the old: halves, thirds, fourths and fifths of it (ours, no source).
const RATIOS: [f64; 13] = [1.0, 0.5, 2.0, 2.0 / 3.0, 1.5, 0.75, 4.0 / 3.0, 0.8, 1.25, 1.0 / 3.0, 3.0, 0.6, 5.0 / 3.0];
/// Rates a reading may have (ours, no source).
const RATES: std::ops::Range<f64> = 0.42..2.4;
/// Width of a bin in score seconds, and bins at most (ours, no source).
const BIN: f64 = 0.010;
const MAX_BINS: usize = 8192;
/// Shifts tried at the same tempo, more of them if the loop repeats inside itself, and at another (ours, no source).
const SHIFTS: usize = 6;
const MORE_SHIFTS: usize = 8;
const SHIFTS_AT_RATIO: usize = 2;
/// Least spread of an onset in seconds (ours, no source).
const MIN_SIGMA: f64 = 0.012;
/// A shift by less is none, in score seconds (ours, no source).
const NO_SHIFT: f64 = 0.03;
/// Features that differ by less do not differ.
const MIN_SPREAD: f64 = 1e-3;
/// Onsets near events that make a reading.
const MIN_POINTS: usize = 9;

/// The best other readings of a clock, refitted.
pub(super) fn other_readings(context: &Context, reading: &Reading) -> Vec<Reading> {
    let events = &context.events;
    let from = context.seconds.partition_point(|t| *t <= reading.from() - 0.05);
    let to = context.seconds.partition_point(|t| *t < reading.to() + 0.05).max(from);
    let positions: Vec<f64> = context.seconds[from..to].iter().map(|t| reading.clock.score(*t)).collect();
    let channels = Channel::all(context, from..to);
    let spread = reading.sigma.max(MIN_SIGMA) / reading.rate;
    let mut found = Vec::new();
    for ratio in RATIOS.into_iter().filter(|r| RATES.contains(&(reading.rate / r))) {
        // Turning about the first beat keeps shifts small where the tempo is the only difference.
        let turned: Vec<f64> = positions.iter().map(|p| events.origin + (p - events.origin) * ratio).collect();
        // What sounds matters among shifts at the same tempo, which the times alone may not tell apart.
        let heard = if ratio == 1.0 { channels.len() } else { 1 };
        let (mut votes, width) = correlation(context, &channels[..heard], &turned, spread * ratio);
        for shift in shifts(context, &mut votes, ratio, width) {
            let near = 3.0 * spread * ratio;
            let mut points = Vec::new();
            for (i, p) in turned.iter().enumerate() {
                let score = events.nearest(p + shift);
                if (score - p - shift).abs() < near {
                    points.push(Point { onset: from + i, score });
                }
            }
            if points.len() >= MIN_POINTS {
                found.extend(refit(context, points, reading.sigma, 2));
            }
        }
    }
    found
}

/// Something that an event and an onset have to agree in.
struct Channel {
    /// Of every event.
    events: Vec<f32>,
    /// Of every onset.
    onsets: Vec<f32>,
}

impl Channel {
    /// Their times, their strengths and, if the sounds are known, their bands.
    fn all(context: &Context, onsets: std::ops::Range<usize>) -> Vec<Self> {
        let events = &context.events;
        let mut channels = vec![Self { events: vec![1.0; events.times.len()], onsets: vec![1.0; onsets.len()] }];
        for f in 0..if events.bands_known { 4 } else { 1 } {
            let expected = events.classes.iter().map(|c| events.features[*c][f]).collect();
            let heard = context.logs[onsets.clone()].iter().map(|l| centred(*l)[f]).collect();
            channels.push(Self { events: standardised(expected), onsets: standardised(heard) });
        }
        channels
    }
}

/// Numbers less their mean, over their standard deviation; zeros if they do not differ.
fn standardised(numbers: Vec<f64>) -> Vec<f32> {
    let count = numbers.len().max(1) as f64;
    let mean = numbers.iter().sum::<f64>() / count;
    let sigma = (numbers.iter().map(|n| (n - mean).powi(2)).sum::<f64>() / count).sqrt();
    let scale = if sigma > MIN_SPREAD { 1.0 / sigma } else { 0.0 };
    numbers.into_iter().map(|n| ((n - mean) * scale) as f32).collect()
}

/// Votes for every shift of the onsets, at some positions, onto the events, and the score seconds from one shift to the next.
fn correlation(context: &Context, channels: &[Channel], positions: &[f64], sigma: f64) -> (Vec<f32>, f64) {
    let events = &context.events;
    let bins = ((events.length / BIN).round() as usize).clamp(64, MAX_BINS);
    let width = events.length / bins as f64;
    let mut votes = vec![0.0f32; bins];
    for channel in channels {
        let mut histogram = vec![0.0f32; bins];
        for (t, value) in events.times.iter().zip(&channel.events) {
            histogram[(t / width) as usize % bins] += value;
        }
        let mut heard = vec![0.0f32; bins];
        for (p, value) in positions.iter().zip(&channel.onsets) {
            heard[((p / width).floor() as i64).rem_euclid(bins as i64) as usize] += value;
        }
        let smoothed = smoothed_twice(&histogram, sigma / width);
        for (bin, value) in heard.iter().enumerate().filter(|(_, v)| **v != 0.0) {
            for (v, s) in votes.iter_mut().zip(&smoothed[bin..bin + bins]) {
                *v += value * s;
            }
        }
    }
    (votes, width)
}

/// The best shifts in score seconds, between minus and plus half a loop; `votes` are used up.
fn shifts(context: &Context, votes: &mut [f32], ratio: f64, width: f64) -> Vec<f64> {
    let events = &context.events;
    let bins = votes.len();
    let is_same_tempo = ratio == 1.0;
    let span = ((0.6 * events.shortest.min(0.2) / width) as usize).clamp(1, bins / 2);
    let tries = if is_same_tempo { SHIFTS + events.copies().min(MORE_SHIFTS) } else { SHIFTS_AT_RATIO };
    let mut found = Vec::new();
    for _ in 0..tries {
        let (best, height) = votes.iter().enumerate().fold((0, 0.0), |b, (i, v)| if *v > b.1 { (i, *v) } else { b });
        if height <= 0.0 {
            break;
        }
        for d in 0..=span {
            votes[(best + d) % bins] = 0.0;
            votes[(best + bins - d) % bins] = 0.0;
        }
        let shift = best as f64 * width;
        if is_same_tempo && events.modulo_period(shift).abs() < NO_SHIFT {
            continue;
        }
        found.push(if shift < events.length / 2.0 { shift } else { shift - events.length });
    }
    found
}
