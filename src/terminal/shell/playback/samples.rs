//! Loads the user's own samples for the segments that play.

use super::super::super::Event;
use crate::jobs::UserSampleCache;
use crate::jobs::play_request::LoopSpec;
use crate::rhythm::Groove;
use crate::sound::remote;
use crate::sound::{SampleRate, Segment, UserSamples};
use std::path::PathBuf;
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, PoisonError};

/// Path of the groove's file; its folder contains the samples.
pub(crate) type BasePath = Arc<Mutex<Option<PathBuf>>>;

/// Loads user samples and reports problems with them.
pub(crate) struct UserSampleLoader {
    cache: UserSampleCache,
    base_path: BasePath,
    events: Sender<Event>,
    /// With a remote speaker, the samples that are too large for it, as last reported.
    large: Option<Vec<String>>,
}

impl UserSampleLoader {
    pub(crate) fn new(base_path: BasePath, events: Sender<Event>) -> Self {
        Self { cache: UserSampleCache::default(), base_path, events, large: None }
    }

    /// A remote speaker accepts no large samples.
    pub(crate) fn set_remote(&mut self, remote: bool) {
        self.large = remote.then(Vec::new);
    }

    pub(crate) fn load(&mut self, groove: &Groove, rate: SampleRate) -> UserSamples {
        let file = self.base_path.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let (mut samples, mut problems) = self.cache.load(groove, file.as_deref(), rate);
        if let Some(reported) = &mut self.large {
            let large = samples.keep_within(remote::SOUND, remote::SOUNDS);
            if !large.is_empty() && large != *reported {
                let names = large.join(", ");
                problems.push(format!("{names}: too large for the remote speaker; their voices play instead"));
            }
            *reported = large;
        }
        if !problems.is_empty() {
            drop(self.events.send(Event::SoundWarning(problems.join("; "))));
        }
        samples
    }

    pub(crate) fn segment(&mut self, spec: &LoopSpec, rate: SampleRate) -> Segment {
        let samples = self.load(&spec.groove, rate);
        Segment::new(spec.take().schedule(&spec.groove, rate, &samples))
    }
}
