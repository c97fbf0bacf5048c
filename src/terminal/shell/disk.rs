//! Saves, and the files of the state folder except the journals, on a thread of its own.

mod source;

pub(crate) use source::Source;

use super::super::Event;
use super::super::event::Practised;
use super::super::playback::playing;
use super::Disconnected;
use super::journals::Journals;
use crate::rhythm::Groove;
use crate::session::DocumentId;
use crate::store::{Calibration, Overwrite, SoundLevels};
use std::path::PathBuf;
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};

enum Request {
    Progress(Option<Practised>),
    Save(Arc<Groove>, Option<PathBuf>, Overwrite),
    Adopt(DocumentId, Option<String>),
    Offset(Calibration),
    Levels(SoundLevels),
    AllowSounds(Vec<PathBuf>),
    SwitchDocument(DocumentId),
}

pub(super) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Handle of the thread.
#[derive(Debug)]
pub(crate) struct Disk {
    requests: Sender<Request>,
    thread: Option<JoinHandle<()>>,
}

impl Disk {
    /// Starts the thread, which reports results as events.
    pub(crate) fn start(source: Source, journals: Arc<Mutex<Journals>>, events: Sender<Event>) -> Self {
        let (requests, received) = mpsc::channel();
        let mut worker = Worker { source, journals, events };
        // The thread ends when either channel is disconnected.
        let work = move || drop(worker.run(&received));
        Self { requests, thread: thread::Builder::new().name("disk".into()).spawn(work).ok() }
    }

    fn send(&self, request: Request) {
        drop(self.requests.send(request));
    }

    /// Saves the groove, under another name if one is given.
    pub(crate) fn save(&self, groove: Arc<Groove>, name: Option<PathBuf>, overwrite: Overwrite) {
        self.send(Request::Save(groove, name, overwrite));
    }

    /// Treats the document from now on as one that was read from this text of its file.
    pub(crate) fn adopt(&self, document: DocumentId, base: Option<String>) {
        self.send(Request::Adopt(document, base));
    }

    /// Saves as this document from now on.
    pub(crate) fn switch_document(&self, document: DocumentId) {
        self.send(Request::SwitchDocument(document));
    }

    /// Adds an entry to the practice log, and reports the log.
    pub(crate) fn progress(&self, practised: Option<Practised>) {
        self.send(Request::Progress(practised));
    }

    pub(crate) fn keep_offset(&self, ms: f64, error_ms: f64) {
        self.send(Request::Offset(Calibration { ms, error_ms }));
    }

    pub(crate) fn keep_levels(&self, levels: playing::SoundLevels) {
        let (volume_db, click_db) = (levels.volume_db.into(), levels.click_db.into());
        self.send(Request::Levels(SoundLevels { volume_db, click_db }));
    }

    /// Remembers that the groove's file may read these sound files.
    pub(crate) fn allow_sounds(&self, paths: Vec<PathBuf>) {
        self.send(Request::AllowSounds(paths));
    }

    /// Carries out the waiting requests.
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
    fn run(&mut self, requests: &Receiver<Request>) -> Result<(), Disconnected> {
        while let Ok(request) = requests.recv() {
            self.handle(request)?;
        }
        Ok(())
    }

    fn handle(&mut self, request: Request) -> Result<(), Disconnected> {
        let source = &mut self.source;
        let event = match request {
            Request::Progress(practised) => Event::Progress(source.progress(practised)),
            Request::Save(groove, other, overwrite) => {
                let (document, result) = (source.document(), source.save(&groove, other, overwrite));
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
            Request::Levels(levels) => match source.keep_levels(levels) {
                Ok(()) => return Ok(()),
                Err(reason) => Event::SoundWarning(format!("could not save the volume: {reason}")),
            },
            Request::AllowSounds(paths) => match source.allow_sounds(&paths) {
                Ok(()) => return Ok(()),
                Err(reason) => Event::SoundWarning(format!("could not save the answer: {reason}")),
            },
            Request::Offset(calibration) => Event::OffsetSaved(source.keep_offset(calibration)),
        };
        Ok(self.events.send(event)?)
    }
}
