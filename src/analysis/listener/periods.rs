//! The periods at which a pulse is followed: those that fill the loop a whole number of times and agree best with the events.

use super::best_path::best;
use super::evidence::Event;
use super::params::{Params, ROUNDING};
use std::f64::consts::PI;

/// Periods that are compared, and those that are followed.
const MAX_COMPARED: usize = 120;
const MAX_FOLLOWED: usize = 20;

/// The periods in seconds, longest first: by vector strength (Goldberg & Brown 1969) and the prior.
pub(super) fn periods(events: &[Event], length: f64, params: &Params) -> Vec<f64> {
    let min = ((length / params.longest_beat - ROUNDING).ceil() as usize).max(1);
    let max = (length / params.shortest_beat + ROUNDING) as usize;
    let mut counts: Vec<f64> = (min..=max).map(|k| k as f64).take(MAX_COMPARED + 1).collect();
    if counts.len() > MAX_COMPARED {
        let ratio = (max as f64 / min as f64).ln() / (MAX_COMPARED - 1) as f64;
        counts = (0..MAX_COMPARED).map(|i| (min as f64 * (ratio * i as f64).exp()).round()).collect();
        counts.dedup();
    }
    if counts.len() > MAX_FOLLOWED {
        // Whole billionths, so that equal strengths are equal.
        let agreement = |(k, strength): (&f64, f64)| ((strength + 0.02 * params.prior(length / k)) * 1e9).round();
        let mut kept = best(counts.iter().zip(strengths(events, length, &counts)).map(agreement), MAX_FOLLOWED);
        kept.sort_unstable();
        counts = kept.into_iter().map(|i| counts[i]).collect();
    }
    counts.into_iter().map(|k| length / k).collect()
}

/// Length of the mean phase vector of the events at each number of pulses in the loop, 0 to 1.
#[pulp::with_simd(strengths = pulp::Arch::new())]
#[inline(always)]
fn strengths_with<'a, S: pulp::Simd>(_: S, events: &'a [Event], length: f64, counts: &'a [f64]) -> Vec<f64> {
    let (mut real, mut imaginary) = (vec![0.0; counts.len()], vec![0.0; counts.len()]);
    for e in events {
        let turns = e.time / length;
        for ((re, im), k) in real.iter_mut().zip(&mut imaginary).zip(counts) {
            let (sin, cos) = half_turn(turns * k);
            *re += e.weight * (1.0 - 2.0 * sin * sin);
            *im += e.weight * (2.0 * sin * cos);
        }
    }
    let all: f64 = events.iter().map(|e| e.weight).sum();
    real.iter().zip(imaginary).map(|(re, im)| re.hypot(im) / all).collect()
}

/// Sine and cosine of half the angle of so many turns, but for a common sign, to 1e-12: plain arithmetic that the compiler
/// turns into vector code.
#[inline(always)]
fn half_turn(turns: f64) -> (f64, f64) {
    // 1.5 x 2^52: adding and subtracting it rounds to a whole number.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    let x = PI * (turns - ((turns + ROUND) - ROUND));
    let q = x * x;
    // Taylor series up to a quarter turn.
    let term = |sum: f64, n: f64| 1.0 - q * (1.0 / (n * (n + 1.0))) * sum;
    let sin = [16.0, 14.0, 12.0, 10.0, 8.0, 6.0, 4.0, 2.0].into_iter().fold(1.0, term);
    let cos = [17.0, 15.0, 13.0, 11.0, 9.0, 7.0, 5.0, 3.0, 1.0].into_iter().fold(1.0, term);
    (x * sin, cos)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_angles_agree_with_the_standard_library() {
        for i in -3000..3000 {
            let turns = f64::from(i) * 0.0137;
            let (sin, cos) = half_turn(turns);
            let (exact_sin, exact_cos) = (2.0 * PI * turns).sin_cos();
            assert!((2.0 * sin * cos - exact_sin).abs() < 1e-11 && (1.0 - 2.0 * sin * sin - exact_cos).abs() < 1e-11);
        }
    }
}
