//! One hearing, one set of pulses: ways to take the beat whose pulses coincide are one hearing, and their probabilities add up.

use super::hypothesis::{Candidate, Kind};

/// How near two pulses are one, as a part of the period; two even pulses, of which one lies on the grid, are told apart better.
const NEAR: f64 = 0.12;
const NEAR_EVEN: f64 = 0.08;
/// Share of the pulses that must coincide.
const MOST: f64 = 0.85;

/// Merges candidates with the same pulses, likeliest first; the likeliest of them gives the kind.
pub(super) fn merged(mut all: Vec<Candidate>, length: f64) -> Vec<Candidate> {
    all.retain(|c| c.probability > 0.0 && c.pulses().next().is_some());
    all.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let mut kept: Vec<(Candidate, Vec<f64>)> = Vec::new();
    for candidate in all {
        let pulses: Vec<f64> = candidate.pulses().collect();
        let twin = kept.iter_mut().find(|(k, of_kept)| {
            // Two beats of the grid differ by a cell or more, however near that is.
            let both_exact = k.on_grid && candidate.on_grid;
            !both_exact && coincide(k, of_kept, &candidate, &pulses, length)
        });
        match twin {
            Some((k, of_kept)) => {
                k.probability += candidate.probability;
                // The pulses of a hearing that follows attacks are these themselves.
                if k.follows && candidate.is_attacks && !k.is_attacks {
                    (k.is_attacks, k.pieces, *of_kept) = (true, candidate.pieces, pulses);
                }
            }
            None => kept.push((candidate, pulses)),
        }
    }
    let mut all: Vec<Candidate> = kept.into_iter().map(|k| k.0).collect();
    all.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    all
}

fn coincide(a: &Candidate, of_a: &[f64], b: &Candidate, of_b: &[f64], length: f64) -> bool {
    let most = of_a.len().max(of_b.len()) as f64;
    if of_a.len().abs_diff(of_b.len()) as f64 > (1.0 - MOST) * most {
        return false;
    }
    let even = a.kind == Kind::Even && b.kind == Kind::Even && (a.on_grid || b.on_grid);
    let period = length / most;
    let tolerance = if even { NEAR_EVEN } else { NEAR } * period * (1.0 + 1e-6);
    share_near(of_a, of_b, length, tolerance) >= MOST && share_near(of_b, of_a, length, tolerance) >= MOST
}

/// Share of the times `a` that lie within `tolerance` of one of `b`, both in order, round a loop.
pub(super) fn share_near(a: &[f64], b: &[f64], length: f64, tolerance: f64) -> f64 {
    let (Some(&first), Some(&last)) = (b.first(), b.last()) else { return 0.0 };
    let mut next = 0;
    let near = a.iter().filter(|&&t| {
        while next < b.len() && b[next] < t {
            next += 1;
        }
        let above = b.get(next).copied().unwrap_or(first + length) - t;
        let below = t - if next > 0 { b[next - 1] } else { last - length };
        above.min(below) <= tolerance
    });
    near.count() as f64 / a.len().max(1) as f64
}
