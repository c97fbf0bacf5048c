//! The level of a recording over time, for drawing it at any scale.
//!
//! Blocks of about 1.3 ms hold the least and greatest sample and the RMS of all channels; each coarser level holds four blocks
//! of the one before. A recording of an hour at 48000 Hz takes 21 MB.

use super::spool::Layout;
use std::ops::Range;

/// Blocks per second of the finest level are at most this, at least half.
const BLOCKS_PER_SECOND: u32 = 750;
/// Blocks of one level per block of the next.
const FACTOR: usize = 4;
const LEVELS: usize = 8;
/// What 1.0 is stored as; samples up to 4 in magnitude fit.
const SCALE: f32 = 8191.0;

/// The level within some time.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Level {
    /// The least sample.
    pub min: f32,
    /// The greatest sample.
    pub max: f32,
    /// The root of the mean square.
    pub rms: f32,
}

#[derive(Debug, Clone, Copy)]
struct Block {
    min: i16,
    max: i16,
    rms: u16,
}

/// Sums of a block that is not complete.
#[derive(Debug, Clone, Copy)]
struct Sums {
    min: f32,
    max: f32,
    squares: f64,
    samples: u64,
}

impl Sums {
    const EMPTY: Self = Self { min: f32::INFINITY, max: f32::NEG_INFINITY, squares: 0.0, samples: 0 };

    fn join(&mut self, block: Block, samples: u64) {
        self.min = self.min.min(f32::from(block.min) / SCALE);
        self.max = self.max.max(f32::from(block.max) / SCALE);
        self.squares += (f64::from(block.rms) / f64::from(SCALE)).powi(2) * samples as f64;
        self.samples += samples;
    }

    fn level(self) -> Level {
        let rms = (self.squares / self.samples.max(1) as f64).sqrt() as f32;
        if self.samples == 0 { Level::default() } else { Level { min: self.min, max: self.max, rms } }
    }

    fn block(self) -> Block {
        let Level { min, max, rms } = self.level();
        Block { min: (min * SCALE).floor() as i16, max: (max * SCALE).ceil() as i16, rms: (rms * SCALE).round() as u16 }
    }
}

/// The level of a recording over time.
#[derive(Debug, Clone)]
pub struct Envelope {
    channels: usize,
    /// Frames per block of the finest level.
    step: u64,
    frames: u64,
    levels: [Vec<Block>; LEVELS],
    sums: Sums,
}

impl Envelope {
    /// An envelope without frames.
    pub fn new(layout: Layout) -> Self {
        let step = layout.rate.div_ceil(BLOCKS_PER_SECOND).next_power_of_two();
        Self {
            channels: layout.channels.max(1),
            step: step.into(),
            frames: 0,
            levels: Default::default(),
            sums: Sums::EMPTY,
        }
    }

    /// Appends interleaved frames.
    pub fn add(&mut self, frames: &[f32]) {
        for frame in frames.chunks_exact(self.channels) {
            for &x in frame {
                self.sums.min = self.sums.min.min(x);
                self.sums.max = self.sums.max.max(x);
                self.sums.squares += f64::from(x).powi(2);
            }
            self.sums.samples += self.channels as u64;
            self.frames += 1;
            if self.frames.is_multiple_of(self.step) {
                self.push();
            }
        }
    }

    /// Completes the last block.
    pub fn finish(&mut self) {
        if self.sums.samples > 0 {
            self.push();
        }
        for level in 1..LEVELS {
            let (below, here) = (self.levels[level - 1].len(), self.levels[level].len());
            if below > here * FACTOR {
                let block = self.join(level - 1, here * FACTOR..below).block();
                self.levels[level].push(block);
            }
        }
    }

    fn push(&mut self) {
        self.levels[0].push(self.sums.block());
        self.sums = Sums::EMPTY;
        for level in 1..LEVELS {
            let below = self.levels[level - 1].len();
            if !below.is_multiple_of(FACTOR) {
                break;
            }
            let block = self.join(level - 1, below - FACTOR..below).block();
            self.levels[level].push(block);
        }
    }

    /// The level of some blocks, each weighing the same; the last one of a recording may be shorter.
    fn join(&self, level: usize, blocks: Range<usize>) -> Sums {
        let mut sums = Sums::EMPTY;
        for block in &self.levels[level][blocks] {
            sums.join(*block, self.step << (2 * level));
        }
        sums
    }

    /// Number of frames.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// The level within a range of frames, to the nearest blocks that contain it; zero outside the recording.
    pub fn level(&self, frames: Range<u64>) -> Level {
        let count = self.levels[0].len() as u64;
        let mut from = (frames.start / self.step).min(count) as usize;
        let to = frames.end.div_ceil(self.step).min(count) as usize;
        let mut sums = Sums::EMPTY;
        while from < to {
            let mut level = 0;
            let mut width = 1;
            while level + 1 < LEVELS && from.is_multiple_of(width * FACTOR) && from + width * FACTOR <= to {
                level += 1;
                width *= FACTOR;
            }
            match self.levels[level].get(from / width) {
                Some(block) => sums.join(*block, self.step << (2 * level)),
                None => break,
            }
            from += width;
        }
        sums.level()
    }
}
