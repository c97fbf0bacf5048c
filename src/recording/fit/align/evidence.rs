//! How well strengths and bands of hits agree with what should sound.
//!
//! Per feature, two models of the hits are compared with one mean for all, as log likelihood ratios of normal models less the price
//! of the additional parameters (Schwarz, *Estimating the dimension of a model*, 1978):
//! - every class of events has a mean of its own, whatever it is;
//! - every layer has a strength of its own in every band, and a class is the sum of its layers by their accents.
//!
//! The first holds for any mixture of sounds; the second has fewer parameters, and notices that an accent stands where a plain
//! attack should. The better one counts. The direction comes from the correlation with what the classes should be like: without it
//! two layers that change places would look alike. Ours, no source.

use super::context::Context;
use super::events::{Features, LOG_FLOOR, centred, log_features};
use super::reading::Item;
use crate::recording::fit::onset::median;

/// Hits that say something.
const MIN_HITS: usize = 6;
/// Added to variances of logarithms (ours, no source).
const VARIANCE_FLOOR: f64 = 0.02;
/// A correlation from which on a feature counts in full, as a fraction of the highest there can be (ours, no source).
const FULL_CORRELATION: f64 = 0.67;
/// A feature all classes have in common has no direction.
const MIN_SPREAD: f64 = 1e-3;
/// Ratio of a normal distribution's standard deviation to its median distance from the mean.
const SIGMA_OF_MEDIAN_DISTANCE: f64 = 1.4826;
/// What the looks of one hit can say, in nats (ours, no source).
const MAX_HIT_GAIN: f64 = 3.0;
/// Rounds of coordinate descent: far more than a few layers need.
const DESCENT_ROUNDS: usize = 40;

/// Log likelihood ratio of strengths and bands of the hits among some items.
pub(super) fn band_evidence(context: &Context, items: &[Item]) -> f64 {
    let events = &context.events;
    let hits: Vec<(usize, [f64; 4])> = items
        .iter()
        .filter_map(Item::hit)
        .map(|(onset, stroke)| (events.classes[stroke.event], context.logs[onset]))
        .collect();
    if hits.len() < MIN_HITS || events.features.len() < 2 {
        return 0.0;
    }
    let classes = Classes::new(&hits, events.features.len());
    let by_layer = layer_features(&classes, &events.layer_weights);
    let total = hits.len() as f64;
    let layers = by_layer.layers as f64;
    let used = classes.numbers.iter().filter(|n| **n > 0.0).count() as f64;
    let features: Vec<(usize, Features)> = hits.iter().map(|(class, logs)| (*class, centred(*logs))).collect();
    let mut sum = 0.0;
    for f in 0..4 {
        let mean = features.iter().map(|(_, x)| x[f]).sum::<f64>() / total;
        let variance = |expected: &dyn Fn(usize) -> f64| {
            features.iter().map(|(class, x)| (x[f] - expected(*class)).powi(2)).sum::<f64>() / total + VARIANCE_FLOOR
        };
        let alike = variance(&|_| mean);
        // One onset of the common mean is added to every class.
        let own_mean = |c: usize| {
            let n = classes.numbers[c];
            (centred(classes.means[c])[f] * n + mean) / (n + 1.0)
        };
        let gain =
            |variance: f64, parameters: f64| 0.5 * total * (alike / variance).ln() - 0.5 * parameters * total.ln();
        let by_class = gain(variance(&own_mean), used - 1.0);
        let by_layer = gain(variance(&|c| by_layer.features[c][f]), layers - 1.0);
        let is_known = f == 0 || events.bands_known;
        let correlation = if is_known { correlation(&features, &events.features, f) } else { None };
        // The highest correlation that expected features can have is that of the classes' own means.
        let highest = (1.0 - variance(&own_mean) / alike).max(0.0).sqrt().max(MIN_SPREAD);
        let direction = correlation.map_or(1.0, |r| (r / (FULL_CORRELATION * highest)).clamp(-1.0, 1.0));
        sum += by_class.max(by_layer).max(0.0) * direction;
    }
    sum
}

