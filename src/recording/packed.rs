//! A recording in one channel, kept in memory as 16 bits per sample.

use super::onsets::Mono;
use super::spool::{Layout, Sink};
use std::io;

/// Samples of a chunk.
const CHUNK: usize = 1 << 14;
/// Most samples: three hours at 48,000 Hz, which take 1 GB.
const MAX_SAMPLES: usize = 3 * 3600 * 48_000;

/// Consecutive samples.
#[derive(Debug)]
enum Chunk {
    /// So many zeros.
    Silence(usize),
    /// Samples of 16 bits, and what 1 in them stands for: the resolution follows the level of the chunk, so that a quiet recording
    /// keeps its details.
    Samples { scale: f32, samples: Box<[i16]> },
}

impl Chunk {
    fn of(samples: &[f32]) -> Self {
        let peak = samples.iter().fold(0.0_f32, |m, x| m.max(x.abs()));
        let scale = peak / f32::from(i16::MAX);
        if scale < f32::MIN_POSITIVE {
            return Self::Silence(samples.len());
        }
        Self::Samples { scale, samples: samples.iter().map(|x| (x / scale).round() as i16).collect() }
    }

    fn read(&self, from: usize, out: &mut [f32]) {
        match self {
            Self::Silence(_) => out.fill(0.0),
            Self::Samples { scale, samples } => {
                for (out, sample) in out.iter_mut().zip(&samples[from..]) {
                    *out = f32::from(*sample) * scale;
                }
            }
        }
    }

    fn len(&self) -> usize {
        match self {
            Self::Silence(len) => *len,
            Self::Samples { samples, .. } => samples.len(),
        }
    }
}

/// The mean of the channels of a recording.
#[derive(Debug, Default)]
pub(super) struct PackedSound {
    channels: usize,
    chunks: Vec<Chunk>,
    /// Samples that do not fill a chunk yet.
    rest: Vec<f32>,
    /// Greatest magnitude of the mean, and of any channel.
    peak: f32,
    channel_peak: f32,
}

impl PackedSound {
    /// Whether no sample differs from zero.
    pub(super) fn is_silent(&self) -> bool {
        self.peak == 0.0
    }

    /// Whether there is sound in the channels, but next to none in their mean.
    pub(super) fn is_cancelled_out(&self) -> bool {
        self.channel_peak > 0.0 && self.peak <= 1e-4 * self.channel_peak
    }
}

impl Sink for PackedSound {
    fn start(&mut self, layout: Layout) -> io::Result<()> {
        self.channels = layout.channels.max(1);
        Ok(())
    }

    fn write(&mut self, frames: &[f32]) -> io::Result<()> {
        for frame in frames.chunks_exact(self.channels) {
            let mean = frame.iter().sum::<f32>() / self.channels as f32;
            self.peak = self.peak.max(mean.abs());
            self.channel_peak = frame.iter().fold(self.channel_peak, |m, x| m.max(x.abs()));
            self.rest.push(mean);
            if self.rest.len() == CHUNK {
                self.chunks.push(Chunk::of(&self.rest));
                self.rest.clear();
            }
        }
        if self.len() > MAX_SAMPLES {
            return Err(io::Error::other(format!("expected at most {MAX_SAMPLES} samples, found more")));
        }
        Ok(())
    }
}

impl Mono for PackedSound {
    fn len(&self) -> usize {
        self.chunks.len() * CHUNK + self.rest.len()
    }

    fn read(&self, from: usize, out: &mut [f32]) {
        let mut at = from;
        let mut out = out;
        while !out.is_empty() {
            let (index, start) = (at / CHUNK, at % CHUNK);
            let available = self.chunks.get(index).map_or(self.rest.len(), Chunk::len) - start;
            let (part, others) = out.split_at_mut(available.min(out.len()));
            match self.chunks.get(index) {
                Some(chunk) => chunk.read(start, part),
                None => part.copy_from_slice(&self.rest[start..start + part.len()]),
            }
            at += part.len();
            out = others;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn packed(channels: usize, frames: &[f32]) -> PackedSound {
        let mut sound = PackedSound::default();
        sound.start(Layout { rate: 48_000, channels }).expect("memory");
        // In pieces that do not end with a chunk.
        frames.chunks(channels * 1000).for_each(|f| sound.write(f).expect("memory"));
        sound
    }

    #[test]
    fn samples_are_kept_to_16_bits_of_their_chunk() {
        for level in [1.0, 1e-4] {
            let frames: Vec<f32> = (0..3 * CHUNK + 77).map(|k| level * (k as f32 * 0.013).sin()).collect();
            let sound = packed(1, &frames);
            assert_eq!(sound.len(), frames.len());
            for (from, len) in [(0, frames.len()), (CHUNK - 3, 6), (3 * CHUNK - 1, 78), (5, 0)] {
                let mut read = vec![9.0; len];
                sound.read(from, &mut read);
                for (a, b) in read.iter().zip(&frames[from..]) {
                    assert!((a - b).abs() <= level / 65_000.0, "{from}: {a} {b}");
                }
            }
        }
    }

    #[test]
    fn channels_are_averaged_and_their_cancelling_is_noticed() {
        let (same, opposite) = ([0.5, 0.25].repeat(CHUNK), [0.5, -0.5].repeat(CHUNK));
        let mut read = [0.0; 2];
        packed(2, &same).read(7, &mut read);
        assert!(read.iter().all(|x| (x - 0.375).abs() < 1e-4), "{read:?}");
        assert!(!packed(2, &same).is_cancelled_out() && !packed(2, &same).is_silent());
        assert!(packed(2, &opposite).is_cancelled_out());
        let silence = packed(2, &[0.0; 4]);
        assert!(silence.is_silent() && !silence.is_cancelled_out());
    }

    #[test]
    fn silence_takes_no_memory() {
        let sound = packed(1, &vec![0.0; 2 * CHUNK]);
        assert!(sound.chunks.iter().all(|c| matches!(c, Chunk::Silence(CHUNK))), "{:?}", sound.chunks);
    }
}
