//! The editor's documents on the disk: their files, and the texts they were read from.

use crate::describe::difference;
use crate::rhythm::Groove;
use crate::session::DocumentId;
use crate::store::{self, LoadedGroove, Overwrite, Practice, SaveError, Stamp, StateFolder};
use crate::terminal::event::SaveFailed;
use crate::terminal::files::replacement::OpenedFile;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

#[derive(Debug, Default)]
struct DocumentFile {
    path: Option<PathBuf>,
    /// The text of the file, whose comments a save keeps.
    text: Option<String>,
    /// Stamp of the file when it was read or last saved.
    stamp: Option<Stamp>,
}

#[derive(Debug)]
pub(crate) struct Documents {
    /// Indexed by document.
    files: Vec<DocumentFile>,
    pub(crate) current: DocumentId,
    state: Option<StateFolder>,
}

impl Documents {
    pub(crate) fn new(path: Option<PathBuf>, loaded: Option<LoadedGroove>, state: Option<StateFolder>) -> Self {
        let (text, stamp) = loaded.map_or((None, None), |l| (Some(l.text), Some(l.stamp)));
        Self { files: vec![DocumentFile { path, text, stamp }], current: DocumentId::default(), state }
    }

    /// Treats a document as one that was read from this text: a save over anything else asks.
    pub(crate) fn adopt(&mut self, document: DocumentId, base: Option<String>) {
        let file = &mut self.files[document.0];
        (file.stamp, file.text) = (base.as_deref().map(Stamp::of), base);
    }

    fn file(&self) -> &DocumentFile {
        &self.files[self.current.0]
    }

    pub(crate) fn current_path_and_text(&self) -> (Option<PathBuf>, Option<String>) {
        (self.file().path.clone(), self.file().text.clone())
    }

    /// Saves as another document from now on.
    pub(crate) fn switch_document(&mut self, document: DocumentId) {
        self.current = document;
        self.add_up_to(document);
    }

    fn add_up_to(&mut self, document: DocumentId) {
        if self.files.len() <= document.0 {
            self.files.resize_with(document.0 + 1, DocumentFile::default);
        }
    }

    /// Reads a groove file, and what the state folder has about it.
    pub(crate) fn read(&self, name: String) -> Result<Box<OpenedFile>, String> {
        let path = Path::new(&name);
        let interrupted = store::finish_interrupted_save(path);
        let loaded = store::load(path).map_err(|e| e.to_string())?;
        let found = self.state.as_ref().map(|state| state.journals(Some(path))).unwrap_or_default();
        let warning = match (found.open_in.first(), found.unsaved.is_empty()) {
            (Some(pid), _) => Some(format!("also open in process {pid}: saving asks first")),
            (None, false) => {
                Some(format!("{name} has unsaved changes of an earlier session: `teeter {name}` offers them"))
            }
            (None, true) => interrupted,
        };
        let allowed_sounds = self.state.as_ref().map(|state| state.allowed_sounds(path)).unwrap_or_default();
        Ok(Box::new(OpenedFile { name, loaded, allowed_sounds, warning }))
    }

    /// Saves a document to a file that was read.
    pub(crate) fn use_file(&mut self, document: DocumentId, opened: &OpenedFile) {
        let LoadedGroove { text, stamp, .. } = &opened.loaded;
        let (path, text) = (Some(PathBuf::from(&opened.name)), Some(text.clone()));
        self.add_up_to(document);
        self.files[document.0] = DocumentFile { path, text, stamp: Some(*stamp) };
    }

    fn text_of(&self, groove: &Groove) -> String {
        self.file().text.as_ref().map_or_else(|| store::print(groove), |text| store::update(text, groove))
    }

    /// Adds an entry to the practice log of a saved groove, and returns the last line of the log.
    pub(crate) fn progress(&self, practice: Option<Practice>) -> Result<Option<String>, String> {
        let DocumentFile { path: Some(path), stamp: Some(_), .. } = self.file() else { return Ok(None) };
        let mut all = store::load_progress(path)?;
        let last = all.last().map(ToString::to_string);
        let Some(practice) = practice else { return Ok(last) };
        let seconds = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |d| d.as_secs());
        all.add(Practice { date: date(seconds / 86_400), ..practice });
        store::save_progress(path, &all)?;
        Ok(all.last().map(ToString::to_string))
    }

    pub(crate) fn save_state(&self, save: impl Fn(&StateFolder) -> Result<(), SaveError>) -> Result<(), String> {
        let state = self.state.as_ref().ok_or("no home folder to save it in")?;
        save(state).map_err(|e| e.to_string())
    }

    pub(crate) fn allow_sounds(&self, sounds: &[PathBuf]) -> Result<(), String> {
        // Without a file or a home the answer holds until the end.
        let (Some(path), Some(state)) = (&self.file().path, &self.state) else { return Ok(()) };
        state.allow_sounds(path, sounds).map_err(|e| e.to_string())
    }

    /// Writes the groove to its file, or to another one from now on; returns the file's name.
    pub(crate) fn save(
        &mut self,
        groove: &Groove,
        other: Option<PathBuf>,
        overwrite: Overwrite,
    ) -> Result<String, SaveFailed> {
        let checked = overwrite == Overwrite::Never;
        let moving = other.is_some() && other != self.file().path;
        let Some(path) = other.or_else(|| self.file().path.clone()) else {
            return Err(SaveFailed::Failed("no file name given".into()));
        };
        let taken = || SaveFailed::Taken(path.display().to_string());
        if moving && checked && std::fs::symlink_metadata(&path).is_ok_and(|m| !m.is_dir()) {
            return Err(taken());
        }
        let text = self.text_of(groove);
        let stamp = self.file().stamp.filter(|_| !moving).unwrap_or(Stamp::ABSENT);
        let stamp = store::save(&path, &text, checked.then_some(stamp)).map_err(|e| match e {
            SaveError::ChangedOnDisk(_) if moving => taken(),
            SaveError::ChangedOnDisk(_) => SaveFailed::Changed(match store::load(&path) {
                Ok(other) => difference(&other.groove, groove),
                Err(error) => vec![error.to_string()],
            }),
            // The reason comes first: the message line is short.
            e => SaveFailed::Failed(format!("{}: {}", e.message(), path.display())),
        })?;
        let name = path.display().to_string();
        self.files[self.current.0] = DocumentFile { path: Some(path), text: Some(text), stamp: Some(stamp) };
        Ok(name)
    }
}