/// What hits of each class look like, and what any onset of the recording looks like.
pub(super) struct Profile {
    means: Vec<Features>,
    variances: Features,
    common_mean: Features,
    common_variances: Features,
}

impl Profile {
    /// Of the hits among some items.
    pub(super) fn new(context: &Context, items: &[Item]) -> Self {
        let classes = &context.events.classes;
        let hits: Vec<(usize, Features)> = items
            .iter()
            .filter_map(Item::hit)
            .map(|(onset, stroke)| (classes[stroke.event], centred(context.logs[onset])))
            .collect();
        let all: Vec<Features> = context.logs.iter().map(|l| centred(*l)).collect();
        let average = |of: &mut dyn Iterator<Item = f64>, count: usize| of.sum::<f64>() / count.max(1) as f64;
        let common_mean = from_features(|f| average(&mut all.iter().map(|x| x[f]), all.len()));
        let common_variances = from_features(|f| {
            average(&mut all.iter().map(|x| (x[f] - common_mean[f]).powi(2)), all.len()) + VARIANCE_FLOOR
        });
        // Medians, since other music may be among the hits. One onset of the common mean is added to every class.
        let middle = |values: Vec<f64>| (values.len() as f64, median(&values).unwrap_or(0.0));
        let class_mean = |class: usize| {
            from_features(|f| {
                let (n, m) = middle(hits.iter().filter(|(c, _)| *c == class).map(|(_, x)| x[f]).collect());
                (m * n + common_mean[f]) / (n + 1.0)
            })
        };
        let means: Vec<Features> = (0..context.events.features.len()).map(class_mean).collect();
        let variances = from_features(|f| {
            let (_, distance) = middle(hits.iter().map(|(c, x)| (x[f] - means[*c][f]).abs()).collect());
            (SIGMA_OF_MEDIAN_DISTANCE * distance).powi(2) + VARIANCE_FLOOR
        });
        Self { means, variances, common_mean, common_variances }
    }

    /// Log odds of an onset's looks as an event of a class against any onset's.
    pub(super) fn gain(&self, logs: [f64; 4], class: usize) -> f64 {
        let x = centred(logs);
        let normal = |f: usize, mean: f64, variance: f64| -0.5 * ((x[f] - mean).powi(2) / variance + variance.ln());
        let gains = from_features(|f| {
            normal(f, self.means[class][f], self.variances[f])
                - normal(f, self.common_mean[f], self.common_variances[f])
        });
        // The three bands are centred: they say as much as two.
        (gains[0] + (gains[1] + gains[2] + gains[3]) * 2.0 / 3.0).clamp(-MAX_HIT_GAIN, MAX_HIT_GAIN)
    }
}

fn from_features(value: impl FnMut(usize) -> f64) -> Features {
    let mut value = value;
    [value(0), value(1), value(2), value(3)]
}

/// Hits of each class of events.
struct Classes {
    numbers: Vec<f64>,
    /// Mean logarithms.
    means: Vec<[f64; 4]>,
}

impl Classes {
    fn new(hits: &[(usize, [f64; 4])], count: usize) -> Self {
        let mut numbers = vec![0.0; count];
        let mut means = vec![[0.0; 4]; count];
        for (class, logs) in hits {
            numbers[*class] += 1.0;
            for (mean, log) in means[*class].iter_mut().zip(logs) {
                *mean += log;
            }
        }
        for (mean, n) in means.iter_mut().zip(&numbers).filter(|(_, n)| **n > 0.0) {
            *mean = mean.map(|m| m / n);
        }
        Self { numbers, means }
    }
}

/// Features of each class as the sum of its layers.
struct LayerModel {
    features: Vec<Features>,
    /// Layers that are heard.
    layers: usize,
}

