//! Measures of a ring that need no metrical tree.

use super::{Ring, Tree};
use num_integer::Integer;

/// Weighted note-to-beat distance of a ring with a beat every `beat` pulses.
///
/// # Formula
/// ```text
/// mean over attacks of D;  D = 0 on a beat, else w / T
/// T = distance to the nearest beat in beats
/// w = 2 if the next attack falls strictly between the next beat and the one after it, else 1
/// ```
/// (Gómez, Melvin, Rappaport & Toussaint 2005). `beat` must be at least 1 and divide the ring's pulses.
pub(crate) fn weighted_beat_distance(ring: &Ring, beat: usize) -> f64 {
    let sum: f64 = ring
        .attacks
        .iter()
        .zip(ring.intervals())
        .map(|(&at, gap)| {
            let into = at % beat;
            if into == 0 {
                return 0.0;
            }
            let nearest = into.min(beat - into) as f64 / beat as f64;
            let next_beat = at - into + beat;
            let end = at + gap;
            let weight = if end > next_beat && end < next_beat + beat { 2.0 } else { 1.0 };
            weight / nearest
        })
        .sum();
    sum / ring.attacks.len() as f64
}

/// Keith's syncopation as a count: attacks at a pulse that is no multiple of the greatest power of two up to the interval after
/// them (Keith 1991 in the counting form of Gómez et al. 2005).
pub(crate) fn keith(ring: &Ring) -> usize {
    let power = |d: usize| 1 << d.ilog2();
    ring.attacks.iter().zip(ring.intervals()).filter(|(at, d)| *at % power(*d) != 0).count()
}

/// Off-beatness: attacks at pulses, other than 0, coprime to the length of the cycle (Gómez et al. 2005).
pub(crate) fn off_beatness(ring: &Ring) -> usize {
    ring.attacks.iter().filter(|at| **at > 0 && at.gcd(&ring.pulses) == 1).count()
}

/// Normalised pairwise variability index of durations, 0 to 200.
///
/// # Formula
/// ```text
/// 100 / (m - 1) * sum over k of |d_k - d_(k+1)| / ((d_k + d_(k+1)) / 2)
/// ```
/// over the `m` durations; the pair from the last to the first is not used (Toussaint 2013; Condit-Schultz 2019).
///
/// # Errors
/// Fewer than two durations.
pub(crate) fn npvi(durations: &[usize]) -> Result<f64, &'static str> {
    if durations.len() < 2 {
        return Err("at least two groups are needed");
    }
    let sum: f64 = durations.windows(2).map(|w| w[0].abs_diff(w[1]) as f64 / ((w[0] + w[1]) as f64 / 2.0)).sum();
    Ok(100.0 * sum / (durations.len() - 1) as f64)
}

/// Evenness, 0 to 1: the sum of the chords between all attacks on a circle, relative to that of the most even distribution of the
/// same number of attacks (Toussaint 2013), which has the greatest sum (Demaine et al. 2009).
///
/// # Errors
/// Fewer than two attacks.
pub(crate) fn evenness(ring: &Ring) -> Result<f64, &'static str> {
    let (n, k) = (ring.pulses, ring.attacks.len());
    if k < 2 {
        return Err("at least two attacks are needed");
    }
    let chord: Vec<f64> = (0..n).map(|d| (std::f64::consts::PI * d as f64 / n as f64).sin()).collect();
    let sum = |attacks: &[usize]| -> f64 {
        attacks.iter().enumerate().map(|(i, a)| attacks[i + 1..].iter().map(|b| chord[b - a]).sum::<f64>()).sum()
    };
    let even: Vec<usize> = (0..k).map(|i| i * n / k).collect();
    Ok((sum(&ring.attacks) / sum(&even)).min(1.0))
}

/// Rhythmic oddity: whether no two attacks are half a cycle apart (Chemillier & Truchet 2003; Toussaint 2013).
///
/// # Errors
/// The number of pulses is odd.
pub(crate) fn oddity(ring: &Ring) -> Result<bool, &'static str> {
    if ring.pulses.is_odd() {
        return Err("a cycle with an odd number of cells cannot be divided into halves");
    }
    let half = ring.pulses / 2;
    Ok(!ring.attacks.iter().any(|a| ring.attacks.binary_search(&((a + half) % ring.pulses)).is_ok()))
}

/// Metric complexity: the greatest possible sum of metrical weights of the same number of attacks, minus the actual sum. The weights
/// are the dots of Lerdahl & Jackendoff 1983 (Toussaint 2002).
///
/// # Errors
/// The cycle is not a whole number of bars.
pub(crate) fn metric_complexity(ring: &Ring, tree: &Tree) -> Result<f64, &'static str> {
    let dots = tree.dots();
    if !ring.pulses.is_multiple_of(dots.len()) {
        return Err("the cycle is not a whole number of bars");
    }
    let mut weights: Vec<u32> = (0..ring.pulses).map(|p| dots[p % dots.len()]).collect();
    let actual: u32 = ring.attacks.iter().map(|a| weights[*a]).sum();
    weights.sort_unstable_by(|a, b| b.cmp(a));
    let greatest: u32 = weights.iter().take(ring.attacks.len()).sum();
    Ok(f64::from(greatest - actual))
}
