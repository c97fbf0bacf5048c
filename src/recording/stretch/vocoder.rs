//! A phase vocoder with peaks locked to their surroundings and channels locked to each other.
//!
//! Each frame keeps the magnitudes of the source at its place. The phase of each spectral peak goes on from the frame before by
//! what the source's phase advances within one hop, measured by a second transform one hop earlier; all bins around a peak are
//! turned by the same angle (identity phase locking: J. Laroche and M. Dolson, "Improved phase vocoder time-scale modification of
//! audio", IEEE Transactions on Speech and Audio Processing 7(3), 1999). The angle is found from all channels together, so levels
//! and phases between channels are kept.

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::collections::VecDeque;
use std::f64::consts::TAU;
use std::sync::Arc;

/// Hops per window.
const OVERLAP: usize = 4;
/// Neighbours on either side that a peak exceeds.
const NEIGHBORS: usize = 2;

type Bins = Vec<Complex<f32>>;

/// The spectra of one channel.
struct Channel {
    /// The source here, and one hop earlier.
    here: Bins,
    earlier: Bins,
    /// The frame made last.
    made: Bins,
}

pub(super) struct Vocoder {
    window: Vec<f32>,
    hop: usize,
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    channels: Vec<Channel>,
    block: Vec<f32>,
    scratch: Bins,
    power: Vec<f32>,
    turns: Bins,
    /// Interleaved sums of windowed frames that are not yet complete, and the sums of their squared windows.
    sums: Vec<f32>,
    weights: Vec<f32>,
    /// Complete frames, interleaved.
    ready: VecDeque<f32>,
    /// Hops still to be dropped because they lie before the middle of the first frame.
    dropped: usize,
    fresh: bool,
}

impl Vocoder {
    /// `size` is the length of the window.
    pub(super) fn new(size: usize, channels: usize) -> Self {
        let size = size.next_multiple_of(2 * OVERLAP);
        let mut planner = RealFftPlanner::new();
        let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
        let bins = || vec![Complex::default(); size / 2 + 1];
        let scratch = forward.get_scratch_len().max(inverse.get_scratch_len());
        Self {
            window: (0..size).map(|k| (0.5 - 0.5 * (TAU * k as f64 / size as f64).cos()) as f32).collect(),
            hop: size / OVERLAP,
            forward,
            inverse,
            channels: (0..channels).map(|_| Channel { here: bins(), earlier: bins(), made: bins() }).collect(),
            block: vec![0.0; size],
            scratch: vec![Complex::default(); scratch],
            power: vec![0.0; size / 2 + 1],
            turns: bins(),
            sums: vec![0.0; size * channels],
            weights: vec![0.0; size],
            ready: VecDeque::new(),
            dropped: OVERLAP / 2,
            fresh: true,
        }
    }

    pub(super) fn hop(&self) -> usize {
        self.hop
    }

    pub(super) fn half(&self) -> usize {
        self.window.len() / 2
    }

    /// Starts anew: the next frame has the phases of the source.
    pub(super) fn reset(&mut self) {
        self.sums.fill(0.0);
        self.weights.fill(0.0);
        self.ready.clear();
        self.dropped = OVERLAP / 2;
        self.fresh = true;
    }

    /// Adds the frame whose middle is the frame `at` of the source, one hop after the frame added last.
    pub(super) fn add<'s>(&mut self, at: i64, source: impl Fn(i64) -> &'s [f32]) {
        let half = self.half() as i64;
        for (c, channel) in self.channels.iter_mut().enumerate() {
            for (bins, from) in [(&mut channel.here, at - half), (&mut channel.earlier, at - half - self.hop as i64)] {
                for (k, (x, w)) in self.block.iter_mut().zip(&self.window).enumerate() {
                    *x = w * source(from + k as i64)[c];
                }
                // The lengths were made to fit.
                let _ = self.forward.process_with_scratch(&mut self.block, bins, &mut self.scratch);
            }
        }
        if self.fresh {
            for channel in &mut self.channels {
                channel.made.copy_from_slice(&channel.here);
            }
        } else {
            self.find_turns();
            for channel in &mut self.channels {
                for ((made, here), turn) in channel.made.iter_mut().zip(&channel.here).zip(&self.turns) {
                    *made = here * turn;
                }
            }
        }
        self.overlap_add();
        self.fresh = false;
    }

    /// The turn of each bin: that of the peak in whose surroundings it lies.
    fn find_turns(&mut self) {
        for (k, power) in self.power.iter_mut().enumerate() {
            *power = self.channels.iter().map(|c| c.here[k].norm_sqr()).sum();
        }
        let power = &self.power;
        let mut last: Option<usize> = None;
        let mut done = 0;
        let is_peak = |k: usize| {
            let around = k.saturating_sub(NEIGHBORS)..=(k + NEIGHBORS).min(power.len() - 1);
            power[k] > 0.0 && around.into_iter().all(|j| power[j] < power[k] || j == k)
        };
        for k in 0..power.len() {
            if !is_peak(k) {
                continue;
            }
            if let Some(last) = last {
                let end = (last..k).min_by(|&a, &b| power[a].total_cmp(&power[b])).unwrap_or(last) + 1;
                let turn = Self::turn(&self.channels, last);
                self.turns[done..end].fill(turn);
                done = end;
            }
            last = Some(k);
        }
        let turn = last.map_or(Complex::new(1.0, 0.0), |last| Self::turn(&self.channels, last));
        self.turns[done..].fill(turn);
    }

    /// The angle by which the source's phase at a peak differs from that to be made, as a number of magnitude 1.
    fn turn(channels: &[Channel], peak: usize) -> Complex<f32> {
        let sum: Complex<f32> = channels.iter().map(|c| c.made[peak] * c.earlier[peak].conj()).sum();
        let magnitude = sum.norm();
        if magnitude > 1e-20 { sum / magnitude } else { Complex::new(1.0, 0.0) }
    }

    fn overlap_add(&mut self) {
        let (size, count) = (self.window.len(), self.channels.len());
        for (weight, w) in self.weights.iter_mut().zip(&self.window) {
            *weight += w * w;
        }
        for (c, channel) in self.channels.iter_mut().enumerate() {
            let bins = &mut channel.here;
            bins.copy_from_slice(&channel.made);
            bins[0].im = 0.0;
            bins[size / 2].im = 0.0;
            let _ = self.inverse.process_with_scratch(bins, &mut self.block, &mut self.scratch);
            let sums = self.sums.iter_mut().skip(c).step_by(count);
            for (sum, (x, w)) in sums.zip(self.block.iter().zip(&self.window)) {
                *sum += x * w / size as f32;
            }
        }
        if self.dropped > 0 {
            self.dropped -= 1;
        } else {
            let frames = self.sums.chunks_exact(count).zip(&self.weights).take(self.hop);
            self.ready.extend(frames.flat_map(|(frame, weight)| frame.iter().map(|x| x / weight.max(1e-6))));
        }
        self.sums.drain(..self.hop * count);
        self.sums.resize(size * count, 0.0);
        self.weights.drain(..self.hop);
        self.weights.resize(size, 0.0);
    }

    /// Number of complete frames that can be taken, from the middle of the first frame added on.
    pub(super) fn ready(&self) -> usize {
        self.ready.len() / self.channels.len()
    }

    /// Takes one frame.
    pub(super) fn take(&mut self, into: &mut [f32]) {
        for x in into {
            *x = self.ready.pop_front().unwrap_or_default();
        }
    }
}
