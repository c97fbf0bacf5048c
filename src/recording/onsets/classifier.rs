//! The network that tells onsets from other changes, and its weights.

use super::features::{FEATURES, Features};

/// Units of the hidden layer.
const UNITS: usize = 96;
/// Scaled features are limited to this many deviations from their means.
const MAX_DEVIATION: f64 = 4.0;
/// Means and scales of the features, the weights of each feature for all units, the units' biases, the weights of the units,
/// and the bias of the output: little-endian numbers of 32 bits. `tests/onsets` has the programs that make them.
static WEIGHTS: &[u8; 4 * COUNT] = include_bytes!("onset-net.f32");
const COUNT: usize = 2 * FEATURES + FEATURES * UNITS + 2 * UNITS + 1;

/// A network with one hidden layer of rectified units.
pub(super) struct Classifier {
    weights: Vec<f64>,
}

impl Classifier {
    pub(super) fn new() -> Self {
        Self { weights: WEIGHTS.as_chunks::<4>().0.iter().map(|b| f64::from(f32::from_le_bytes(*b))).collect() }
    }

    /// The probability that a change with these features is an onset, 0 to 1.
    pub(super) fn probability(&self, features: &Features) -> f64 {
        let (means, rest) = self.weights.split_at(FEATURES);
        let (scales, rest) = rest.split_at(FEATURES);
        let (inputs, rest) = rest.split_at(FEATURES * UNITS);
        let (biases, rest) = rest.split_at(UNITS);
        let (outputs, bias) = rest.split_at(UNITS);
        let mut units = [0.0; UNITS];
        units.copy_from_slice(biases);
        for (((feature, mean), scale), row) in features.iter().zip(means).zip(scales).zip(inputs.chunks_exact(UNITS)) {
            let z = ((feature - mean) / scale).clamp(-MAX_DEVIATION, MAX_DEVIATION);
            for (unit, weight) in units.iter_mut().zip(row) {
                *unit += z * weight;
            }
        }
        let sum: f64 = units.iter().zip(outputs).map(|(unit, weight)| unit.max(0.0) * weight).sum();
        1.0 / (1.0 + (-(sum + bias[0])).exp())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_weights_are_finite_and_the_scales_positive() {
        let weights = Classifier::new().weights;
        assert_eq!(weights.len(), COUNT);
        assert!(weights.iter().all(|w| w.is_finite() && w.abs() < 100.0));
        assert!(weights[FEATURES..2 * FEATURES].iter().all(|s| *s > 0.0));
    }
}
