//! Loads the user's own samples for the segments that are built.

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
    /// With a remote speaker: the samples that are too large for it, as reported last.
    large: Option<Vec<String>>,
}

impl UserSampleLoader {
    /// Reads the sounds next to a file and reports problems as events.
    pub(crate) fn new(base_path: BasePath, events: Sender<Event>) -> Self {
        Self { cache: UserSampleCache::default(), base_path, events, large: None }
    }

    /// Whether a remote speaker plays, which accepts no large samples.
    pub(crate) fn set_remote(&mut self, far: bool) {
        self.large = far.then(Vec::new);
    }

    /// The samples of a groove at a sample rate.
    pub(crate) fn of(&mut self, groove: &Groove, rate: SampleRate) -> UserSamples {
        let file = self.base_path.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let (mut own, mut words) = self.cache.load(groove, file.as_deref(), rate);
        if let Some(told) = &mut self.large {
            let large = own.keep_within(remote::SOUND, remote::SOUNDS);
            if !large.is_empty() && large != *told {
                words
                    .push(format!("{}: too large for the remote speaker; their voices play instead", large.join(", ")));
            }
            *told = large;
        }
        if !words.is_empty() {
            drop(self.events.send(Event::SoundWarning(words.join("; "))));
        }
        own
    }

    /// The segment of a loop.
    pub(crate) fn segment(&mut self, what: &LoopSpec, rate: SampleRate) -> Segment {
        let own = self.of(&what.groove, rate);
        Segment::new(what.take().schedule(&what.groove, rate, &own))
    }
}
