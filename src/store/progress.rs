//! What has been practised of a groove, in a small file beside it: `riff.progress` beside `riff.toml`.

use super::save::{Stamp, save};
use std::fmt;
use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, value};

/// The newest version of the file's form that this program reads; the one it writes.
const FORMAT: i64 = 1;
/// Most bytes of the file: 1 MiB.
const LIMIT: u64 = 1024 * 1024;
/// Most entries that are kept; older ones go.
const MOST: usize = 1000;
const HEAD: &str = "# What was practised of the groove of this name; teeter adds to it.\n\n";

/// One day's work on one ladder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Practice {
    /// The day: `2026-11-25`.
    pub date: String,
    /// The ladder in words: `50-100/10 x4`.
    pub ladder: String,
    /// The highest step reached, from 1, and its speed: `80%`.
    pub step: usize,
    /// Its speed.
    pub speed: String,
    /// Steps of the ladder.
    pub steps: usize,
    /// Times through that were played.
    pub loops: u64,
}

impl fmt::Display for Practice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { date, ladder, step, speed, steps, loops } = self;
        let times = if *loops == 1 { "loop" } else { "loops" };
        write!(f, "last {ladder}: step {step} of {steps} ({speed}), {loops} {times}, {date}")
    }
}

/// All that has been practised of a groove, oldest first, and what the file was when it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Progress {
    entries: Vec<Practice>,
    stamp: Stamp,
}

impl Progress {
    /// The newest entry.
    pub(crate) fn last(&self) -> Option<&Practice> {
        self.entries.last()
    }

    /// Adds work; the same ladder on the same day is one entry.
    pub(crate) fn add(&mut self, work: Practice) {
        let same = self.entries.iter().position(|e| e.date == work.date && e.ladder == work.ladder);
        let entry = match same.map(|i| self.entries.remove(i)) {
            Some(old) if old.step > work.step => Practice { loops: old.loops.saturating_add(work.loops), ..old },
            Some(old) => Practice { loops: old.loops.saturating_add(work.loops), ..work },
            None => work,
        };
        self.entries.push(entry);
        let extra = self.entries.len().saturating_sub(MOST);
        self.entries.drain(..extra);
    }
}

/// The file beside a groove's.
pub(crate) fn progress_path(groove: &Path) -> PathBuf {
    let taken = groove.extension().is_some_and(|e| e == "progress");
    groove.with_extension(if taken { "progress.progress" } else { "progress" })
}

/// Reads what has been practised of the groove of this file; nothing if there is no such file yet.
///
/// # Errors
/// In one line, what is wrong with the file.
pub(crate) fn load_progress(groove: &Path) -> Result<Progress, String> {
    let path = progress_path(groove);
    let name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    let wrong = |why: &str| format!("{name}: {why}; it is left as it is, and progress is not kept");
    match std::fs::metadata(&path) {
        Err(e) if e.kind() == ErrorKind::NotFound => {
            return Ok(Progress { entries: Vec::new(), stamp: Stamp::ABSENT });
        }
        Ok(about) if !about.is_file() => return Err(wrong("no plain file")),
        _ => {}
    }
    let mut text = String::new();
    File::open(&path)
        .and_then(|f| f.take(LIMIT + 1).read_to_string(&mut text))
        .map_err(|e| wrong(&super::error::reason(&e)))?;
    if text.len() as u64 > LIMIT {
        return Err(wrong("more than 1 MiB"));
    }
    let entries = parse(&text).map_err(|why| wrong(&why))?;
    Ok(Progress { entries, stamp: Stamp::of(&text) })
}

/// Writes what has been practised, all of it or nothing, as a groove is saved.
///
/// # Errors
/// In one line, why it was not written; also if another program has changed the file since it was read.
pub(crate) fn save_progress(groove: &Path, progress: &Progress) -> Result<(), String> {
    let path = progress_path(groove);
    let done = save(&path, &print(&progress.entries), Some(progress.stamp));
    done.map(drop).map_err(|e| format!("progress is {}: {}", e.words(), path.display()))
}

fn print(entries: &[Practice]) -> String {
    let mut document = DocumentMut::new();
    document["format"] = value(FORMAT);
    let mut tables = ArrayOfTables::new();
    let number = |n: u64| value(i64::try_from(n).unwrap_or(i64::MAX));
    for e in entries {
        let mut table = Table::new();
        table["date"] = value(e.date.as_str());
        table["ladder"] = value(e.ladder.as_str());
        table["step"] = number(e.step as u64);
        table["steps"] = number(e.steps as u64);
        table["speed"] = value(e.speed.as_str());
        table["loops"] = number(e.loops);
        tables.push(table);
    }
    document["practice"] = Item::ArrayOfTables(tables);
    format!("{HEAD}{document}")
}

