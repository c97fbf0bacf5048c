//! Beats from taps along a recording, moved to its attacks.
//!
//! People tap some hundredths of a second early (Repp, *Sensorimotor synchronization*, 2005), through a chain of unknown delay, and
//! miss beats. So all taps are moved by one offset that puts the most onsets on cells; then the beats bend to these.

use super::clock::{FitOptions, FitPoint, fit_map};
use super::marks::{BEAT_FACTOR, DIVISIONS, MARK_SIGMA, MAX_SIGMA_SHARE, MIN_CELL, ON_GRID, SIGMAS, bend, place};
use super::onset::{Onset, median, seconds_of};
use std::f64::consts::TAU;

/// Fewest taps that have a tempo.
pub const MIN_TAPS: usize = 4;
/// Intervals of which the median is the tempo at a tap.
const RECENT: usize = 5;
/// Standard deviation of a tap, in seconds, and the change of tempo per beat as a fraction of it (ours, no source).
const TAP_SIGMA: f64 = 0.025;
const TAP_SMOOTHNESS: f64 = 0.004;
/// Largest offset in seconds and as a fraction of a beat, and its steps (ours, no source).
const MAX_OFFSET: f64 = 0.120;
const MAX_OFFSET_BEATS: f64 = 0.3;
const STEP: f64 = 0.004;

/// Beats that were tapped.
#[derive(Debug, Clone, PartialEq)]
pub struct TappedBeats {
    /// Seconds of every beat from the first tap to the last; beats without a tap are among them.
    pub beats: Vec<f64>,
    /// Seconds by which the taps were moved to the attacks.
    pub offset: f64,
    /// Standard deviation of the onsets about their cells; `None` if too few hold the beats, which are then as tapped.
    pub sigma: Option<f64>,
    /// Beats without a tap.
    pub missed: usize,
}

/// The beats of taps, which ascend in seconds of the recording. `None` if there are too few.
pub fn fit_taps(onsets: &[Onset], taps: &[f64]) -> Option<TappedBeats> {
    if taps.len() < MIN_TAPS {
        return None;
    }
    let intervals: Vec<f64> = taps.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let mut tempo = median(&intervals).filter(|tempo| *tempo > 0.0)?;
    let mut numbers = vec![0_usize];
    for (k, interval) in intervals.iter().enumerate() {
        let beats = (interval / tempo).round().max(1.0);
        numbers.push(numbers[k] + beats as usize);
        let recent: Vec<f64> = (0..RECENT.min(k + 1))
            .map(|back| intervals[k - back] / (numbers[k + 1 - back] - numbers[k - back]) as f64)
            .collect();
        // The first taps say less about the tempo than all of them.
        if recent.len() == RECENT {
            tempo = median(&recent)?;
        }
    }
    let count = *numbers.last()?;
    let point =
        |(number, seconds): (&usize, &f64)| FitPoint { position: *number as f64, seconds: *seconds, weight: 1.0 };
    let points: Vec<FitPoint> = numbers.iter().zip(taps).map(point).collect();
    let options = FitOptions { sigma: TAP_SIGMA, smoothness: TAP_SMOOTHNESS, ..FitOptions::default() };
    let tapped = fit_map(&points, count, options)?.knots;
    let missed = count + 1 - taps.len();
    if tapped.windows(2).any(|pair| pair[1] <= pair[0]) {
        return None;
    }
    let period = (tapped[count] - tapped[0]) / count as f64;
    let margin = 0.5 * period;
    let inside = tapped[0] - margin..tapped[count] + margin;
    let near: Vec<f64> = seconds_of(onsets).into_iter().filter(|t| inside.contains(t)).collect();
    let Some((offset, division, sigma)) = search(&near, &tapped, period) else {
        return Some(TappedBeats { beats: tapped, offset: 0.0, sigma: None, missed });
    };
    let moved: Vec<f64> = tapped.iter().map(|beat| beat + offset).collect();
    let holds: Vec<(f64, f64)> = points.iter().map(|p| (p.position, p.seconds + offset)).collect();
    let bent = bend(&near, moved, &holds, division, sigma);
    match bent.sigma {
        Some(sigma) => Some(TappedBeats { beats: bent.beats, offset, sigma: Some(sigma), missed }),
        None => Some(TappedBeats { beats: tapped, offset: 0.0, sigma: None, missed }),
    }
}

