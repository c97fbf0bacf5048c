//! A recording in a loop: frames that are prepared ahead of the playhead and read by the renderer without waiting.
//!
//! The audio thread only loads atomics. Whoever owns the loop calls [`Track::prepare`]: the playback thread at every poll, a
//! renderer of files before every block.

use super::units::{Frame, Gain, SampleRate};
use crate::rhythm::Fraction;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::sync::atomic::{AtomicI64, AtomicU32, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// Frames of a chunk.
const CHUNK: i64 = 2048;
/// Chunks that are held: about four seconds at 48 kHz.
const SLOTS: i64 = 96;
/// Chunks that are prepared ahead of the playhead: about two seconds at 48 kHz.
const AHEAD: i64 = 48;
const EMPTY: i64 = -1;
/// Frames of the fade where a loop is cut, at each end.
const SEAM: i64 = 96;

/// The channels of a recording that are heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub enum Channels {
    /// As recorded.
    #[default]
    Both,
    /// The left one on both sides.
    Left,
    /// The right one on both sides.
    Right,
    /// Half the sum.
    Middle,
    /// Half the difference.
    Side,
}

/// How a part of a recording is to be heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Listening {
    /// First instant, in nanoseconds from the recording's first frame; what is before that is silence.
    pub from: i64,
    /// Playing speed, without change of pitch.
    pub speed: Fraction,
    /// Rate of the frames that are wanted.
    pub rate: SampleRate,
    /// Filters and channels.
    pub tone: RecordingTone,
}

/// Channels, filter and transposition of a recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub struct RecordingTone {
    /// The channels that are heard.
    pub channels: Channels,
    /// Lowest and highest frequency that is heard, in Hz.
    pub band: Option<(u32, u32)>,
    /// Transposition in semitones, -24 to 24.
    pub semitones: i8,
}

/// A recording that can be heard.
pub trait FrameSource: fmt::Debug + Send + Sync {
    /// Equal for equal sounds.
    fn id(&self) -> u64;

    /// A stream from which frames are read in any order, fastest one after the other.
    fn open(&self, listening: &Listening) -> Box<dyn FrameStream>;
}

/// Frames of a recording at one speed.
pub trait FrameStream: Send {
    /// Fills `out` with interleaved stereo frames from frame `start` on, where frame 0 is [`Listening::from`].
    fn read(&mut self, start: i64, out: &mut [f32]);
}

/// What a schedule needs to play its recording.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RecordingPlay {
    /// Pass of the whole groove that the loop stands for, from 0.
    pub pass: u32,
    /// Level in dB.
    pub db: f32,
    /// Position from left (-100) to right (100). At either end both channels are heard there, at half their level each.
    pub pan: i8,
    /// Channels, filter and transposition.
    pub tone: RecordingTone,
    /// Only its times are used.
    pub is_silent: bool,
}

impl RecordingPlay {
    /// Gains from the left and the right channel to the left side, and to the right side.
    fn gains(self) -> [[f32; 2]; 2] {
        let all = Gain::from_db(self.db).linear();
        let pan = f32::from(self.pan.clamp(-100, 100)) / 100.0;
        let (left, right) = ((-pan).max(0.0), pan.max(0.0));
        let near = |pan: f32, other: f32| (1.0 - other) * (1.0 - pan / 2.0) * all;
        [[near(left, right), all * left / 2.0], [all * right / 2.0, near(right, left)]]
    }
}

struct Chunk {
    /// Which chunk it holds, or [`EMPTY`].
    index: AtomicI64,
    /// Bits of interleaved stereo samples.
    samples: Box<[AtomicU32]>,
}

/// The prepared frames of a loop.
pub(super) struct Track {
    source: u64,
    listening: Listening,
    /// Frames of one pass.
    length: i64,
    gains: [[f32; 2]; 2],
    chunks: Box<[Chunk]>,
    /// Chunk that is read next, counted through all passes.
    wanted: AtomicI64,
    stream: Mutex<Box<dyn FrameStream>>,
}

impl fmt::Debug for Track {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { source, listening, length, .. } = self;
        f.debug_struct("Track").field("source", source).field("listening", listening).field("length", length).finish()
    }
}

impl Track {
    /// A loop of this many frames. Nothing is prepared yet.
    pub(super) fn new(source: &dyn FrameSource, listening: Listening, length: Frame, play: RecordingPlay) -> Self {
        let per_pass = chunks_of(length.0);
        let chunk =
            || Chunk { index: AtomicI64::new(EMPTY), samples: (0..2 * CHUNK).map(|_| AtomicU32::new(0)).collect() };
        Self {
            source: source.id(),
            listening,
            length: length.0.max(1),
            gains: play.gains(),
            chunks: (0..SLOTS.min(per_pass)).map(|_| chunk()).collect(),
            wanted: AtomicI64::new(0),
            stream: Mutex::new(source.open(&listening)),
        }
    }

