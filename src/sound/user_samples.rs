//! The user's own samples, by the names that layers use.

use super::units::SampleRate;
use super::voice::{self, SampleSource};
use std::collections::HashMap;
use std::hash::Hasher;
use std::sync::Arc;

/// Available samples by name. A layer whose sample is missing, or has another rate than the schedule, plays its voice.
#[derive(Debug, Clone, Default)]
pub struct UserSamples(HashMap<String, UserSample>);

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
        self.0.insert(name.to_owned(), sample);
    }

    /// The sample with this name, if it has this rate and is not empty.
    pub(crate) fn get(&self, name: &str, rate: SampleRate) -> Option<&UserSample> {
        self.0.get(name).filter(|s| s.rate == rate && !s.samples.is_empty())
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
