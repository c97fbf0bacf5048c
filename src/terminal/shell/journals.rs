//! The journals of the editor's documents: written before the frame that shows a key, flushed to the disk by a thread.

use crate::rhythm::Groove;
use crate::session::DocumentId;
use crate::sound::playback::LatestSlot;
use crate::store::{self, Journal, Printer, StateFolder};
use crate::terminal::Event;
use std::fs::File;
use std::path::PathBuf;
use std::sync::mpsc::Sender;
use std::thread;
use std::time::Duration;

/// Time from the first write to the flush of all that was written by then. A flush must follow a write within 200 ms, also on
/// a loaded machine.
const SYNC_DELAY: Duration = Duration::from_millis(40);

/// What a document's journal starts with, and the journal once there is one.
#[derive(Debug, Default)]
struct Entry {
    target: Option<PathBuf>,
    base: Option<String>,
    journal: Option<Journal>,
    printer: Printer,
}

impl Entry {
    /// Replaces the journal by a new one that starts with this text of the groove, if any.
    fn renew(&mut self, folder: &StateFolder, text: Option<&str>) -> Result<(), String> {
        let created = Journal::create(folder, self.target.as_deref(), self.base.as_deref());
        let mut journal = created.map_err(|e| e.cause())?;
        if let Some(text) = text
            && let Err(e) = journal.write(text)
        {
            journal.remove();
            return Err(e.cause());
        }
        if let Some(old) = self.journal.replace(journal) {
            old.remove();
        }
        Ok(())
    }
}

#[derive(Debug)]
pub(crate) struct Journals {
    folder: Option<StateFolder>,
    /// Indexed by document.
    entries: Vec<Entry>,
    unsynced: LatestSlot<Vec<(PathBuf, File)>>,
}

impl Journals {
    /// Starts the thread that flushes, and the journal of the first document, so that other editors see that it is open.
    pub(crate) fn start(
        folder: Option<StateFolder>,
        target: Option<PathBuf>,
        base: Option<String>,
        events: Sender<Event>,
    ) -> (Self, Result<(), String>) {
        let unsynced = LatestSlot::new();
        let mut journals = Self { folder, entries: vec![Entry { target, base, ..Entry::default() }], unsynced };
        let started = journals.renew(DocumentId::default(), None);
        let slot = journals.unsynced.clone();
        let sync = move || {
            while let Ok(mut files) = slot.take() {
                thread::sleep(SYNC_DELAY);
                slot.put(|more| {
                    files.extend(more.into_iter().flatten());
                    None
                });
                let failed = files.iter().find_map(|(path, file)| store::sync(path, file).err());
                if failed.is_some_and(|e| events.send(Event::Journal(Err(store::reason(&e)))).is_err()) {
                    return;
                }
            }
        };
        let spawned = thread::Builder::new().name("journal".into()).spawn(sync);
        (journals, started.and(spawned.map(drop).map_err(|e| store::reason(&e))))
    }

    fn entry(&mut self, document: DocumentId) -> &mut Entry {
        if self.entries.len() <= document.0 {
            self.entries.resize_with(document.0 + 1, Entry::default);
        }
        &mut self.entries[document.0]
    }

    fn renew(&mut self, document: DocumentId, text: Option<&str>) -> Result<(), String> {
        let folder = self.folder.clone().ok_or("no home folder")?;
        self.entry(document).renew(&folder, text)?;
        self.request_sync(document)
    }

    pub(crate) fn keep(&mut self, document: DocumentId, groove: &Groove) -> Result<(), String> {
        let entry = self.entry(document);
        let text = entry.printer.print(groove);
        match &mut entry.journal {
            Some(journal) if !journal.must_be_replaced() => journal.write(&text).map_err(|e| e.cause())?,
            _ => return self.renew(document, Some(&text)),
        }
        self.request_sync(document)
    }

    fn request_sync(&mut self, document: DocumentId) -> Result<(), String> {
        let Some(journal) = &self.entry(document).journal else { return Ok(()) };
        let handle = journal.handle().map_err(|e| store::reason(&e))?;
        self.unsynced.put(|waiting| {
            let mut waiting = waiting.unwrap_or_default();
            if waiting.iter().all(|(path, _)| *path != handle.0) {
                waiting.push(handle);
            }
            Some(waiting)
        });
        Ok(())
    }

    /// Starts a document's journal again from the text of its file, which holds `groove`. Edits after that stay.
    pub(crate) fn rebase(
        &mut self,
        document: DocumentId,
        target: Option<PathBuf>,
        base: Option<String>,
        groove: Option<&Groove>,
    ) -> Result<(), String> {
        let printed = groove.map(store::print);
        let entry = self.entry(document);
        (entry.target, entry.base) = (target, base);
        let text = entry.journal.as_ref().map(|j| j.text().to_owned());
        let text = text.filter(|t| !t.is_empty() && printed.as_ref() != Some(t));
        self.renew(document, text.as_deref())
    }

    /// Starts a document's journal again from the text that recovered work started from.
    pub(crate) fn adopt(&mut self, document: DocumentId, base: Option<String>) -> Result<(), String> {
        let target = self.entry(document).target.clone();
        self.rebase(document, target, base, None)
    }

    /// Removes the journals, or all that hold no edit.
    pub(crate) fn end(&mut self, keep: bool) {
        for journal in self.entries.drain(..).filter_map(|entry| entry.journal) {
            if keep && !journal.text().is_empty() {
                drop(journal.handle().and_then(|(path, file)| store::sync(&path, &file)));
            } else {
                journal.remove();
            }
        }
    }
}
