//! Spectral flux: how much the logarithmic spectrum rises from one frame to the next but one, with and without the maximum
//! filter over neighbouring bands that keeps vibrato out (Boeck & Widmer 2013).

use super::filter_bank::FilterBank;
use super::lanes::sum;
use crate::analysis::listener::ln;
use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};
use std::f64::consts::{LOG10_E, PI};
use std::sync::Arc;

/// Frames between the two that are compared.
const LAG: usize = 2;
/// Bands above and below these frequencies, in hertz, are looked at on their own.
const HIGH_HZ: f64 = 3_000.0;
const LOW_HZ: f64 = 300.0;

/// The shape of one flux.
pub(super) struct FluxParams {
    /// Samples of a frame, a power of two.
    pub(super) size: usize,
    pub(super) bands_per_octave: f64,
    /// Factor of the magnitudes before the logarithm.
    pub(super) compression: f32,
}

/// The flux at one frame: mean rises over bands, in decades.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct FluxFrame {
    /// With the maximum filter, over all bands, those above 3000 Hz and those below 300 Hz.
    pub(super) all: f32,
    pub(super) high: f32,
    pub(super) low: f32,
    /// Without it, over all bands.
    pub(super) unfiltered: f32,
}

/// Measures the flux frame by frame.
pub(super) struct Flux {
    compression: f32,
    bank: FilterBank,
    /// First band above 3000 Hz, and number of bands below 300 Hz.
    high: usize,
    low: usize,
    /// Hann window that leaves the amplitude of a sine.
    window: Vec<f32>,
    transform: Arc<dyn RealToComplex<f32>>,
    input: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    magnitudes: Vec<f32>,
    /// Logarithmic spectra of this frame and the two before; the bands at either end stand twice.
    rows: [Vec<f32>; LAG + 1],
    rises: Vec<f32>,
    frames: usize,
}

impl Flux {
    pub(super) fn new(rate: f64, params: &FluxParams, planner: &mut RealFftPlanner<f32>) -> Self {
        let size = params.size;
        let bank = FilterBank::new(rate, size, params.bands_per_octave);
        // The sum of this window is half its size.
        let hann = |i: usize| (0.5 - 0.5 * (2.0 * PI * i as f64 / size as f64).cos()) * 4.0 / size as f64;
        let transform = planner.plan_fft_forward(size);
        Self {
            compression: params.compression,
            high: bank.count_up_to(HIGH_HZ),
            low: bank.count_below(LOW_HZ),
            window: (0..size).map(|i| hann(i) as f32).collect(),
            input: vec![0.0; size],
            spectrum: transform.make_output_vec(),
            scratch: transform.make_scratch_vec(),
            magnitudes: vec![0.0; bank.bins().max(size / 2 + 1)],
            rows: std::array::from_fn(|_| vec![0.0; bank.len() + 2]),
            rises: vec![0.0; bank.len()],
            transform,
            bank,
            frames: 0,
        }
    }

    pub(super) fn size(&self) -> usize {
        self.window.len()
    }

    /// Whether the sample rate is too low for any band.
    pub(super) fn is_empty(&self) -> bool {
        self.bank.len() == 0
    }

    /// The flux at the next frame. The first two have none.
    pub(super) fn next(&mut self, samples: &[f32]) -> FluxFrame {
        next(self, samples)
    }

    #[inline(always)]
    fn analyse(&mut self, samples: &[f32]) {
        for ((input, sample), factor) in self.input.iter_mut().zip(samples).zip(&self.window) {
            *input = sample * factor;
        }
        self.transform
            .process_with_scratch(&mut self.input, &mut self.spectrum, &mut self.scratch)
            .expect("buffers of the transform's sizes");
    }

    /// Writes the logarithmic spectrum of this frame to the last row.
    #[inline(always)]
    fn compress(&mut self) {
        self.rows.rotate_left(1);
        for (magnitude, bin) in self.magnitudes.iter_mut().zip(&self.spectrum) {
            *magnitude = (bin.re * bin.re + bin.im * bin.im).sqrt();
        }
        let row = &mut self.rows[LAG];
        let bands = self.bank.len();
        for (i, value) in row[1..=bands].iter_mut().enumerate() {
            *value = self.bank.mean(i, &self.magnitudes);
        }
        for value in &mut row[1..=bands] {
            *value = ln(1.0 + self.compression * *value) * LOG10_E as f32;
        }
        (row[0], row[bands + 1]) = (row[1], row[bands]);
    }

    /// Compares this frame with the one before the last.
    #[inline(always)]
    fn measure(&mut self) -> FluxFrame {
        let (before, now) = (&self.rows[0], &self.rows[LAG][1..=self.rises.len()]);
        for (((rise, now), same), lower) in self.rises.iter_mut().zip(now).zip(&before[1..]).zip(before) {
            *rise = positive(now - maximum(*same, *lower));
        }
        // The upper neighbour in a loop of its own: less the greater of two values is the lesser of two rises.
        for ((rise, now), upper) in self.rises.iter_mut().zip(now).zip(&before[2..]) {
            let other = positive(now - upper);
            *rise = if other < *rise { other } else { *rise };
        }
        let (all, high, low) = (mean(&self.rises), mean(&self.rises[self.high..]), mean(&self.rises[..self.low]));
        for ((rise, now), same) in self.rises.iter_mut().zip(now).zip(&before[1..]) {
            *rise = positive(now - same);
        }
        FluxFrame { all, high, low, unfiltered: mean(&self.rises) }
    }
}

#[pulp::with_simd(next = pulp::Arch::new())]
#[inline(always)]
fn next_with<'a, S: pulp::Simd>(_: S, flux: &'a mut Flux, samples: &'a [f32]) -> FluxFrame {
    flux.analyse(samples);
    flux.compress();
    flux.frames += 1;
    if flux.frames > LAG { flux.measure() } else { FluxFrame::default() }
}

/// The mean of some values; 0 of none.
#[inline(always)]
fn mean(values: &[f32]) -> f32 {
    if values.is_empty() { 0.0 } else { sum(values) / values.len() as f32 }
}

/// Choices that become vector instructions.
#[inline(always)]
fn positive(x: f32) -> f32 {
    if x > 0.0 { x } else { 0.0 }
}

#[inline(always)]
fn maximum(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}
