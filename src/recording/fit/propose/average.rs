//! The average pulse: attacks at nearly even distance on cells too fast to be felt.
//!
//! Figures of 4 and 5 fast cells are heard as one slightly uneven pulse, whose rate is their mean, not as beats of any number
//! of cells.

use super::cells::Cells;
use super::hypothesis::{BEATS, Hypothesis, Reading};

/// Intervals taken as one pulse, as shares of the median interval.
const NEAR_MEDIAN: (f64, f64) = (0.6, 1.5);
/// Least share of such intervals, and the share at which nothing is gained or lost.
const SHARE: (f64, f64) = (0.6, 0.55);
/// Spread of the intervals: with less they are even, with more no pulse.
const SPREAD: (f64, f64) = (0.03, 0.27);
/// Weight of the share, of the spread, and of even beats that sound, in nats.
const SHARE_WEIGHT: f64 = 6.0;
const SPREAD_WEIGHT: f64 = 8.0;
const SOUNDING_WEIGHT: f64 = 6.0;
/// Cost of this reading.
const COST: f64 = 0.7;
/// How near the mean of the intervals a cycle must come for its own mean to be the rate.
const CYCLE_TOLERANCE: f64 = 0.06;
/// Fewest intervals.
const MIN_INTERVALS: usize = 9;

/// Adds the average pulse if the cells are too fast to be felt and there is one. `found` holds the even readings.
pub(super) fn hypothesis(cells: &Cells, found: &mut Vec<Hypothesis>) {
    if cells.felt >= 1.0 || cells.longest_cycle() <= 2 {
        return;
    }
    let intervals: Vec<f64> =
        cells.plain.windows(2).map(|pair| (pair[1] - pair[0]) as f64).filter(|&interval| interval > 1.0).collect();
    let Some(median) = crate::recording::fit::onset::median(&intervals).filter(|_| intervals.len() >= MIN_INTERVALS)
    else {
        return;
    };
    let near: Vec<f64> =
        intervals.iter().copied().filter(|i| *i > NEAR_MEDIAN.0 * median && *i < NEAR_MEDIAN.1 * median).collect();
    if near.is_empty() {
        return;
    }
    let share = near.len() as f64 / intervals.len() as f64;
    let mean = near.iter().sum::<f64>() / near.len() as f64;
    let variance = near.iter().map(|i| (i - mean).powi(2)).sum::<f64>() / near.len() as f64;
    let spread = variance.sqrt() / mean;
    let pulse = cycle_mean(cells, mean).unwrap_or(mean);
    let seconds = pulse * cells.length;
    let is_pulse = share > SHARE.0 && spread > SPREAD.0 && spread < SPREAD.1;
    if !is_pulse || !(BEATS.0..=BEATS.1).contains(&seconds) {
        return;
    }
    let best = found
        .iter()
        .filter_map(|hypothesis| match hypothesis.reading {
            Reading::Even { cells, .. } => Some((hypothesis, cells)),
            _ => None,
        })
        .reduce(|best, other| if other.0.score > best.0.score { other } else { best });
    let (score, sounding) = best.map_or((0.0, 0.0), |(hypothesis, count)| {
        let pulses = (hypothesis.phase as usize..cells.len()).step_by(count);
        (hypothesis.score, cells.sounding(pulses))
    });
    let score = score + (1.0 - cells.felt) * SHARE_WEIGHT * (share - SHARE.1)
        - SPREAD_WEIGHT * spread
        - SOUNDING_WEIGHT * (sounding - 0.5).max(0.0)
        - COST;
    let phase = cells.plain[0] as f64;
    found.push(Hypothesis { score, phase, reading: Reading::Average { cells: pulse } });
}

/// The mean interval within the shortest cycle that repeats well, if it agrees with the mean of all intervals.
fn cycle_mean(cells: &Cells, mean: f64) -> Option<f64> {
    if cells.contrast <= 0.5 {
        return None;
    }
    let best = cells.repetition[2..].iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let cycle = (2..cells.repetition.len()).find(|&m| cells.repetition[m] > 0.8 * best)? as f64;
    let attacks = (cycle / mean).round();
    (attacks >= 1.0 && (cycle / attacks / mean - 1.0).abs() < CYCLE_TOLERANCE).then(|| cycle / attacks)
}
