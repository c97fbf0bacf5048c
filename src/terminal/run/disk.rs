//! Saving and the journal on a thread of their own. It must not know the screen.

use super::super::{Event, Practised, Unsaved};
use crate::rhythm::Groove;
use crate::store::{self, Calibration, Journal, Loaded, Recovered, SaveError, Stamp};
use std::path::PathBuf;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// Time without an edit after which the journal is written.
const QUIET: Duration = Duration::from_millis(300);
/// Time after which it is written also while edits come.
const LONGEST: Duration = Duration::from_secs(2);

/// Where the groove lies on the disk, and the text it came from.
#[derive(Debug)]
pub(super) struct Source {
    path: Option<PathBuf>,
    /// The text that edits are written into, so that comments stay.
    text: Option<String>,
    stamp: Stamp,
    journal: Option<Journal>,
    journal_failed: bool,
}

impl Source {
    pub(super) fn new(path: Option<PathBuf>, loaded: Option<Loaded>, journal: Option<Journal>) -> Self {
        let (text, stamp) = loaded.map_or((None, Stamp::ABSENT), |l| (Some(l.text), l.stamp));
        Self { path, text, stamp, journal, journal_failed: false }
    }

    /// Takes over work found in the journal; `untitled` work is from now on kept as this process's.
    pub(super) fn adopt(&mut self, work: Loaded, kept: Recovered, untitled: bool) {
        if let Some(journal) = &self.journal
            && untitled
            && journal.write(None, &work.text).is_ok()
        {
            kept.discard();
        }
        self.text = Some(work.text);
    }

    fn text_of(&self, groove: &Groove) -> String {
        self.text.as_ref().map_or_else(|| store::print(groove), |text| store::update(text, groove))
    }

    /// Writes the journal; the first failure of a row is told.
    fn write_journal(&mut self, groove: &Groove) -> Option<String> {
        let text = self.text_of(groove);
        let failed = self.journal.as_ref()?.write(self.path.as_deref(), &text).err();
        let told = failed.is_some() && !self.journal_failed;
        self.journal_failed = failed.is_some();
        failed.filter(|_| told).map(|e| e.to_string())
    }

    /// Adds to the file of what was practised, which stands beside a groove that was saved, and gives its last line in words.
    fn progress(&self, practised: Option<Practised>) -> Result<Option<String>, String> {
        let Some(path) = self.path.as_deref().filter(|_| self.stamp != Stamp::ABSENT) else { return Ok(None) };
        let mut all = store::load_progress(path)?;
        let last = all.last().map(ToString::to_string);
        let Some(p) = practised else { return Ok(last) };
        all.add(store::Practice {
            date: today(),
            ladder: p.ladder,
            step: p.step,
            steps: p.steps,
            speed: p.speed,
            loops: p.loops,
        });
        store::save_progress(path, &all)?;
        Ok(all.last().map(ToString::to_string))
    }

    fn keep_offset(&self, calibration: Calibration) -> Result<(), String> {
        let journal = self.journal.as_ref().ok_or("there is no home to keep it in")?;
        journal.keep_calibration(calibration).map_err(|e| e.to_string())
    }

    /// Work that has no file from now on; what the journal had of the one before is given up.
    fn unname(&mut self) {
        if let Some(journal) = &self.journal {
            journal.discard(self.path.as_deref());
        }
        *self = Self::new(None, None, self.journal.take());
    }

