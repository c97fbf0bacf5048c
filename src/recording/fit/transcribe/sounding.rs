//! Which kinds of sound an onset is made of.

use super::kinds::{SHARE_SIGMA, distance, logs, shares};
use super::prototype::Prototype;
use crate::recording::fit::onset::Onset;

/// Most kinds in one onset.
const MAX_PARTS: usize = 3;
/// Least part of an onset's strength.
const MIN_PART: f64 = 0.07;
/// Nats for every kind that sounds.
const PART_COST: f64 = 0.8;

/// Every set of one to three kinds out of so many.
pub(super) fn sets(count: usize) -> Vec<Vec<usize>> {
    let mut sets: Vec<Vec<usize>> = (0..count).map(|kind| vec![kind]).collect();
    let mut first = 0;
    for _ in 1..MAX_PARTS {
        let smaller = first..sets.len();
        first = sets.len();
        for set in smaller {
            let next = sets[set].last().map_or(0, |last| last + 1);
            for kind in next..count {
                let larger = sets[set].iter().copied().chain([kind]).collect();
                sets.push(larger);
            }
        }
    }
    sets
}

/// The kinds that sound in an onset, as index and strength.
///
/// Each of the `sets` of kinds is fitted by least squares; the set that leaves the bands' shares least unexplained wins, each
/// of its kinds at a cost.
pub(super) fn sounding(onset: &Onset, prototypes: &[Prototype], sets: &[Vec<usize>]) -> Vec<(usize, f64)> {
    let bands = onset.bands();
    let sum: f64 = bands.iter().sum();
    let target = logs(shares(bands));
    let mut best: Option<(f64, Vec<(usize, f64)>)> = None;
    for kinds in sets {
        let columns: Vec<[f64; 3]> = kinds.iter().map(|&kind| prototypes[kind].bands).collect();
        let Some(parts) = least_squares(&columns, bands) else { continue };
        if parts.iter().any(|part| *part < MIN_PART * sum) {
            continue;
        }
        let misfit = distance(logs(shares(mix(&columns, &parts))), target) / (2.0 * SHARE_SIGMA.powi(2));
        let cost = misfit + PART_COST * parts.len() as f64;
        if best.as_ref().is_none_or(|best| cost < best.0) {
            best = Some((cost, kinds.iter().copied().zip(parts).collect()));
        }
    }
    best.map_or_else(
        || {
            let nearest = (0..prototypes.len()).min_by(|&a, &b| {
                let gap = |kind: usize| distance(logs(prototypes[kind].bands), target);
                gap(a).total_cmp(&gap(b))
            });
            nearest.map(|kind| (kind, sum)).into_iter().collect()
        },
        |best| best.1,
    )
}

/// The sum of columns, each times its part.
pub(super) fn mix(columns: &[[f64; 3]], parts: &[f64]) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for (column, part) in columns.iter().zip(parts) {
        sum.iter_mut().zip(column).for_each(|(sum, value)| *sum += part * value);
    }
    sum
}

/// The parts of one to three columns that come nearest to a target. `None` if the columns do not determine them.
pub(super) fn least_squares(columns: &[[f64; 3]], target: [f64; 3]) -> Option<Vec<f64>> {
    let dot = |a: &[f64; 3], b: &[f64; 3]| -> f64 { a.iter().zip(b).map(|(a, b)| a * b).sum() };
    let n = columns.len();
    let mut matrix: Vec<Vec<f64>> = columns.iter().map(|a| columns.iter().map(|b| dot(a, b)).collect()).collect();
    let mut right: Vec<f64> = columns.iter().map(|a| dot(a, &target)).collect();
    // Gauss without pivoting: the matrix is symmetric, and its pivots are positive unless the columns depend on each other.
    for i in 0..n {
        let pivot = matrix[i][i];
        if pivot < 1e-9 {
            return None;
        }
        for row in i + 1..n {
            let factor = matrix[row][i] / pivot;
            let (above, below) = matrix.split_at_mut(row);
            for (value, eliminated) in below[0].iter_mut().zip(&above[i]) {
                *value -= factor * eliminated;
            }
            right[row] -= factor * right[i];
        }
    }
    for i in (0..n).rev() {
        let known: f64 = (i + 1..n).map(|column| matrix[i][column] * right[column]).sum();
        right[i] = (right[i] - known) / matrix[i][i];
    }
    Some(right)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn least_squares_finds_the_parts_of_a_mixture() {
        let columns = [[0.7, 0.2, 0.1], [0.1, 0.5, 0.4], [0.0, 0.1, 0.9]];
        let parts = least_squares(&columns, mix(&columns, &[0.5, 1.5, 0.25])).expect("independent columns");
        for (part, expected) in parts.iter().zip([0.5, 1.5, 0.25]) {
            assert!((part - expected).abs() < 1e-9, "{parts:?}");
        }
        assert_eq!(least_squares(&[columns[0], columns[0]], columns[1]), None);
    }

    #[test]
    fn sets_hold_one_to_three_kinds() {
        assert_eq!(sets(2), vec![vec![0], vec![1], vec![0, 1]]);
        assert_eq!(sets(4).len(), 4 + 6 + 4);
        assert_eq!(sets(5).len(), 5 + 10 + 10);
    }

    #[test]
    fn a_kick_with_a_hat_is_both() {
        let prototypes = [[0.77, 0.15, 0.08], [0.16, 0.47, 0.37], [0.02, 0.13, 0.85]].map(Prototype::new);
        let onset = Onset { seconds: 0.0, strength: 2.0, low: 0.79, mid: 0.28, high: 0.93 };
        let kinds: Vec<usize> = sounding(&onset, &prototypes, &sets(3)).into_iter().map(|part| part.0).collect();
        assert_eq!(kinds, vec![0, 2]);
    }
}
