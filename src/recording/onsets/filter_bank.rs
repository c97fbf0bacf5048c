//! Triangular filters at logarithmic distances over the magnitude spectra of two frames at once. What belongs to both alternates:
//! the value of one frame, then that of the other.

use super::lanes::{LANES, dot};

/// Centres in hertz: the lowest, and the most the highest may be, also as a part of the sample rate.
const MIN_HZ: f64 = 30.0;
const MAX_HZ: f64 = 17_000.0;
const MAX_PART: f64 = 0.47;

/// The filters of one spectrum size. Each reaches from the centre below to the centre above; its weights have the sum 1.
pub(super) struct FilterBank {
    filters: Vec<Filter>,
    /// The weights of all filters for either frame, padded with zeros to a multiple of [`LANES`].
    weights: Vec<f32>,
    /// Bins that are read.
    bins: usize,
}

struct Filter {
    first_bin: usize,
    first_weight: usize,
    /// Number of weights.
    width: usize,
    centre: f64,
}

impl FilterBank {
    /// `size` is the length of the transform, `per_octave` the number of centres. Centres that fall on the same bin are one.
    pub(super) fn new(rate: f64, size: usize, per_octave: f64) -> Self {
        let steps = ((MAX_HZ.min(MAX_PART * rate) / MIN_HZ).log2() * per_octave).ceil().max(0.0) as usize;
        let bin = |k: usize| (MIN_HZ * (k as f64 / per_octave).exp2() * size as f64 / rate).round_ties_even() as usize;
        let mut centres: Vec<usize> = (0..=steps).map(bin).filter(|b| (1..=size / 2).contains(b)).collect();
        centres.dedup();
        let (mut filters, mut weights) = (Vec::new(), Vec::new());
        for window in centres.windows(3) {
            let &[low, centre, high] = window else { continue };
            let slope = |b: usize| {
                let (rise, fall) =
                    ((b - low) as f64 / (centre - low) as f64, (high - b) as f64 / (high - centre) as f64);
                rise.min(fall)
            };
            let sum: f64 = (low..=high).map(slope).sum();
            let width = (2 * (high - low - 1)).next_multiple_of(LANES);
            filters.push(Filter {
                first_bin: low + 1,
                first_weight: weights.len(),
                width,
                centre: centre as f64 * rate / size as f64,
            });
            weights.extend((low + 1..high).flat_map(|b| [(slope(b) / sum) as f32; 2]));
            weights.resize(weights.len().next_multiple_of(LANES), 0.0);
        }
        let bins = filters.iter().map(|f| f.first_bin + f.width / 2).max().unwrap_or(0);
        Self { filters, weights, bins }
    }

    /// Number of filters.
    pub(super) fn len(&self) -> usize {
        self.filters.len()
    }

    /// Number of bins that [`write_means`](Self::write_means) reads; more than the spectrum has if the last filters are padded.
    pub(super) fn bins(&self) -> usize {
        self.bins
    }

    /// Number of filters centred below a frequency.
    pub(super) fn count_below(&self, frequency: f64) -> usize {
        self.filters.partition_point(|f| f.centre < frequency)
    }

    /// Number of filters centred at most at a frequency.
    pub(super) fn count_up_to(&self, frequency: f64) -> usize {
        self.filters.partition_point(|f| f.centre <= frequency)
    }

    /// Writes the weighted means of the magnitudes in every filter.
    #[inline(always)]
    pub(super) fn write_means(&self, magnitudes: &[f32], means: &mut [f32]) {
        for (f, means) in self.filters.iter().zip(means.as_chunks_mut().0) {
            let magnitudes = &magnitudes[2 * f.first_bin..2 * f.first_bin + f.width];
            *means = dot(magnitudes, &self.weights[f.first_weight..f.first_weight + f.width]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn means(bank: &FilterBank, magnitudes: &[f32]) -> Vec<[f32; 2]> {
        let mut means = vec![0.0; 2 * bank.len()];
        bank.write_means(magnitudes, &mut means);
        means.as_chunks().0.to_vec()
    }

    #[test]
    fn a_flat_spectrum_has_the_same_mean_in_every_filter() {
        for (rate, size, per_octave) in [(44_100.0, 2048, 24.0), (44_100.0, 512, 12.0), (8_000.0, 512, 24.0)] {
            let bank = FilterBank::new(rate, size, per_octave);
            let flat = [3.0, 2.0].repeat(bank.bins());
            for (i, [first, second]) in means(&bank, &flat).into_iter().enumerate() {
                assert!((first - 3.0).abs() < 1e-5 && (second - 2.0).abs() < 1e-5, "{rate} {size} {i}");
            }
        }
        assert_eq!(FilterBank::new(50.0, 4, 12.0).len(), 0);
    }

    #[test]
    fn a_line_is_in_the_filters_around_it() {
        let bank = FilterBank::new(44_100.0, 2048, 24.0);
        let mut line = vec![0.0; 2 * bank.bins()];
        line[2 * 100 + 1] = 1.0;
        let means = means(&bank, &line);
        assert!(means.iter().all(|[first, _]| *first == 0.0));
        let hit: Vec<usize> = (0..means.len()).filter(|i| means[*i][1] > 0.0).collect();
        assert!(hit.len() <= 2 && hit.windows(2).all(|w| w[1] == w[0] + 1), "{hit:?}");
        let frequency = 100.0 * 44_100.0 / 2048.0;
        assert!(hit[0] <= bank.count_up_to(frequency) && bank.count_below(frequency) <= hit[hit.len() - 1] + 1);
    }
}