    fn save(&mut self, groove: &Groove, other: Option<PathBuf>, over: bool) -> Result<String, Unsaved> {
        let moving = other.is_some() && other != self.path;
        let Some(path) = other.or_else(|| self.path.clone()) else {
            return Err(Unsaved::Failed("no name to save under".into()));
        };
        let taken = || Unsaved::Taken(path.display().to_string());
        if moving && !over && std::fs::symlink_metadata(&path).is_ok_and(|m| !m.is_dir()) {
            return Err(taken());
        }
        let text = self.text_of(groove);
        let stamp = if moving { Stamp::ABSENT } else { self.stamp };
        let stamp = store::save(&path, &text, (!over).then_some(stamp)).map_err(|e| match e {
            SaveError::ChangedOnDisk(_) if moving => taken(),
            SaveError::ChangedOnDisk(_) => Unsaved::Changed,
            // The line of messages is short, and the reason matters most.
            e => Unsaved::Failed(format!("{}: {}", e.words(), path.display())),
        })?;
        if let Some(journal) = &self.journal {
            journal.discard(self.path.as_deref());
        }
        let name = path.display().to_string();
        *self = Self { path: Some(path), text: Some(text), stamp, journal: self.journal.take(), journal_failed: false };
        Ok(name)
    }
}

enum Request {
    Progress(Option<Practised>),
    Journal(Arc<Groove>),
    Save(Arc<Groove>, Option<PathBuf>, bool),
    Offset(Calibration),
    Unname,
}

/// The thread's end of the program.
#[derive(Debug)]
pub(super) struct Disk {
    requests: Mutex<Option<Sender<Request>>>,
    source: Arc<Mutex<Source>>,
    worker: Mutex<Option<JoinHandle<()>>>,
    newest: Arc<Mutex<Option<Arc<Groove>>>>,
}

