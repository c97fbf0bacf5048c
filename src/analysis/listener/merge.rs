//! One hearing, one set of pulses: ways to take the beat whose pulses coincide are one hearing, and their probabilities add up.

use super::hypothesis::{Candidate, PulseKind, PulseOrigin};
use super::params::ROUNDING;

/// How near two pulses are one, as a part of the period; two even pulses, of which one lies on the grid, are told apart better.
const PULSE_TOLERANCE: f64 = 0.12;
const EVEN_PULSE_TOLERANCE: f64 = 0.08;
/// Share of the pulses that must coincide.
const MIN_SHARE: f64 = 0.85;

/// Merges candidates with the same pulses, likeliest first; the likeliest of them gives the kind.
pub(super) fn merged(mut all: Vec<Candidate>, length: f64) -> Vec<Candidate> {
    all.retain(|c| c.probability > 0.0 && c.count() > 0);
    // Equal ones come in the order of their pulses, however they are rounded.
    let key = |c: &Candidate| {
        let rounded = |x: f64| (x * 1e7).round() as i64;
        (std::cmp::Reverse(rounded(c.probability)), rounded(c.period), rounded(c.first().unwrap_or(0.0)))
    };
    all.sort_by_cached_key(key);
    let mut kept: Vec<Candidate> = Vec::new();
    for candidate in all {
        // Two beats of the grid are one only if all their pulses are: they differ by a cell or more, however near that is.
        let is_one = |k: &&mut Candidate| {
            if is_on_grid(k) && is_on_grid(&candidate) {
                are_same(k, &candidate)
            } else {
                coincide(k, &candidate, length)
            }
        };
        match kept.iter_mut().find(is_one) {
            Some(k) => {
                k.probability += candidate.probability;
                // The pulses of a hearing that follows attacks are these themselves.
                if k.origin == PulseOrigin::FollowedAttacks && candidate.origin == PulseOrigin::AllAttacks {
                    (k.origin, k.pieces) = (PulseOrigin::AllAttacks, candidate.pieces);
                }
            }
            None => kept.push(candidate),
        }
    }
    kept.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    kept
}

fn is_on_grid(c: &Candidate) -> bool {
    c.origin == PulseOrigin::Grid
}

fn are_same(a: &Candidate, b: &Candidate) -> bool {
    let near = |a: f64, b: f64| (a - b).abs() < 1e-7;
    let have_same_ends = a.count() == b.count() && a.first().zip(b.first()).is_some_and(|(a, b)| near(a, b));
    have_same_ends && a.times().iter().zip(b.times().iter()).all(|(a, b)| near(*a, *b))
}

fn coincide(a: &Candidate, b: &Candidate, length: f64) -> bool {
    if a.shares_pulses(b) {
        return true;
    }
    let (of_a, of_b) = (a.count(), b.count());
    let max = of_a.max(of_b) as f64;
    if of_a.abs_diff(of_b) as f64 > (1.0 - MIN_SHARE) * max {
        return false;
    }
    let even = a.kind == PulseKind::Even && b.kind == PulseKind::Even && (is_on_grid(a) || is_on_grid(b));
    let tolerance = if even { EVEN_PULSE_TOLERANCE } else { PULSE_TOLERANCE } * length / max * (1.0 + ROUNDING);
    let (a, b) = (a.times(), b.times());
    on_each_other(&a, &b, length, tolerance)
}

/// Whether two sets of pulses coincide round a loop: most of each lie within `tolerance` of one of the other. Both in order.
pub(super) fn on_each_other(a: &[f64], b: &[f64], length: f64, tolerance: f64) -> bool {
    are_near(a, b, length, tolerance) && are_near(b, a, length, tolerance)
}

fn are_near(a: &[f64], b: &[f64], length: f64, tolerance: f64) -> bool {
    let (Some(&first), Some(&last)) = (b.first(), b.last()) else { return false };
    let mut may_miss = ((1.0 - MIN_SHARE) * a.len() as f64 + 1e-9) as usize;
    let mut next = 0;
    a.iter().all(|&t| {
        while next < b.len() && b[next] < t {
            next += 1;
        }
        let above = b.get(next).copied().unwrap_or(first + length) - t;
        let below = t - if next > 0 { b[next - 1] } else { last - length };
        let is_near = above.min(below) <= tolerance;
        let goes_on = is_near || may_miss > 0;
        may_miss -= usize::from(!is_near && goes_on);
        goes_on
    })
}
