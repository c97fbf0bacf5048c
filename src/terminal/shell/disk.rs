//! Writes to the disk on a thread of its own: saves at once, the journal after a pause in the edits.

mod source;

pub(crate) use source::Source;

use super::super::Event;
use super::super::event::Practised;
use super::super::playback::playing;
use super::Disconnected;
use crate::rhythm::Groove;
use crate::session::DocumentId;
use crate::store::{Calibration, Overwrite, SoundLevels};
use std::path::PathBuf;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// Time without an edit after which the journal is written.
const DEBOUNCE: Duration = Duration::from_millis(300);
/// Maximum time from an edit to the journal.
const MAX_DELAY: Duration = Duration::from_secs(2);

enum Request {
    Progress(Option<Practised>),
    Journal(Arc<Groove>),
    Save(Arc<Groove>, Option<PathBuf>, Overwrite),
    Offset(Calibration),
    Levels(SoundLevels),
    SwitchDocument(DocumentId),
}

/// A groove that is not in the journal yet.
type Unwritten = Arc<Mutex<Option<Arc<Groove>>>>;

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Handle of the thread.
#[derive(Debug)]
pub(crate) struct Disk {
    requests: Mutex<Option<Sender<Request>>>,
    source: Arc<Mutex<Source>>,
    thread: Mutex<Option<JoinHandle<()>>>,
    unwritten: Unwritten,
}

impl Disk {
    /// Starts the thread, which reports results as events.
    pub(crate) fn start(source: Source, events: Sender<Event>) -> Self {
        let source = Arc::new(Mutex::new(source));
        let unwritten = Unwritten::default();
        let (sender, requests) = mpsc::channel();
        let mut worker =
            Worker { source: source.clone(), unwritten: unwritten.clone(), events, waiting: None, waiting_since: None };
        // The thread ends when either channel is disconnected.
        let work = move || drop(worker.run(&requests));
        let thread = thread::Builder::new().name("disk".into()).spawn(work).ok();
        Self { requests: Mutex::new(Some(sender)), source, thread: Mutex::new(thread), unwritten }
    }

    fn send(&self, request: Request) {
        if let Some(sender) = &*lock(&self.requests) {
            drop(sender.send(request));
        }
    }

    pub(crate) fn journal(&self, groove: Arc<Groove>) {
        *lock(&self.unwritten) = Some(groove.clone());
        self.send(Request::Journal(groove));
    }

    /// Saves the groove, under another name if one is given.
    pub(crate) fn save(&self, groove: Arc<Groove>, name: Option<PathBuf>, overwrite: Overwrite) {
        self.send(Request::Save(groove, name, overwrite));
    }

    /// Saves and journals as this document from now on.
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

    pub(crate) fn rescue(&self) -> Rescue {
        Rescue { source: self.source.clone(), unwritten: self.unwritten.clone() }
    }

    /// Carries out the waiting requests, then writes the groove to the journal or discards the journal.
    pub(crate) fn end(&self, keep_journal: bool, groove: &Groove) {
        drop(lock(&self.requests).take());
        if let Some(thread) = lock(&self.thread).take() {
            drop(thread.join());
        }
        let mut source = lock(&self.source);
        if keep_journal {
            source.write_journal(groove);
        } else {
            source.discard_journal();
        }
    }
}

/// Writes the journal after a panic.
pub(crate) struct Rescue {
    source: Arc<Mutex<Source>>,
    unwritten: Unwritten,
}

impl Rescue {
    /// Writes what is not in the journal yet, without waiting for a lock.
    pub(crate) fn keep(&self) {
        if let (Ok(mut source), Ok(mut unwritten)) = (self.source.try_lock(), self.unwritten.try_lock())
            && let Some(groove) = unwritten.take()
        {
            source.write_journal(&groove);
        }
    }
}

struct Worker {
    source: Arc<Mutex<Source>>,
    unwritten: Unwritten,
    events: Sender<Event>,
    /// The groove to write to the journal, and the time of the first edit since the last write.
    waiting: Option<Arc<Groove>>,
    waiting_since: Option<Instant>,
}

impl Worker {
    fn run(&mut self, requests: &Receiver<Request>) -> Result<(), Disconnected> {
        loop {
            let hour = Duration::from_secs(3600);
            let timeout = self.waiting_since.map_or(hour, |s| DEBOUNCE.min(MAX_DELAY.saturating_sub(s.elapsed())));
            match requests.recv_timeout(timeout) {
                Ok(Request::Journal(groove)) => {
                    self.waiting = Some(groove);
                    if self.waiting_since.get_or_insert_with(Instant::now).elapsed() >= MAX_DELAY {
                        self.write_journal()?;
                    }
                }
                Ok(request) => self.handle(request)?,
                Err(RecvTimeoutError::Timeout) => self.write_journal()?,
                Err(RecvTimeoutError::Disconnected) => return Ok(()),
            }
        }
    }

    fn handle(&mut self, request: Request) -> Result<(), Disconnected> {
        let mut source = lock(&self.source);
        let event = match request {
            Request::Journal(_) => return Ok(()),
            Request::Progress(practised) => Event::Progress(source.progress(practised)),
            Request::Save(groove, other, overwrite) => {
                let (document, result) = (source.document(), source.save(&groove, other, overwrite));
                if result.is_ok() && self.waiting.as_ref().is_some_and(|w| Arc::ptr_eq(w, &groove)) {
                    (self.waiting, self.waiting_since) = (None, None);
                }
                Event::Saved { document, groove, result }
            }
            Request::SwitchDocument(document) => {
                (self.waiting, self.waiting_since) = (None, None);
                source.switch_document(document);
                return Ok(());
            }
            Request::Levels(levels) => match source.keep_levels(levels) {
                Ok(()) => return Ok(()),
                Err(reason) => Event::SoundWarning(format!("could not save the volume: {reason}")),
            },
            Request::Offset(calibration) => Event::OffsetSaved(source.keep_offset(calibration)),
        };
        drop(source);
        Ok(self.events.send(event)?)
    }

    fn write_journal(&mut self) -> Result<(), Disconnected> {
        self.waiting_since = None;
        let Some(groove) = self.waiting.take() else { return Ok(()) };
        let failed = lock(&self.source).write_journal(&groove);
        lock(&self.unwritten).take_if(|newest| Arc::ptr_eq(newest, &groove));
        if let Some(reason) = failed {
            self.events.send(Event::JournalFailed(reason))?;
        }
        Ok(())
    }
}
