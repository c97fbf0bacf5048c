//! Squared envelopes of a short block in several bands, by transforming each band's bins back on their own: with no negative
//! frequencies the result is the analytic signal, of which the magnitude is the envelope. Few bins make few samples, so the
//! envelope comes at a low rate and without delay.

use super::signal::Signal;
use realfft::{RealFftPlanner, RealToComplex};
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};
use std::f64::consts::{FRAC_PI_2, PI};
use std::sync::Arc;

/// Edges of the bands in hertz. None has more than [`SAMPLES`] bins at the usual sample rates.
const EDGES: [f64; MAX_BANDS + 1] = [50.0, 200.0, 500.0, 1_200.0, 2_700.0, 5_500.0, 9_500.0, 13_800.0];
/// Most bands.
pub(super) const MAX_BANDS: usize = 7;
/// Bands that begin above this part of the sample rate are left out; the last one ends at most here.
const MAX_START: f64 = 0.47;
const MAX_END: f64 = 0.485;
/// Samples of an envelope, and most bins of a band.
pub(super) const SAMPLES: usize = 512;
/// Seconds over which the block fades in and out.
const FADE: f64 = 0.004;

/// A band as a part of the spectrum.
struct Mask {
    first_bin: usize,
    /// Slopes of squared sines, a quarter of the bandwidth wide.
    weights: Vec<f32>,
    bandwidth: f64,
}

impl Mask {
    fn new(low: f64, high: f64, rate: f64, size: usize) -> Self {
        let slope = (high - low) / 4.0;
        let weight = |bin: usize| {
            let f = bin as f64 * rate / size as f64;
            let rise = ((f - (low - slope / 2.0)) / slope).clamp(0.0, 1.0);
            let fall = ((high + slope / 2.0 - f) / slope).clamp(0.0, 1.0);
            ((FRAC_PI_2 * rise).sin() * (FRAC_PI_2 * fall).sin()).powi(2) as f32
        };
        let first_bin = (0..=size / 2).find(|b| weight(*b) > 0.0).unwrap_or(0);
        let weights = (first_bin..=size / 2).map(weight).take_while(|w| *w > 0.0).take(SAMPLES).collect();
        Self { first_bin, weights, bandwidth: high - low }
    }
}

/// Calculates the envelopes of blocks.
pub(super) struct Envelopes {
    rate: f64,
    fade: Vec<f32>,
    masks: Vec<Mask>,
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn Fft<f32>>,
    input: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
    /// The bins of a band, then its signal.
    band: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    squares: Vec<[f32; SAMPLES]>,
    start: f64,
}

impl Envelopes {
    /// `size` is the length of a block in samples, a power of two.
    pub(super) fn new(rate: f64, size: usize) -> Self {
        let masks: Vec<Mask> = EDGES
            .windows(2)
            .take_while(|edges| edges[0] < MAX_START * rate)
            .map(|edges| Mask::new(edges[0], edges[1].min(MAX_END * rate), rate, size))
            .collect();
        let faded = (FADE * rate) as usize;
        let fade = (0..faded).map(|i| (0.5 - 0.5 * (PI * i as f64 / faded as f64).cos()) as f32).collect();
        let forward = RealFftPlanner::new().plan_fft_forward(size);
        let inverse = FftPlanner::new().plan_fft_inverse(SAMPLES);
        let scratch = forward.get_scratch_len().max(inverse.get_inplace_scratch_len());
        Self {
            rate,
            fade,
            input: vec![0.0; size],
            spectrum: forward.make_output_vec(),
            band: vec![Complex::default(); SAMPLES],
            scratch: vec![Complex::default(); scratch],
            squares: vec![[0.0; SAMPLES]; masks.len()],
            masks,
            forward,
            inverse,
            start: 0.0,
        }
    }

    /// Seconds from sample to sample of an envelope.
    pub(super) fn step(&self) -> f64 {
        self.input.len() as f64 / SAMPLES as f64 / self.rate
    }

    /// Seconds at the start of the block.
    pub(super) fn start(&self) -> f64 {
        self.start
    }

    /// Widths of the bands in hertz.
    pub(super) fn bandwidths(&self) -> impl Iterator<Item = f64> {
        self.masks.iter().map(|m| m.bandwidth)
    }

    /// Squared envelopes of the block, one of each band.
    pub(super) fn squares(&self) -> &[[f32; SAMPLES]] {
        &self.squares
    }

    /// Goes to the block around a time in seconds.
    pub(super) fn move_to(&mut self, signal: &mut Signal, centre: f64) {
        let size = self.input.len();
        let start = (centre * self.rate).round_ties_even() as i64 - (size / 2) as i64;
        self.start = start as f64 / self.rate;
        self.input.copy_from_slice(signal.samples(start, size));
        for (i, factor) in self.fade.iter().enumerate() {
            self.input[i] *= factor;
            self.input[size - 1 - i] *= factor;
        }
        self.forward
            .process_with_scratch(&mut self.input, &mut self.spectrum, &mut self.scratch)
            .expect("buffers of the transform's sizes");
        let scale = (2.0 / size as f32).powi(2);
        for (mask, squares) in self.masks.iter().zip(&mut self.squares) {
            self.band.fill(Complex::default());
            let bins = &self.spectrum[mask.first_bin..mask.first_bin + mask.weights.len()];
            for ((to, bin), weight) in self.band.iter_mut().zip(bins).zip(&mask.weights) {
                *to = bin * weight;
            }
            self.inverse.process_with_scratch(&mut self.band, &mut self.scratch);
            for (square, sample) in squares.iter_mut().zip(&self.band) {
                *square = sample.norm_sqr() * scale;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_envelope_of_a_sine_is_its_amplitude_in_its_band_only() {
        let rate = 44_100.0;
        let mut envelopes = Envelopes::new(rate, 4096);
        assert_eq!(envelopes.squares().len(), MAX_BANDS);
        for (band, frequency) in [(0, 120.0), (3, 2_000.0), (6, 11_000.0)] {
            let sine = |i: usize| (2.0 * PI * frequency * i as f64 / rate).sin() as f32 * 0.5;
            let sound: Vec<f32> = (0..20_000).map(sine).collect();
            envelopes.move_to(&mut Signal::new(&sound, 44_100), 0.2);
            for (i, squares) in envelopes.squares().iter().enumerate() {
                // Away from the ends, where the block is faded.
                for square in &squares[150..360] {
                    let expected = if i == band { 0.25 } else { 0.0 };
                    assert!((square - expected).abs() < 0.01, "band {i} at {frequency} Hz: {square}");
                }
            }
        }
    }

    #[test]
    fn low_rates_have_fewer_bands() {
        for (rate, bands) in [(8_000.0, 5), (22_050.0, 7), (1_000.0, 2)] {
            let envelopes = Envelopes::new(rate, 1024);
            assert_eq!(envelopes.squares().len(), bands, "{rate}");
        }
    }
}