/// The date of a day since 1970-01-01: `2026-11-25` in the Gregorian calendar (H. Hinnant, "chrono-Compatible Low-Level Date Algorithms", `civil_from_days`).
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
    fn only_a_saved_groove_has_a_practice_log_and_a_damaged_log_is_kept() {
        let home = tempfile::tempdir().expect("a folder");
        let path = home.path().join("riff.toml");
        let work = |loops| {
            let (ladder, speed) = ("50-100/10 x4".to_owned(), "70%".to_owned());
            Some(Practice { date: String::new(), ladder, step: 3, speed, steps: 6, loops })
        };
        // A name without a file, and no name at all: nothing is written.
        for documents in [Documents::new(Some(path.clone()), None, None), Documents::new(None, None, None)] {
            assert_eq!(documents.progress(work(4)), Ok(None));
        }
        assert_eq!(std::fs::read_dir(home.path()).expect("a folder").count(), 0);
        let quarter = crate::rhythm::Time::new(1, 4).expect("quarter");
        let tempo = crate::rhythm::Tempo::new(crate::rhythm::Fraction::whole(120), quarter).expect("tempo");
        let groove = Groove::blank(crate::rhythm::Meter::parse("4/4").expect("meter"), tempo, 1).expect("groove");
        let mut documents = Documents::new(Some(path.clone()), None, None);
        documents.save(&groove, None, Overwrite::Never).expect("saved");
        assert_eq!(documents.progress(None), Ok(None));
        documents.progress(work(4)).expect("written");
        let line = documents.progress(work(2)).expect("written").expect("a line");
        assert!(line.contains("last 50-100/10 x4: step 3 of 6 (70%), 6 passes, "), "{line}");
        assert_eq!(documents.progress(None), Ok(Some(line)));
        let log = store::progress_path(&path);
        std::fs::write(&log, "format = [").expect("written");
        let error = documents.progress(work(1)).expect_err("damaged");
        assert!(error.starts_with("riff.progress: line 1 is not TOML; the file is left unchanged"), "{error}");
        assert_eq!(std::fs::read_to_string(&log).expect("text"), "format = [");
    }

    #[test]
    fn each_document_has_its_own_file_text_and_stamp() {
        let home = tempfile::tempdir().expect("a folder");
        let file = |name: &str| home.path().join(name);
        let groove = |bars| {
            let quarter = crate::rhythm::Time::new(1, 4).expect("quarter");
            let tempo = crate::rhythm::Tempo::new(crate::rhythm::Fraction::whole(120), quarter).expect("tempo");
            Groove::blank(crate::rhythm::Meter::parse("4/4").expect("meter"), tempo, bars).expect("groove")
        };
        std::fs::write(file("riff.toml"), format!("# of the ferry\n{}", store::print(&groove(1)))).expect("written");
        let loaded = store::load(&file("riff.toml")).expect("read");
        let mut documents = Documents::new(Some(file("riff.toml")), Some(loaded), None);
        // The other document has no file and none of the comments.
        documents.switch_document(DocumentId(1));
        assert_eq!(
            documents.save(&groove(2), None, Overwrite::Never),
            Err(SaveFailed::Failed("no file name given".into()))
        );
        documents.save(&groove(2), Some(file("song.toml")), Overwrite::Never).expect("saved");
        let text = |name: &str| std::fs::read_to_string(file(name)).expect("text");
        assert!(!text("song.toml").contains("# of the ferry"));
        // The first one is saved to its file, with its comments, without a question.
        documents.switch_document(DocumentId(0));
        let name = documents.save(&groove(3), None, Overwrite::Never).expect("saved");
        assert!(name.ends_with("riff.toml") && text("riff.toml").contains("# of the ferry"));
        assert!(text("riff.toml").contains("bars = 3") && text("song.toml").contains("bars = 2"));
        // Changes by another program are noticed for each document.
        std::fs::write(file("song.toml"), "else").expect("written");
        documents.switch_document(DocumentId(1));
        let changed = documents.save(&groove(2), None, Overwrite::Never);
        assert!(
            matches!(&changed, Err(SaveFailed::Changed(lines)) if lines[0].starts_with("song.toml") || lines[0].contains("song.toml:1")),
            "{changed:?}"
        );
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
