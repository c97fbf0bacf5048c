//! Saving and the journal on a thread of their own: what waits, and when it is written.

mod source;

pub(crate) use source::Source;

use super::super::Event;
use super::super::event::Practised;
use super::super::playback::playing;
use crate::rhythm::Groove;
use crate::session::DocumentId;
use crate::store::{Calibration, Overwrite, SoundLevels};
use std::path::PathBuf;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::sync::{Arc, Mutex, PoisonError};
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

/// The thread's end of the program.
#[derive(Debug)]
pub(crate) struct Disk {
    requests: Mutex<Option<Sender<Request>>>,
    source: Arc<Mutex<Source>>,
    worker: Mutex<Option<JoinHandle<()>>>,
    newest: Arc<Mutex<Option<Arc<Groove>>>>,
}

impl Disk {
    /// Starts the thread; the ends of saves come as events.
    pub(crate) fn start(source: Source, events: Sender<Event>) -> Self {
        let source = Arc::new(Mutex::new(source));
        let newest = Arc::new(Mutex::new(None));
        let (sender, requests) = mpsc::channel();
        let (shared, pending) = (source.clone(), newest.clone());
        let work = move || run(&requests, &shared, &pending, &events);
        let worker = thread::Builder::new().name("disk".into()).spawn(work).ok();
        Self { requests: Mutex::new(Some(sender)), source, worker: Mutex::new(worker), newest }
    }

    fn send(&self, request: Request) {
        if let Some(sender) = &*self.requests.lock().unwrap_or_else(PoisonError::into_inner) {
            drop(sender.send(request));
        }
    }

    /// Keeps the groove in the journal when edits have come to rest.
    pub(crate) fn journal(&self, groove: Arc<Groove>) {
        *self.newest.lock().unwrap_or_else(PoisonError::into_inner) = Some(groove.clone());
        self.send(Request::Journal(groove));
    }

    /// Saves the groove, under another name if one is given.
    pub(crate) fn save(&self, groove: Arc<Groove>, name: Option<PathBuf>, overwrite: Overwrite) {
        self.send(Request::Save(groove, name, overwrite));
    }

    /// Saves and journals this document from now on.
    pub(crate) fn switch_document(&self, document: DocumentId) {
        self.send(Request::SwitchDocument(document));
    }

    /// Adds to what has been practised of the groove, and tells all of it.
    pub(crate) fn progress(&self, practised: Option<Practised>) {
        self.send(Request::Progress(practised));
    }

    /// Keeps the offset of taps for the next time.
    pub(crate) fn keep_offset(&self, ms: f64, error_ms: f64) {
        self.send(Request::Offset(Calibration { ms, error_ms }));
    }

    /// Keeps the volumes for the next session.
    pub(crate) fn keep_levels(&self, levels: playing::SoundLevels) {
        let (volume_db, click_db) = (levels.volume_db.into(), levels.click_db.into());
        self.send(Request::Levels(SoundLevels { volume_db, click_db }));
    }

    /// What a panic needs to keep the work.
    pub(crate) fn rescue(&self) -> Rescue {
        Rescue { source: self.source.clone(), newest: self.newest.clone() }
    }

    /// Waits for what was asked; then the journal holds the groove, or nothing.
    pub(crate) fn end(&self, keep: bool, groove: &Groove) {
        drop(self.requests.lock().unwrap_or_else(PoisonError::into_inner).take());
        if let Some(worker) = self.worker.lock().unwrap_or_else(PoisonError::into_inner).take() {
            drop(worker.join());
        }
        let mut source = self.source.lock().unwrap_or_else(PoisonError::into_inner);
        if keep {
            source.write_journal(groove);
        } else {
            source.discard_journal();
        }
    }
}

/// Keeps the work when the program fails.
pub(crate) struct Rescue {
    source: Arc<Mutex<Source>>,
    newest: Arc<Mutex<Option<Arc<Groove>>>>,
}

impl Rescue {
    /// Writes what is not in the journal yet. It never waits.
    pub(crate) fn keep(&self) {
        if let (Ok(mut source), Ok(mut newest)) = (self.source.try_lock(), self.newest.try_lock())
            && let Some(groove) = newest.take()
        {
            source.write_journal(&groove);
        }
    }
}

fn run(
    requests: &Receiver<Request>,
    source: &Mutex<Source>,
    newest: &Mutex<Option<Arc<Groove>>>,
    events: &Sender<Event>,
) {
    let locked = || source.lock().unwrap_or_else(PoisonError::into_inner);
    let mut since: Option<Instant> = None;
    let mut waiting: Option<Arc<Groove>> = None;
    loop {
        let wait = since.map_or(Duration::from_secs(3600), |s| DEBOUNCE.min(MAX_DELAY.saturating_sub(s.elapsed())));
        match requests.recv_timeout(wait) {
            Ok(Request::Journal(groove)) => {
                since.get_or_insert_with(Instant::now);
                waiting = Some(groove);
                if since.is_none_or(|s| s.elapsed() < MAX_DELAY) {
                    continue;
                }
            }
            Ok(Request::Progress(practised)) => {
                if events.send(Event::Progress(locked().progress(practised))).is_err() {
                    return;
                }
                continue;
            }
            Ok(Request::Save(groove, other, overwrite)) => {
                let mut source = locked();
                let (document, result) = (source.document(), source.save(&groove, other, overwrite));
                drop(source);
                if result.is_ok() && waiting.as_ref().is_some_and(|w| Arc::ptr_eq(w, &groove)) {
                    (waiting, since) = (None, None);
                }
                if events.send(Event::Saved { document, groove, result }).is_err() {
                    return;
                }
                continue;
            }
            Ok(Request::SwitchDocument(document)) => {
                (waiting, since) = (None, None);
                locked().switch_document(document);
                continue;
            }
            Ok(Request::Levels(levels)) => {
                if let Err(words) = locked().keep_levels(levels)
                    && events.send(Event::SoundWarning(format!("could not save the volume: {words}"))).is_err()
                {
                    return;
                }
                continue;
            }
            Ok(Request::Offset(calibration)) => {
                let result = locked().keep_offset(calibration);
                if events.send(Event::OffsetSaved(result)).is_err() {
                    return;
                }
                continue;
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return,
        }
        if let Some(groove) = waiting.take() {
            since = None;
            if let Some(words) = locked().write_journal(&groove) {
                drop(events.send(Event::JournalFailed(words)));
            }
            let mut newest = newest.lock().unwrap_or_else(PoisonError::into_inner);
            if newest.as_ref().is_some_and(|n| Arc::ptr_eq(n, &groove)) {
                *newest = None;
            }
        }
    }
}
