//! Saves, and the files of the state folder except the journals, on a thread of its own.

mod source;

pub(crate) use source::Source;

use crate::rhythm::Groove;
use crate::session::DocumentId;
use crate::sound::playback::PlaybackEvent;
use crate::store::{Calibration, Overwrite, Practice, SoundLevels};
use crate::terminal::Event;
use crate::terminal::shell::journals::Journals;
use std::path::PathBuf;
use std::sync::mpsc::{self, SendError, Sender};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};

pub(super) enum Request {
    /// Adds an entry to the practice log, if there is one, and reports the log.
    Progress(Option<Practice>),
    /// Saves the groove, under another name if one is given.
    Save(Arc<Groove>, Option<PathBuf>, Overwrite),
    /// Treats the document from now on as one that was read from this text of its file.
    Adopt(DocumentId, Option<String>),
    Offset(Calibration),
    Levels(SoundLevels),
    /// Remembers that the groove's file may read these sound files.
    AllowSounds(Vec<PathBuf>),
    /// Saves as this document from now on.
    SwitchDocument(DocumentId),
}

pub(super) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[derive(Debug)]
pub(crate) struct Disk {
    requests: Sender<Request>,
    thread: Option<JoinHandle<()>>,
}

impl Disk {
    pub(crate) fn start(source: Source, journals: Arc<Mutex<Journals>>, events: Sender<Event>) -> Self {
        let (requests, received) = mpsc::channel();
        let mut worker = Worker { source, journals, events };
        // The thread ends when either channel is disconnected.
        let work = move || while received.recv().is_ok_and(|request| worker.handle(request).is_ok()) {};
        Self { requests, thread: thread::Builder::new().name("disk".into()).spawn(work).ok() }
    }

    pub(super) fn send(&self, request: Request) {
        drop(self.requests.send(request));
    }

    pub(crate) fn end(self) {
        drop(self.requests);
        if let Some(thread) = self.thread {
            drop(thread.join());
        }
    }
}

struct Worker {
    source: Source,
    journals: Arc<Mutex<Journals>>,
    events: Sender<Event>,
}

impl Worker {
    fn handle(&mut self, request: Request) -> Result<(), Box<SendError<Event>>> {
        let source = &mut self.source;
        let event = match request {
            Request::Progress(practice) => Event::Progress(source.progress(practice)),
            Request::Save(groove, other, overwrite) => {
                let (document, result) = (source.current, source.save(&groove, other, overwrite));
                if result.is_ok() {
                    let (path, text) = source.path_and_text();
                    let kept = lock(&self.journals).rebase(document, path, text, Some(&groove));
                    self.events.send(Event::Journal(kept))?;
                }
                Event::Saved { document, groove, result }
            }
            Request::Adopt(document, base) => {
                source.adopt(document, base);
                return Ok(());
            }
            Request::SwitchDocument(document) => {
                source.switch_document(document);
                return Ok(());
            }
            Request::Levels(levels) => match source.save_state(|state| state.save_sound_levels(levels)) {
                Ok(()) => return Ok(()),
                Err(reason) => Event::Playback(PlaybackEvent::Warning(format!("could not save the volume: {reason}"))),
            },
            Request::AllowSounds(paths) => match source.allow_sounds(&paths) {
                Ok(()) => return Ok(()),
                Err(reason) => Event::Playback(PlaybackEvent::Warning(format!("could not save the answer: {reason}"))),
            },
            Request::Offset(calibration) => {
                Event::OffsetSaved(source.save_state(|state| state.save_calibration(calibration)))
            }
        };
        Ok(self.events.send(event)?)
    }
}
