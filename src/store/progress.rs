//! The practice log of a groove, in `riff.progress` next to `riff.toml`.

use super::error::{TextPosition, reason};
use super::save::{Stamp, save};
use std::fmt;
use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};
use toml_edit::{DocumentMut, Item, Table, value};

/// The format version that is written, and the newest that is read.
const FORMAT: i64 = 1;
const MAX_BYTES: u64 = 1024 * 1024;
/// Older entries are dropped.
const MAX_ENTRIES: usize = 1000;
const HEADER: &str = "# Practice log of the groove of the same file name; teeter appends to it.\n\n";

/// One day's practice of one ladder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Practice {
    /// `2026-11-25`.
    pub date: String,
    /// `50-100/10 x4`.
    pub ladder: String,
    /// The highest step reached, from 1.
    pub step: usize,
    /// The speed of that step: `80%`.
    pub speed: String,
    /// Number of steps of the ladder.
    pub steps: usize,
    /// Number of loops played.
    pub loops: u64,
}

impl fmt::Display for Practice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { date, ladder, step, speed, steps, loops } = self;
        let passes = if *loops == 1 { "1 pass".to_owned() } else { format!("{loops} passes") };
        write!(f, "last {ladder}: step {step} of {steps} ({speed}), {passes}, {date}")
    }
}

/// The entries, oldest first, and the state of the file when it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Progress {
    entries: Vec<Practice>,
    stamp: Stamp,
}

impl Progress {
    pub(crate) fn last(&self) -> Option<&Practice> {
        self.entries.last()
    }

    /// Adds an entry; the same ladder on the same day is one entry.
    pub(crate) fn add(&mut self, mut entry: Practice) {
        let same = self.entries.iter().position(|e| e.date == entry.date && e.ladder == entry.ladder);
        if let Some(old) = same.map(|i| self.entries.remove(i)) {
            let loops = old.loops.saturating_add(entry.loops);
            entry = Practice { loops, ..if old.step > entry.step { old } else { entry } };
        }
        self.entries.push(entry);
        let extra = self.entries.len().saturating_sub(MAX_ENTRIES);
        self.entries.drain(..extra);
    }
}

/// The practice log of the groove at a path.
pub(crate) fn progress_path(groove: &Path) -> PathBuf {
    let is_log_itself = groove.extension().is_some_and(|e| e == "progress");
    groove.with_extension(if is_log_itself { "progress.progress" } else { "progress" })
}

/// Loads the practice log of the groove at a path. A missing file is an empty log; an error is one line.
pub(crate) fn load_progress(groove: &Path) -> Result<Progress, String> {
    let path = progress_path(groove);
    let name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    let wrong = |why: &str| format!("{name}: {why}; the file is left unchanged, and progress is not recorded");
    match std::fs::metadata(&path) {
        Err(e) if e.kind() == ErrorKind::NotFound => {
            return Ok(Progress { entries: Vec::new(), stamp: Stamp::ABSENT });
        }
        Ok(metadata) if !metadata.is_file() => return Err(wrong("not a regular file")),
        _ => {}
    }
    let mut text = String::new();
    File::open(&path).and_then(|f| f.take(MAX_BYTES + 1).read_to_string(&mut text)).map_err(|e| wrong(&reason(&e)))?;
    if text.len() as u64 > MAX_BYTES {
        return Err(wrong("more than 1 MiB"));
    }
    let entries = parse(&text).map_err(|why| wrong(&why))?;
    Ok(Progress { entries, stamp: Stamp::of(&text) })
}

/// Saves the practice log like a groove; an error is one line.
pub(crate) fn save_progress(groove: &Path, progress: &Progress) -> Result<(), String> {
    let path = progress_path(groove);
    let done = save(&path, &print(&progress.entries), Some(progress.stamp));
    done.map(drop).map_err(|e| format!("progress is {}: {}", e.message(), path.display()))
}

fn print(entries: &[Practice]) -> String {
    let mut document = DocumentMut::new();
    document["format"] = value(FORMAT);
    let number = |n: u64| value(i64::try_from(n).unwrap_or(i64::MAX));
    let table = |e: &Practice| {
        Table::from_iter([
            ("date", value(&e.date)),
            ("ladder", value(&e.ladder)),
            ("step", number(e.step as u64)),
            ("steps", number(e.steps as u64)),
            ("speed", value(&e.speed)),
            ("loops", number(e.loops)),
        ])
    };
    document["practice"] = Item::ArrayOfTables(entries.iter().map(table).collect());
    format!("{HEADER}{document}")
}

fn parse(text: &str) -> Result<Vec<Practice>, String> {
    let document: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| {
        format!("line {} is not TOML", TextPosition::of(text, e.span().map_or(0, |s| s.start)).line)
    })?;
    match document.get("format").and_then(Item::as_integer) {
        Some(FORMAT) => {}
        Some(n) if n > FORMAT => return Err(format!("format {n}, written by a newer teeter")),
        _ => return Err(format!("no 'format = {FORMAT}'")),
    }
    if let Some((key, _)) = document.iter().find(|(key, _)| !["format", "practice"].contains(key)) {
        return Err(format!("unknown key '{}'", key.escape_debug()));
    }
    let Some(tables) = document.get("practice") else { return Ok(Vec::new()) };
    let tables = tables.as_array_of_tables().ok_or("expected [[practice]] tables")?;
    let entry = |(k, table): (usize, &Table)| {
        let string = |key: &str| table.get(key).and_then(Item::as_str).filter(|s| !s.contains(char::is_control));
        let number = |key: &str| table.get(key).and_then(Item::as_integer).and_then(|n| u64::try_from(n).ok());
        let read = || {
            let (step, steps) = (number("step")?, number("steps")?);
            Some(Practice {
                date: string("date")?.to_owned(),
                ladder: string("ladder")?.to_owned(),
                step: usize::try_from(step).ok().filter(|_| (1..=steps).contains(&step))?,
                speed: string("speed")?.to_owned(),
                steps: usize::try_from(steps).ok()?,
                loops: number("loops")?,
            })
        };
        read().ok_or_else(|| format!("entry {} needs date, ladder, step, steps, speed and loops", k + 1))
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
            Some("last 50-100/10 x4: step 3 of 6 (70%), 12 passes, 2026-11-25")
        );
        // Read before another wrote: not written over.
        assert!(save_progress(&groove, &all).is_err_and(|e| e.contains("changed by another program")));
        let text = std::fs::read_to_string(home.path().join("riff.progress")).expect("beside the groove");
        assert!(text.starts_with("# Practice log") && text.contains("date = \"2026-11-25\""), "{text}");
    }

    #[test]
    fn a_damaged_file_gives_one_line_and_stays() {
        let home = tempfile::tempdir().expect("a folder");
        let groove = home.path().join("riff.toml");
        let path = progress_path(&groove);
        let rows = [
            ("", "no 'format = 1'"),
            ("format = 1\nx = ", "line 2 is not TOML"),
            ("format = 1\ntitle = \"riff\"", "unknown key 'title'"),
            ("format = 9", "written by a newer teeter"),
            ("format = 1\npractice = 3", "expected [[practice]]"),
            ("format = 1\n[[practice]]\ndate = \"2026-11-25\"", "entry 1 needs"),
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
        assert!(load_progress(&groove).is_err_and(|e| e.contains("not a regular file")));
    }
}
