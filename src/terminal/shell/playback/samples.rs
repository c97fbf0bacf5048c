//! The user's own sounds, read anew where a segment needs them. It must not know what is played.

use super::super::super::Event;
use crate::jobs::UserSampleCache;
use crate::jobs::play_request::Playing;
use crate::rhythm::Groove;
use crate::sound::remote;
use crate::sound::{SampleRate, Segment, UserSamples};
use std::path::PathBuf;
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, PoisonError};

/// The groove's file, whose folder holds its sounds.
pub(crate) type BasePath = Arc<Mutex<Option<PathBuf>>>;

/// The user's own sounds, for the segments that are built.
pub(crate) struct UserSampleLoader {
    cache: UserSampleCache,
    base_path: BasePath,
    events: Sender<Event>,
    /// With a far speaker: the names of the sounds that are too large for the line, as they were last told.
    large: Option<Vec<String>>,
}

impl UserSampleLoader {
    /// Reads the sounds next to a file and reports problems as events.
    pub(crate) fn new(base_path: BasePath, events: Sender<Event>) -> Self {
        Self { cache: UserSampleCache::default(), base_path, events, large: None }
    }

    /// Sound goes to a far speaker from now on, whose line takes no large sounds, or to this machine.
    pub(crate) fn set_remote(&mut self, far: bool) {
        self.large = far.then(Vec::new);
    }

    /// The sounds of a groove at a rate.
    pub(crate) fn of(&mut self, groove: &Groove, rate: SampleRate) -> UserSamples {
        let file = self.base_path.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let (mut own, mut words) = self.cache.load(groove, file.as_deref(), rate);
        if let Some(told) = &mut self.large {
            let large = own.keep_within(remote::SOUND, remote::SOUNDS);
            if !large.is_empty() && large != *told {
                words.push(format!("{}: too large for the far speaker, voices sound instead", large.join(", ")));
            }
            *told = large;
        }
        if !words.is_empty() {
            drop(self.events.send(Event::SoundTold(words.join("; "))));
        }
        own
    }

    /// The segment of a loop.
    pub(crate) fn segment(&mut self, what: &Playing, rate: SampleRate) -> Segment {
        let own = self.of(&what.groove, rate);
        Segment::new(what.take().schedule_with(&what.groove, rate, &own))
    }
}
