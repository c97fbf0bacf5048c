//! Spectral flux: how much the logarithmic spectrum rises from one frame to the next but one, with and without the maximum
//! filter over neighbouring bands that keeps vibrato out (Boeck & Widmer 2013).

use super::filter_bank::FilterBank;
use super::lanes::sum;
use crate::analysis::listener::ln;
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};
use std::f64::consts::{LOG10_E, PI};
use std::sync::Arc;

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

/// Measures the flux, two frames at a time. What belongs to both alternates: the value of one frame, then that of the other.
pub(super) struct Flux {
    compression: f32,
    bank: FilterBank,
    /// First band above 3000 Hz, and number of bands below 300 Hz.
    high: usize,
    low: usize,
    /// Hann window that leaves half the amplitude of a sine.
    window: Vec<f32>,
    transform: Arc<dyn Fft<f32>>,
    /// Of a signal of which the real part is one frame and the imaginary part the other.
    spectrum: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    magnitudes: Vec<f32>,
    /// Logarithmic spectra of the two frames before and of these; the bands at either end stand twice.
    before: Vec<f32>,
    now: Vec<f32>,
    rises: Vec<f32>,
    is_first: bool,
}

impl Flux {
    pub(super) fn new(rate: f64, params: &FluxParams) -> Self {
        let size = params.size;
        let bank = FilterBank::new(rate, size, params.bands_per_octave);
        // The sum of this window is half its size.
        let hann = |i: usize| (0.5 - 0.5 * (2.0 * PI * i as f64 / size as f64).cos()) * 2.0 / size as f64;
        let transform = FftPlanner::new().plan_fft_forward(size);
        Self {
            compression: params.compression,
            high: bank.count_up_to(HIGH_HZ),
            low: bank.count_below(LOW_HZ),
            window: (0..size).map(|i| hann(i) as f32).collect(),
            spectrum: vec![Complex::default(); size],
            scratch: vec![Complex::default(); transform.get_inplace_scratch_len()],
            magnitudes: vec![0.0; 2 * bank.bins()],
            before: vec![0.0; 2 * (bank.len() + 2)],
            now: vec![0.0; 2 * (bank.len() + 2)],
            rises: vec![0.0; 2 * bank.len()],
            transform,
            bank,
            is_first: true,
        }
    }

    pub(super) fn size(&self) -> usize {
        self.window.len()
    }

    /// Whether the sample rate is too low for any band.
    pub(super) fn is_empty(&self) -> bool {
        self.bank.len() == 0
    }

    /// The flux at the next two frames, from the two before. The first two have none.
    pub(super) fn next_two(&mut self, samples: [&[f32]; 2]) -> [FluxFrame; 2] {
        next_two(self, samples)
    }

    /// Measures the magnitudes.
    #[inline(always)]
    fn analyse(&mut self, [first, second]: [&[f32]; 2]) {
        for (((to, re), im), factor) in self.spectrum.iter_mut().zip(first).zip(second).zip(&self.window) {
            *to = Complex::new(re * factor, im * factor);
        }
        self.transform.process_with_scratch(&mut self.spectrum, &mut self.scratch);
        // The spectrum of the real part is the symmetric part of this one, that of the imaginary part the antisymmetric part.
        let positive = &self.spectrum[1..=self.window.len() / 2];
        for ((pair, z), w) in
            self.magnitudes.as_chunks_mut().0[1..].iter_mut().zip(positive).zip(self.spectrum.iter().rev())
        {
            let (sum, difference) = (z + w, z - w);
            let squares =
                [sum.re * sum.re + difference.im * difference.im, difference.re * difference.re + sum.im * sum.im];
            *pair = squares.map(f32::sqrt);
        }
    }

    /// Calculates the logarithmic spectra.
    #[inline(always)]
    fn compress(&mut self) {
        std::mem::swap(&mut self.before, &mut self.now);
        let end = 2 * self.bank.len() + 2;
        let bands = &mut self.now[2..end];
        self.bank.write_means(&self.magnitudes, bands);
        for value in bands {
            *value = ln(1.0 + self.compression * *value) * LOG10_E as f32;
        }
        self.now.copy_within(2..4, 0);
        self.now.copy_within(end - 2..end, end);
    }

    /// Compares these frames with those before.
    #[inline(always)]
    fn measure(&mut self) -> [FluxFrame; 2] {
        let (before, now) = (&self.before, &self.now[2..]);
        for (((rise, now), same), lower) in self.rises.iter_mut().zip(now).zip(&before[2..]).zip(before) {
            *rise = positive(now - maximum(*same, *lower));
        }
        // The upper neighbour in a loop of its own: less the greater of two values is the lesser of two rises.
        for ((rise, now), upper) in self.rises.iter_mut().zip(now).zip(&before[4..]) {
            let other = positive(now - upper);
            *rise = if other < *rise { other } else { *rise };
        }
        let (all, high, low) =
            (means(&self.rises), means(&self.rises[2 * self.high..]), means(&self.rises[..2 * self.low]));
        for ((rise, now), same) in self.rises.iter_mut().zip(now).zip(&before[2..]) {
            *rise = positive(now - same);
        }
        let unfiltered = means(&self.rises);
        [0, 1].map(|i| FluxFrame { all: all[i], high: high[i], low: low[i], unfiltered: unfiltered[i] })
    }
}

#[pulp::with_simd(next_two = pulp::Arch::new())]
#[inline(always)]
fn next_two_with<'a, S: pulp::Simd>(_: S, flux: &'a mut Flux, samples: [&'a [f32]; 2]) -> [FluxFrame; 2] {
    flux.analyse(samples);
    flux.compress();
    if std::mem::take(&mut flux.is_first) { [FluxFrame::default(); 2] } else { flux.measure() }
}

/// The means of some values for either frame; 0 of none.
#[inline(always)]
fn means(values: &[f32]) -> [f32; 2] {
    let count = (values.len() / 2).max(1) as f32;
    sum(values).map(|sum| sum / count)
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