impl Disk {
    /// Starts the thread; the ends of saves come as events.
    pub(super) fn start(source: Source, events: Sender<Event>) -> Self {
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
    pub(super) fn journal(&self, groove: Arc<Groove>) {
        *self.newest.lock().unwrap_or_else(PoisonError::into_inner) = Some(groove.clone());
        self.send(Request::Journal(groove));
    }

    /// Saves the groove, under another name if one is given, `over` whatever is there if so asked.
    pub(super) fn save(&self, groove: Arc<Groove>, name: Option<PathBuf>, over: bool) {
        self.send(Request::Save(groove, name, over));
    }

    /// The groove has no file from now on.
    pub(super) fn unname(&self) {
        self.send(Request::Unname);
    }

    /// Adds to what has been practised of the groove, and tells all of it.
    pub(super) fn progress(&self, practised: Option<Practised>) {
        self.send(Request::Progress(practised));
    }

    /// Keeps the offset of taps for the next time.
    pub(super) fn keep_offset(&self, ms: f64, error_ms: f64) {
        self.send(Request::Offset(Calibration { ms, error_ms }));
    }

    /// What a panic needs to keep the work.
    pub(super) fn rescue(&self) -> Rescue {
        Rescue { source: self.source.clone(), newest: self.newest.clone() }
    }

    /// Waits for what was asked; then the journal holds the groove, or nothing.
    pub(super) fn end(&self, keep: bool, groove: &Groove) {
        drop(self.requests.lock().unwrap_or_else(PoisonError::into_inner).take());
        if let Some(worker) = self.worker.lock().unwrap_or_else(PoisonError::into_inner).take() {
            drop(worker.join());
        }
        let mut source = self.source.lock().unwrap_or_else(PoisonError::into_inner);
        if keep {
            source.write_journal(groove);
        } else if let Some(journal) = &source.journal {
            journal.discard(source.path.as_deref());
        }
    }
}

/// Keeps the work when the program fails.
pub(super) struct Rescue {
    source: Arc<Mutex<Source>>,
    newest: Arc<Mutex<Option<Arc<Groove>>>>,
}

impl Rescue {
    /// Writes what is not in the journal yet. It never waits.
    pub(super) fn keep(&self) {
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
        let wait = since.map_or(Duration::from_secs(3600), |s| QUIET.min(LONGEST.saturating_sub(s.elapsed())));
        match requests.recv_timeout(wait) {
            Ok(Request::Journal(groove)) => {
                since.get_or_insert_with(Instant::now);
                waiting = Some(groove);
                if since.is_none_or(|s| s.elapsed() < LONGEST) {
                    continue;
                }
            }
            Ok(Request::Progress(practised)) => {
                if events.send(Event::Progress(locked().progress(practised))).is_err() {
                    return;
                }
                continue;
            }
            Ok(Request::Save(groove, other, over)) => {
                let result = locked().save(&groove, other, over);
                if result.is_ok() && waiting.as_ref().is_some_and(|w| Arc::ptr_eq(w, &groove)) {
                    (waiting, since) = (None, None);
                }
                if events.send(Event::Saved { groove, result }).is_err() {
                    return;
                }
                continue;
            }
            Ok(Request::Unname) => {
                (waiting, since) = (None, None);
                locked().unname();
                continue;
            }
            Ok(Request::Offset(calibration)) => {
                let result = locked().keep_offset(calibration);
                if events.send(Event::OffsetKept(result)).is_err() {
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

/// The day in the calendar of Greenwich: `2026-11-25`.
fn today() -> String {
    let seconds = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |d| d.as_secs());
    date(seconds / 86_400)
}

/// Days since 1970-01-01 in the Gregorian calendar (H. Hinnant, "chrono-Compatible Low-Level Date Algorithms", `civil_from_days`).
fn date(days: u64) -> String {
    let z = days + 719_468;
    let (era, day) = (z / 146_097, z % 146_097);
    let year = (day - day / 1460 + day / 36_524 - day / 146_096) / 365;
    let within = day - (365 * year + year / 4 - year / 100);
    let shifted = (5 * within + 2) / 153;
    let month = if shifted < 10 { shifted + 3 } else { shifted - 9 };
    let year = year + era * 400 + u64::from(month <= 2);
    format!("{year:04}-{month:02}-{:02}", within - (153 * shifted + 2) / 5 + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn progress_stands_beside_a_saved_groove_only_and_a_damaged_one_is_left() {
        let home = tempfile::tempdir().expect("a folder");
        let path = home.path().join("riff.toml");
        let work = |loops| {
            let (ladder, speed) = ("50-100/10 x4".to_owned(), "70%".to_owned());
            Some(Practised { ladder, step: 3, speed, steps: 6, loops })
        };
        // A name without a file, and no name at all: nothing is written.
        for source in [Source::new(Some(path.clone()), None, None), Source::new(None, None, None)] {
            assert_eq!(source.progress(work(4)), Ok(None));
        }
        assert_eq!(std::fs::read_dir(home.path()).expect("a folder").count(), 0);
        let quarter = crate::rhythm::Time::new(1, 4).expect("quarter");
        let tempo = crate::rhythm::Tempo::new(crate::rhythm::Fraction::whole(120), quarter).expect("tempo");
        let groove = Groove::blank(crate::rhythm::Meter::parse("4/4").expect("meter"), tempo, 1).expect("groove");
        let mut source = Source::new(Some(path.clone()), None, None);
        source.save(&groove, None, false).expect("saved");
        assert_eq!(source.progress(None), Ok(None));
        source.progress(work(4)).expect("written");
        let told = source.progress(work(2)).expect("written").expect("a line");
        assert!(told.contains(": step 3 of 6 (70%), 6 loops, 50-100/10 x4"), "{told}");
        assert_eq!(source.progress(None), Ok(Some(told)));
        let beside = store::progress_path(&path);
        std::fs::write(&beside, "format = [").expect("written");
        let error = source.progress(work(1)).expect_err("damaged");
        assert!(error.starts_with("riff.progress: line 1 is not TOML; it is left as it is"), "{error}");
        assert_eq!(std::fs::read_to_string(&beside).expect("text"), "format = [");
    }

    #[test]
    fn days_have_their_dates() {
        let rows = [
            (0, "1970-01-01"),
            (59, "1970-03-01"),
            (11_016, "2000-02-29"),
            (20_782, "2026-11-25"),
            (47_540, "2100-02-28"),
        ];
        for (days, expected) in rows {
            assert_eq!(date(days), expected);
        }
        assert_eq!(date(47_541), "2100-03-01", "2100 is no leap year");
    }
}
