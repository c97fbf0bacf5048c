//! The user's own sounds, read anew where a leg needs them. It must not know what is played.

use super::super::super::Event;
use crate::jobs::UserSampleLoader;
use crate::jobs::play_request::Playing;
use crate::rhythm::Groove;
use crate::sound::far;
use crate::sound::{Leg, OwnSounds, SampleRate};
use std::path::PathBuf;
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, PoisonError};

/// The groove's file, whose folder holds its sounds.
pub(crate) type Beside = Arc<Mutex<Option<PathBuf>>>;

/// The user's own sounds, for the legs that are built.
pub(crate) struct Own {
    sounds: UserSampleLoader,
    beside: Beside,
    events: Sender<Event>,
    /// With a far speaker: the names of the sounds that are too large for the line, as they were last told.
    large: Option<Vec<String>>,
}

impl Own {
    /// The sounds beside a file; what is to be said of them is told.
    pub(crate) fn new(beside: Beside, events: Sender<Event>) -> Self {
        Self { sounds: UserSampleLoader::default(), beside, events, large: None }
    }

    /// Sound goes to a far speaker from now on, whose line takes no large sounds, or to this machine.
    pub(crate) fn goes_far(&mut self, far: bool) {
        self.large = far.then(Vec::new);
    }

    /// The sounds of a groove at a rate.
    pub(crate) fn of(&mut self, groove: &Groove, rate: SampleRate) -> OwnSounds {
        let file = self.beside.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let (mut own, mut words) = self.sounds.load(groove, file.as_deref(), rate);
        if let Some(told) = &mut self.large {
            let large = own.keep_within(far::SOUND, far::SOUNDS);
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

    /// The leg of a loop.
    pub(crate) fn leg(&mut self, what: &Playing, rate: SampleRate) -> Leg {
        let own = self.of(&what.groove, rate);
        Leg::new(what.take().schedule_with(&what.groove, rate, &own))
    }
}