    /// Whether it would hold the same frames.
    pub(super) fn is_same(
        &self,
        source: &dyn FrameSource,
        listening: &Listening,
        length: Frame,
        play: RecordingPlay,
    ) -> bool {
        self.source == source.id()
            && self.listening == *listening
            && self.length == length.0.max(1)
            && self.gains == play.gains()
    }

    fn per_pass(&self) -> i64 {
        chunks_of(self.length)
    }

    /// The slot of a chunk that is counted through all passes, and the index it has there. A loop that fits is held once.
    fn slot(&self, chunk: i64) -> (usize, i64) {
        let slots = self.chunks.len() as i64;
        let index = if self.per_pass() <= slots { chunk % self.per_pass() } else { chunk };
        ((index % slots) as usize, index)
    }

    fn chunk_at(&self, pass: u64, frame: i64) -> i64 {
        (pass as i64).saturating_mul(self.per_pass()) + frame.clamp(0, self.length - 1) / CHUNK
    }

    /// Prepares what is missing of the frames that are read next, at most this many chunks. This decodes and stretches: never
    /// call it on the audio thread.
    pub(super) fn prepare(&self, most: usize) {
        self.prepare_from(self.wanted.load(Ordering::Relaxed), most);
    }

    /// The same from a frame of the first pass.
    pub(super) fn prepare_at(&self, frame: Frame, most: usize) {
        self.prepare_from(self.chunk_at(0, frame.0), most);
    }

    fn prepare_from(&self, first: i64, most: usize) {
        let mut stream = self.stream.lock().unwrap_or_else(PoisonError::into_inner);
        let mut buffer = vec![0.0_f32; 2 * CHUNK as usize];
        let ahead = AHEAD.min(self.chunks.len() as i64);
        let mut prepared = 0;
        for chunk in first..first + ahead {
            let (slot, index) = self.slot(chunk);
            let held = &self.chunks[slot];
            if held.index.load(Ordering::Acquire) == index {
                continue;
            }
            if prepared == most {
                break;
            }
            stream.read(chunk % self.per_pass() * CHUNK, &mut buffer);
            held.index.store(EMPTY, Ordering::Release);
            for (cell, sample) in held.samples.iter().zip(&buffer) {
                cell.store(sample.to_bits(), Ordering::Relaxed);
            }
            held.index.store(index, Ordering::Release);
            prepared += 1;
        }
    }

    /// Adds frames of a pass from `frame` on to both channels, which have the same length and end with the pass. The gain of the
    /// first frame is `gain`, and each following one's is greater by `step`, within 0 and 1. Frames that are not prepared are
    /// silent. This neither waits nor allocates.
    pub(super) fn mix(&self, pass: u64, frame: i64, (gain, step): (f32, f32), left: &mut [f32], right: &mut [f32]) {
        let (mut at, mut gain) = (frame, gain);
        for (left, right) in left.iter_mut().zip(right) {
            // Looking the chunk up for every frame is cheap beside the mix.
            let (slot, index) = self.slot(self.chunk_at(pass, at));
            let held = &self.chunks[slot];
            if (0..self.length).contains(&at) && held.index.load(Ordering::Acquire) == index {
                let k = 2 * (at % CHUNK) as usize;
                let sample = |k: usize| f32::from_bits(held.samples[k].load(Ordering::Relaxed));
                let gain = gain * (at + 1).min(self.length - at).min(SEAM) as f32 / SEAM as f32;
                let (from_left, from_right) = (sample(k) * gain, sample(k + 1) * gain);
                *left += from_left * self.gains[0][0] + from_right * self.gains[0][1];
                *right += from_left * self.gains[1][0] + from_right * self.gains[1][1];
            }
            (at, gain) = (at + 1, (gain + step).clamp(0.0, 1.0));
        }
        self.wanted.store(self.chunk_at(pass, at), Ordering::Relaxed);
    }
}

/// Chunks of one pass; every pass begins with a new chunk.
fn chunks_of(length: i64) -> i64 {
    (length.max(1) + CHUNK - 1) / CHUNK
}

/// The tracks that may still be heard. The audio thread must not free one, so they are kept here until nothing else has them.
#[derive(Debug, Default)]
pub(super) struct Tracks(Vec<Arc<Track>>);

impl Tracks {
    /// The track that holds these frames, or a new one.
    pub(super) fn get(
        &mut self,
        source: &dyn FrameSource,
        listening: Listening,
        length: Frame,
        play: RecordingPlay,
    ) -> Arc<Track> {
        if let Some(track) = self.0.iter().find(|t| t.is_same(source, &listening, length, play)) {
            return Arc::clone(track);
        }
        let track = Arc::new(Track::new(source, listening, length, play));
        self.0.push(Arc::clone(&track));
        track
    }

    /// Prepares a few chunks of every track, and frees the tracks that nothing plays.
    #[cfg(any(feature = "audio", test))]
    pub(super) fn prepare(&mut self, most: usize) {
        self.0.retain(|track| Arc::strong_count(track) > 1);
        for track in &self.0 {
            track.prepare(most);
        }
    }
}

#[cfg(test)]
mod tests;