/// Fits a strength of every layer in every band to the classes: least squares of relative errors, none below zero.
fn layer_features(classes: &Classes, weights: &[Vec<f64>]) -> LayerModel {
    let layers = weights.first().map_or(0, Vec::len);
    let mut sums = vec![[0.0; 4]; classes.numbers.len()];
    for f in 0..4 {
        let mut normal = vec![vec![0.0; layers]; layers];
        let mut right = vec![0.0; layers];
        for ((n, mean), w) in classes.numbers.iter().zip(&classes.means).zip(weights).filter(|((n, _), _)| **n > 0.0) {
            let strength = mean[f].exp();
            // The floor of the logarithm is in the mean as well.
            let heard = (strength - LOG_FLOOR).max(0.0);
            let weight = n / (strength * strength);
            for (i, a) in w.iter().enumerate().filter(|(_, a)| **a != 0.0) {
                right[i] += weight * a * heard;
                for (j, b) in w.iter().enumerate() {
                    normal[i][j] += weight * a * b;
                }
            }
        }
        let strengths = non_negative_solution(&normal, &right);
        for (sum, w) in sums.iter_mut().zip(weights) {
            sum[f] = w.iter().zip(&strengths).map(|(a, s)| a * s).sum();
        }
    }
    let is_heard = |layer: usize| weights.iter().zip(&classes.numbers).any(|(w, n)| w[layer] > 0.0 && *n > 0.0);
    LayerModel {
        features: sums.into_iter().map(log_features).collect(),
        layers: (0..layers).filter(|l| is_heard(*l)).count().max(1),
    }
}

/// Least squares with no unknown below zero, by coordinate descent from zero on.
fn non_negative_solution(normal: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let mut x = vec![0.0; right.len()];
    for _ in 0..DESCENT_ROUNDS {
        for (i, row) in normal.iter().enumerate().filter(|(i, row)| row[*i] > 0.0) {
            let others: f64 = row.iter().zip(&x).map(|(a, b)| a * b).sum::<f64>() - row[i] * x[i];
            x[i] = ((right[i] - others) / row[i]).max(0.0);
        }
    }
    x
}

/// Correlation of a feature of hits with that of their classes; `None` if the classes do not differ in it.
fn correlation(hits: &[(usize, Features)], expected: &[Features], f: usize) -> Option<f64> {
    let total = hits.len() as f64;
    let mean_x = hits.iter().map(|(_, x)| x[f]).sum::<f64>() / total;
    let mean_y = hits.iter().map(|(class, _)| expected[*class][f]).sum::<f64>() / total;
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (class, features) in hits {
        let (x, y) = (features[f] - mean_x, expected[*class][f] - mean_y);
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    if (yy / total).sqrt() < MIN_SPREAD {
        return None;
    }
    let scale = (xx * yy).sqrt();
    Some(if scale > 0.0 { xy / scale } else { 0.0 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strengths_of_layers_are_found_from_their_sums() {
        // Two layers of strengths 2 and 0.5, and one that never sounds.
        let weights = vec![vec![1.0, 0.0, 0.0], vec![0.6, 1.0, 0.0], vec![0.0, 0.6, 0.0]];
        let log = |v: f64| [(v + LOG_FLOOR).ln(); 4];
        let classes = Classes { numbers: vec![5.0, 9.0, 3.0], means: vec![log(2.0), log(1.7), log(0.3)] };
        let model = layer_features(&classes, &weights);
        assert_eq!(model.layers, 2);
        for (features, mean) in model.features.iter().zip(&classes.means) {
            assert!((features[0] - mean[0]).abs() < 1e-3, "{features:?}");
        }
    }

    #[test]
    fn no_strength_is_below_zero() {
        let x = non_negative_solution(&[vec![2.0, 1.0], vec![1.0, 2.0]], &[2.0, -1.0]);
        assert_eq!(x, vec![1.0, 0.0]);
    }
}
