//! The user's own samples, by the names that layers use.

use super::track::{FrameSource, Listening, RecordingPlay, Track, Tracks};
use super::units::{Frame, SampleRate};
use super::voice::{self, SampleSource};
use std::collections::HashMap;
use std::hash::Hasher;
use std::sync::{Arc, Mutex, PoisonError};

/// Available samples by name, and the recording under the groove. A layer whose sample is missing, or has another rate than the schedule, plays its voice.
#[derive(Debug, Clone, Default)]
pub struct UserSamples {
    layers: HashMap<String, UserSample>,
    recording: Option<Arc<dyn FrameSource>>,
    tracks: Arc<Mutex<Tracks>>,
}

/// A sound in one channel, shared by schedules. Equal hashes mean equal samples.
#[derive(Debug, Clone)]
pub struct UserSample {
    pub(crate) samples: Arc<[f32]>,
    /// 64-bit FNV-1a hash of the samples.
    pub(super) hash: u64,
    rate: SampleRate,
}

impl UserSample {
    /// A sound of these samples, clamped to 1 in magnitude; values that are not finite become 0.
    pub fn new(mut samples: Vec<f32>, rate: SampleRate) -> Self {
        for x in &mut samples {
            *x = if x.is_finite() { x.clamp(-1.0, 1.0) } else { 0.0 };
        }
        let hash = hash(&samples);
        Self { samples: voice::share(SampleSource::User { hash, rate }, || samples), hash, rate }
    }

    pub(super) fn source(&self) -> SampleSource {
        SampleSource::User { hash: self.hash, rate: self.rate }
    }
}

impl UserSamples {
    /// Adds a sound under the name that layers use.
    pub fn insert(&mut self, name: &str, sample: UserSample) {
        self.layers.insert(name.to_owned(), sample);
    }

    /// Sets the recording that lies under the groove.
    pub fn set_recording(&mut self, recording: Option<Arc<dyn FrameSource>>) {
        self.recording = recording;
    }

    /// Shares the frames of recordings that other schedules have prepared.
    #[cfg(feature = "audio")]
    pub(super) fn set_tracks(&mut self, tracks: Arc<Mutex<Tracks>>) {
        self.tracks = tracks;
    }

    /// The track with these frames of the recording, if there is one.
    pub(super) fn track(&self, listening: Listening, length: Frame, play: RecordingPlay) -> Option<Arc<Track>> {
        let source = self.recording.as_ref()?;
        Some(self.tracks.lock().unwrap_or_else(PoisonError::into_inner).get(&**source, listening, length, play))
    }

    /// The sample with this name, if it has this rate and is not empty.
    pub(crate) fn get(&self, name: &str, rate: SampleRate) -> Option<&UserSample> {
        self.layers.get(name).filter(|s| s.rate == rate && !s.samples.is_empty())
    }
}

/// FNV-1a over the bits of the samples, little endian (Fowler, Noll, Vo; RFC 9923).
fn hash(samples: &[f32]) -> u64 {
    let mut hasher = fnv::FnvHasher::default();
    for x in samples {
        hasher.write(&x.to_bits().to_le_bytes());
    }
    hasher.finish()
}

#[cfg(test)]
mod tests;