/// The offset of the beats, the division and the standard deviation that explain the onsets best.
fn search(onsets: &[f64], beats: &[f64], period: f64) -> Option<(f64, u32, f64)> {
    if onsets.len() < MIN_TAPS {
        return None;
    }
    let steps = (MAX_OFFSET.min(MAX_OFFSET_BEATS * period) / STEP) as i32;
    let mut best: Option<(f64, (f64, u32, f64))> = None;
    for (division, cost) in DIVISIONS {
        let cell = period / f64::from(division);
        for sigma in SIGMAS.into_iter().filter(|s| *s <= MAX_SIGMA_SHARE * cell && cell >= MIN_CELL) {
            for step in -steps..=steps {
                let offset = f64::from(step) * STEP;
                let score = evidence(onsets, beats, offset, division, sigma, cell) - cost;
                if best.as_ref().is_none_or(|best| score > best.0) {
                    best = Some((score, (offset, division, sigma)));
                }
            }
        }
    }
    best.map(|best| best.1)
}

fn evidence(onsets: &[f64], beats: &[f64], offset: f64, division: u32, sigma: f64, cell: f64) -> f64 {
    let height = ON_GRID * cell / (sigma * TAU.sqrt());
    let between = if division > 1 { 1.0 - 0.5 / f64::from(division - 1) } else { BEAT_FACTOR };
    let sum: f64 = onsets
        .iter()
        .map(|seconds| {
            let at = place(beats, seconds - offset) * f64::from(division);
            let error = (at - at.round()) * cell / sigma;
            let factor = if (at.round() as i64).rem_euclid(i64::from(division)) == 0 { BEAT_FACTOR } else { between };
            (height * factor * (-0.5 * error * error).exp() + 1.0 - ON_GRID).ln()
        })
        .sum();
    sum - offset * offset / (2.0 * MARK_SIGMA * MARK_SIGMA)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seconds of a beat: a tempo that slows down by 5% over 40 beats.
    fn at(beat: f64) -> f64 {
        2.0 + 0.5 * beat * (1.0 + 0.00125 * beat)
    }

    fn onsets() -> Vec<Onset> {
        let strokes = (0..=160).filter(|i| i % 4 == 0 || i % 7 == 2);
        strokes.map(|i| Onset { seconds: at(f64::from(i) / 4.0), strength: 1.0, ..Onset::default() }).collect()
    }

    #[test]
    fn early_and_uneven_taps_come_to_the_beats_and_one_may_be_missed() {
        let taps: Vec<f64> = (0..=40)
            .filter(|beat| *beat != 17)
            .map(|beat| at(f64::from(beat)) - 0.040 + 0.012 * f64::from(beat * 7 % 5 - 2))
            .collect();
        let found = fit_taps(&onsets(), &taps).expect("enough taps");
        assert_eq!((found.beats.len(), found.missed), (41, 1));
        assert!((found.offset - 0.040).abs() < 0.012, "{}", found.offset);
        for (beat, seconds) in found.beats.iter().enumerate() {
            assert!((seconds - at(beat as f64)).abs() < 0.004, "beat {beat}: {seconds}");
        }
    }

    #[test]
    fn without_attacks_the_taps_stand() {
        let taps = [1.0, 1.5, 2.0, 2.5, 3.0];
        let found = fit_taps(&[], &taps).expect("enough taps");
        assert_eq!((found.offset, found.sigma), (0.0, None));
        assert!(found.beats.iter().zip(taps).all(|(a, b)| (a - b).abs() < 1e-6));
        assert_eq!(fit_taps(&[], &taps[..3]), None);
    }
}
