//! Lowers a high sample rate by a whole factor, with a low-pass filter that does not shift the sound.

use super::lanes::{LANES, dot};
use super::signal::{Mono, read_finite};
use std::f64::consts::PI;

/// Highest frequency that is analysed, in hertz and as a part of the lower rate.
const PASS_HZ: f64 = 17_000.0;
const PASS_PART: f64 = 0.47;
/// Attenuation in decibels of what would be mirrored into the frequencies analysed.
const ATTENUATION: f64 = 70.0;

/// A low-pass filter of linear phase, of which only every `factor`-th result is calculated.
pub(super) struct Decimator {
    factor: usize,
    /// The filter's values, padded with zeros to a multiple of [`LANES`].
    taps: Vec<f32>,
    /// Index of the middle one.
    middle: usize,
    input: Vec<f32>,
}

impl Decimator {
    /// Windowed sinc; length and shape of the Kaiser window by Kaiser's formulas (Oppenheim & Schafer, Discrete-Time Signal
    /// Processing, section on the Kaiser window).
    pub(super) fn new(rate: f64, factor: usize) -> Self {
        let low = rate / factor as f64;
        let pass = PASS_HZ.min(PASS_PART * low);
        let transition = (low - 2.0 * pass) / rate;
        let middle = ((ATTENUATION - 7.95) / (14.36 * transition) / 2.0).ceil();
        let beta = 0.1102 * (ATTENUATION - 8.7);
        let cutoff = 1.0 / factor as f64;
        let tap = |i: usize| {
            let x = i as f64 - middle;
            let sinc = if x == 0.0 { 1.0 } else { (PI * cutoff * x).sin() / (PI * cutoff * x) };
            sinc * bessel(beta * (1.0 - (x / (middle + 1.0)).powi(2)).sqrt())
        };
        let middle = middle as usize;
        let taps: Vec<f64> = (0..=2 * middle).map(tap).collect();
        let sum: f64 = taps.iter().sum();
        let mut taps: Vec<f32> = taps.iter().map(|t| (t / sum) as f32).collect();
        taps.resize(taps.len().next_multiple_of(LANES), 0.0);
        Self { factor, taps, middle, input: Vec::new() }
    }

    /// Fills `out` with the samples from index `from` at the lower rate.
    pub(super) fn read(&mut self, sound: &dyn Mono, from: usize, out: &mut [f32]) {
        let Some(last) = out.len().checked_sub(1) else { return };
        let len = last * self.factor + self.taps.len();
        self.input.clear();
        self.input.resize(len, 0.0);
        let start = from * self.factor;
        let skipped = self.middle.saturating_sub(start);
        let first = (start + skipped) - self.middle;
        let available = (len - skipped).min(sound.len().saturating_sub(first));
        read_finite(sound, first, &mut self.input[skipped..skipped + available]);
        filter(&self.input, &self.taps, self.factor, out);
    }
}

#[pulp::with_simd(filter = pulp::Arch::new())]
#[inline(always)]
fn filter_with<'a, S: pulp::Simd>(_: S, input: &'a [f32], taps: &'a [f32], factor: usize, out: &'a mut [f32]) {
    for (i, sample) in out.iter_mut().enumerate() {
        let [even, odd] = dot(&input[i * factor..i * factor + taps.len()], taps);
        *sample = even + odd;
    }
}

/// The modified Bessel function of the first kind of order 0, by its power series.
fn bessel(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > 1e-12 * sum {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RMS of the result of a sine, away from the ends.
    fn response(rate: f64, factor: usize, frequency: f64) -> f64 {
        let sound: Vec<f32> = (0..80_000).map(|i| (2.0 * PI * frequency * f64::from(i) / rate).sin() as f32).collect();
        let mut out = vec![0.0; 80_000 / factor];
        Decimator::new(rate, factor).read(&sound, 0, &mut out);
        let kept = &out[200..out.len() - 200];
        (kept.iter().map(|x| f64::from(x * x)).sum::<f64>() / kept.len() as f64 * 2.0).sqrt()
    }

    #[test]
    fn what_is_analysed_passes_and_what_would_be_mirrored_into_it_does_not() {
        for (rate, factor) in [(96_000.0, 2), (88_200.0, 2), (192_000.0, 4), (60_002.0, 2)] {
            let low = rate / factor as f64;
            let pass = PASS_HZ.min(PASS_PART * low);
            for f in [400.0, 5_000.0, 0.99 * pass] {
                assert!((response(rate, factor, f) - 1.0).abs() < 0.002, "{rate}: {f}");
            }
            for f in [low - 0.99 * pass, low - 1_000.0] {
                assert!(response(rate, factor, f) < 1e-3, "{rate}: {f}");
            }
        }
    }

    #[test]
    fn a_click_stays_where_it_is() {
        let mut sound = vec![0.0; 4_001];
        sound[2_000] = 1.0;
        let mut whole = vec![0.0; 2_001];
        let mut decimator = Decimator::new(96_000.0, 2);
        decimator.read(&sound, 0, &mut whole);
        let loudest = (0..whole.len()).max_by(|a, b| whole[*a].total_cmp(&whole[*b]));
        assert_eq!(loudest, Some(1_000));
        for i in 1..20 {
            assert!((whole[1_000 - i] - whole[1_000 + i]).abs() < 1e-6, "{i}");
        }
        // In pieces it is the same.
        let mut part = vec![0.0; 300];
        decimator.read(&sound, 900, &mut part);
        assert_eq!(part, whole[900..1_200]);
        decimator.read(&sound, 1_701, &mut part);
        assert_eq!(part, whole[1_701..]);
    }
}
