//! The sound to analyse: one channel at a rate up to 60 kHz, of finite samples, at a level of its own, read piece by piece.

use super::decimator::Decimator;

/// Above this rate in hertz the sound is decimated.
const MAX_RATE: u32 = 60_000;
/// Samples read at a time, unless more are wanted.
const PIECE: usize = 1 << 15;

/// A sound in one channel that is read piece by piece, so that a long recording need not be held as samples of 32 bits.
///
/// It is read several times from start to end, in pieces that may overlap.
pub trait Mono {
    /// Number of samples.
    fn len(&self) -> usize;

    /// Whether there are none.
    fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Fills `out` with the samples from index `from`; `from + out.len()` is at most [`len`](Self::len).
    fn read(&self, from: usize, out: &mut [f32]);
}

impl Mono for &[f32] {
    fn len(&self) -> usize {
        <[f32]>::len(self)
    }

    fn read(&self, from: usize, out: &mut [f32]) {
        out.copy_from_slice(&self[from..from + out.len()]);
    }
}

impl Mono for Vec<f32> {
    fn len(&self) -> usize {
        self.as_slice().len()
    }

    fn read(&self, from: usize, out: &mut [f32]) {
        self.as_slice().read(from, out);
    }
}

/// A sound as it is analysed, and the piece of it that was read last.
pub(super) struct Signal<'a> {
    sound: &'a dyn Mono,
    decimator: Option<Decimator>,
    /// Sample rate in hertz and number of samples, after decimation.
    rate: f64,
    len: usize,
    gain: f32,
    piece: Vec<f32>,
    /// Index of the first sample of the piece.
    start: i64,
}

impl<'a> Signal<'a> {
    pub(super) fn new(sound: &'a dyn Mono, sample_rate: u32) -> Self {
        let mut factor = 1;
        while sample_rate / factor > MAX_RATE {
            factor *= 2;
        }
        let decimator = (factor > 1).then(|| Decimator::new(f64::from(sample_rate), factor as usize));
        let rate = f64::from(sample_rate) / f64::from(factor);
        let len = sound.len().div_ceil(factor as usize);
        Self { sound, decimator, rate, len, gain: 1.0, piece: Vec::new(), start: 0 }
    }

    pub(super) fn rate(&self) -> f64 {
        self.rate
    }

    pub(super) fn len(&self) -> usize {
        self.len
    }

    pub(super) fn seconds(&self) -> f64 {
        self.len as f64 / self.rate
    }

    /// Sets the factor of all samples and goes back to the start.
    pub(super) fn set_gain(&mut self, gain: f32) {
        self.gain = gain;
        self.piece.clear();
    }

    /// The samples from index `from`, zeros outside of the sound. Fast if `from` never decreases much.
    pub(super) fn samples(&mut self, from: i64, len: usize) -> &[f32] {
        let inside = from >= self.start && from + len as i64 <= self.start + self.piece.len() as i64;
        if !inside {
            self.read(from, len.max(PIECE));
        }
        let at = (from - self.start) as usize;
        &self.piece[at..at + len]
    }

    fn read(&mut self, from: i64, len: usize) {
        self.start = from;
        self.piece.clear();
        self.piece.resize(len, 0.0);
        let before = from.min(0).unsigned_abs().min(len as u64) as usize;
        let after = (from + len as i64 - self.len as i64).clamp(0, len as i64) as usize;
        if before + after >= len {
            return;
        }
        let part = &mut self.piece[before..len - after];
        let first = from.max(0) as usize;
        match &mut self.decimator {
            Some(decimator) => decimator.read(self.sound, first, part),
            None => read_finite(self.sound, first, part),
        }
        for sample in part {
            *sample *= self.gain;
        }
    }
}

/// Reads samples; those that are not finite become 0.
pub(super) fn read_finite(sound: &dyn Mono, from: usize, out: &mut [f32]) {
    sound.read(from, out);
    for sample in out {
        *sample = if sample.is_finite() { *sample } else { 0.0 };
    }
}
