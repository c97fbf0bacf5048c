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
/// Of a pulse whose intervals are of two lengths, as 4 and 5 cells: the share of all intervals, and their spread, between that of
/// 5 and 6 and that of 2 and 3. Human timing spreads them less.
const UNEVEN_SHARE: f64 = 0.74;
const UNEVEN_SPREAD: (f64, f64) = (0.09, 0.16);
const UNEVEN_SECONDS: f64 = 0.030;
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

/// The rate per minute of attacks that are the beats of a reading, or its halves or doubles, and little else, but too unevenly to be
/// beats: a clock that follows them drifts with the figure, and its tempo is their average.
pub(super) fn uneven_rate(seconds: &[f64], beat: f64) -> Option<f64> {
    let intervals: Vec<f64> = seconds.windows(2).map(|pair| pair[1] - pair[0]).collect();
    [1.0, 0.5, 2.0].into_iter().find_map(|factor| {
        let pulse = factor * beat;
        let is_near = |interval: &&f64| (NEAR_MEDIAN.0 * pulse..NEAR_MEDIAN.1 * pulse).contains(*interval);
        let near: Vec<f64> = intervals.iter().filter(is_near).copied().collect();
        let is_most = near.len() >= MIN_INTERVALS && near.len() as f64 >= UNEVEN_SHARE * intervals.len() as f64;
        let mean = near.iter().sum::<f64>() / near.len().max(1) as f64;
        let spread = (near.iter().map(|i| (i - mean).powi(2)).sum::<f64>() / near.len().max(1) as f64).sqrt();
        let is_uneven = (UNEVEN_SPREAD.0 * mean..UNEVEN_SPREAD.1 * mean).contains(&spread) && spread > UNEVEN_SECONDS;
        (is_most && is_uneven).then_some(60.0 / pulse)
    })
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Attacks at such numbers of cells of 0.09 s, early and late in turn by so many seconds.
    fn attacks(cells: &[u32], error: f64) -> Vec<f64> {
        let mut at = 0;
        let place = |(i, cells): (usize, &u32)| {
            at += cells;
            f64::from(at) * 0.09 + if i % 2 == 0 { error } else { -error }
        };
        cells.iter().cycle().take(80).enumerate().map(place).collect()
    }

    #[test]
    fn fours_and_fives_have_a_rate_that_is_no_beat() {
        let found = uneven_rate(&attacks(&[4, 5, 5, 4, 4, 4, 5, 5], 0.008), 2.0 * 0.4).expect("an uneven pulse");
        assert!((found - 150.0).abs() < 1e-9, "{found}");
        // Even ones of a human hand, a long and a short one, and a figure of many lengths have none.
        assert_eq!(uneven_rate(&attacks(&[4], 0.012), 0.36), None);
        assert_eq!(uneven_rate(&attacks(&[4, 2], 0.008), 0.36), None);
        assert_eq!(uneven_rate(&attacks(&[4, 1, 3, 2, 6], 0.008), 0.36), None);
        assert_eq!(uneven_rate(&[], 0.5), None);
    }
}