fn parse(text: &str) -> Result<Vec<Practice>, String> {
    let document: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| {
        let at = e.span().map_or(0, |s| s.start);
        let line = text.bytes().take(at).filter(|b| *b == b'\n').count() + 1;
        format!("line {line} is not TOML")
    })?;
    match document.get("format").and_then(Item::as_integer) {
        Some(FORMAT) => {}
        Some(n) if n > FORMAT => return Err(format!("format {n}, made by a newer teeter")),
        _ => return Err(format!("no 'format = {FORMAT}'")),
    }
    if let Some((key, _)) = document.iter().find(|(key, _)| !["format", "practice"].contains(key)) {
        return Err(format!("the key '{}' is not known", key.escape_debug()));
    }
    let Some(tables) = document.get("practice") else { return Ok(Vec::new()) };
    let tables = tables.as_array_of_tables().ok_or("'practice' is no [[practice]]")?;
    let entry = |(k, table): (usize, &Table)| {
        let words = |key: &str| table.get(key).and_then(Item::as_str).filter(|s| !s.contains(char::is_control));
        let number = |key: &str| table.get(key).and_then(Item::as_integer).and_then(|n| u64::try_from(n).ok());
        let read = || {
            let (step, steps) = (number("step")?, number("steps")?);
            Some(Practice {
                date: words("date")?.to_owned(),
                ladder: words("ladder")?.to_owned(),
                step: usize::try_from(step).ok().filter(|_| (1..=steps).contains(&step))?,
                speed: words("speed")?.to_owned(),
                steps: usize::try_from(steps).ok()?,
                loops: number("loops")?,
            })
        };
        read().ok_or_else(|| format!("entry {} has not all of date, ladder, step, steps, speed, loops", k + 1))
    };
    tables.iter().enumerate().map(entry).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn work(date: &str, step: usize, loops: u64) -> Practice {
        Practice { date: date.into(), ladder: "50-100/10 x4".into(), step, speed: "70%".into(), steps: 6, loops }
    }

    #[test]
    fn work_is_added_day_by_day_and_read_again() {
        let home = tempfile::tempdir().expect("a folder");
        let groove = home.path().join("riff.toml");
        let mut all = load_progress(&groove).expect("nothing yet");
        assert_eq!(all.last(), None);
        all.add(work("2026-11-24", 5, 20));
        all.add(work("2026-11-25", 3, 8));
        all.add(work("2026-11-25", 2, 4));
        save_progress(&groove, &all).expect("written");
        let read = load_progress(&groove).expect("read");
        assert_eq!(read.entries, [work("2026-11-24", 5, 20), work("2026-11-25", 3, 12)]);
        assert_eq!(
            read.last().map(ToString::to_string).as_deref(),
            Some("last 50-100/10 x4: step 3 of 6 (70%), 12 loops, 2026-11-25")
        );
        // Read before another wrote: not written over.
        assert!(save_progress(&groove, &all).is_err_and(|e| e.contains("changed by another program")));
        let text = std::fs::read_to_string(home.path().join("riff.progress")).expect("beside the groove");
        assert!(text.starts_with("# What was practised") && text.contains("date = \"2026-11-25\""), "{text}");
    }

    #[test]
    fn a_damaged_file_gives_one_line_and_stays() {
        let home = tempfile::tempdir().expect("a folder");
        let groove = home.path().join("riff.toml");
        let path = progress_path(&groove);
        let rows = [
            ("", "no 'format = 1'"),
            ("format = 1\nx = ", "line 2 is not TOML"),
            ("format = 1\ntitle = \"riff\"", "the key 'title'"),
            ("format = 9", "made by a newer teeter"),
            ("format = 1\npractice = 3", "no [[practice]]"),
            ("format = 1\n[[practice]]\ndate = \"2026-11-25\"", "entry 1 has not all"),
            ("format = 1\n[[practice]]\ndate=\"d\"\nladder=\"l\"\nstep=7\nsteps=6\nspeed=\"1%\"\nloops=1", "entry 1"),
        ];
        for (text, words) in rows {
            std::fs::write(&path, text).expect("written");
            let error = load_progress(&groove).expect_err(text);
            assert!(error.starts_with("riff.progress: ") && error.contains(words), "{error}");
            assert_eq!(error.lines().count(), 1);
            assert_eq!(std::fs::read_to_string(&path).expect("there"), text);
        }
        std::fs::write(&path, [0xff, 0xfe]).expect("written");
        assert!(load_progress(&groove).is_err());
        std::fs::remove_file(&path).expect("removed");
        std::fs::create_dir(&path).expect("a folder");
        assert!(load_progress(&groove).is_err_and(|e| e.contains("no plain file")));
    }
}
