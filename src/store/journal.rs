//! The journal: an append-only file for each process and document that holds every state of an unsaved groove.
//!
//! After [`HEADER`] stand records. Each keeps a start and an end of the text before it and puts new bytes between them:
//!
//! | bytes | content |
//! | --- | --- |
//! | 1 | `f` path of the groove's file, `b` text the work started from, `e` text of the groove after an edit |
//! | 4, 4 | bytes kept from the start and from the end of the last `e`; 0 for `f` and `b` (little-endian) |
//! | 4 | number of new bytes |
//! | n | new bytes |
//! | 8 | 64-bit FNV-1a hash of the resulting text |

use super::atomic_file::folder_of;
use super::error::reason;
use super::lock::{lock_folder, try_lock};
use super::save::hash;
use super::{MAX_BYTES, SaveError, StateFolder};
use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Read};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

const HEADER: &[u8] = b"teeter journal 1\n";
const EXTENSION: &str = "journal";
/// Bytes read of a journal.
const MAX_LENGTH: u64 = 64 << 20;
/// Records after which a journal is replaced by a new one, so that reading it takes less than a second.
const MAX_RECORDS: usize = 4096;
/// Bytes of records after which a journal is replaced by a new one.
const MAX_GROWTH: u64 = 8 << 20;

/// The journal of one document, which its process keeps locked.
#[derive(Debug)]
pub(crate) struct Journal {
    file: File,
    path: PathBuf,
    /// Text of the last complete record of an edit; empty before the first one.
    text: String,
    records: usize,
    /// Bytes of the header, and of all complete records.
    start: u64,
    length: u64,
}

impl Journal {
    /// Creates the journal of a groove that stands in `target` and was read from the text `base`, as far as there are such.
    pub(crate) fn create(folder: &StateFolder, target: Option<&Path>, base: Option<&str>) -> Result<Self, SaveError> {
        folder.create()?;
        let failed = |e: &io::Error| SaveError::Folder(folder.0.clone(), reason(e));
        // Other editors look for journals that are not locked.
        let _lock = lock_folder(&folder.0);
        let target = target.map(without_links);
        let name = name_start(target.as_deref());
        let mut options = OpenOptions::new();
        options.read(true).write(true).create_new(true);
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        let mut number = 0;
        let (path, file) = loop {
            let path = folder.0.join(format!("{name}-{}-{number}.{EXTENSION}", std::process::id()));
            match options.open(&path) {
                Ok(file) => break (path, file),
                // Left by a process that had the same number.
                Err(e) if e.kind() == ErrorKind::AlreadyExists => number += 1,
                Err(e) => return Err(failed(&e)),
            }
        };
        try_lock(&file);
        let mut journal = Self { file, path, text: String::new(), records: 0, start: 0, length: 0 };
        let mut start = HEADER.to_vec();
        if let Some(target) = &target {
            push_record(&mut start, b'f', b"", target.as_os_str().as_encoded_bytes());
        }
        if let Some(base) = base {
            push_record(&mut start, b'b', b"", base.as_bytes());
        }
        if let Err(e) = journal.append(&start) {
            drop(fs::remove_file(&journal.path));
            return Err(failed(&e));
        }
        journal.start = journal.length;
        Ok(journal)
    }

    /// Appends the text of the groove. On an error the earlier ones stay.
    pub(crate) fn write(&mut self, text: &str) -> Result<(), SaveError> {
        if text == self.text {
            return Ok(());
        }
        // A longer text could not be recovered.
        if text.len() as u64 > MAX_BYTES {
            return Err(SaveError::TooLarge(self.path.clone(), text.len() as u64));
        }
        let mut record = Vec::new();
        push_record(&mut record, b'e', self.text.as_bytes(), text.as_bytes());
        self.append(&record).map_err(|e| SaveError::Write(self.path.clone(), reason(&e)))?;
        text.clone_into(&mut self.text);
        self.records += 1;
        Ok(())
    }

    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        // At the end of the last complete record: of one that failed a part may stand behind it.
        let written = std::os::unix::fs::FileExt::write_all_at(&self.file, bytes, self.length);
        if written.is_err() {
            drop(self.file.set_len(self.length));
        }
        written.map(|()| self.length += bytes.len() as u64)
    }

    pub(crate) fn text(&self) -> &str {
        &self.text
    }

    /// Whether it must be replaced by a new one: its file was removed, or it has grown long.
    pub(crate) fn must_be_replaced(&self) -> bool {
        let links = std::os::unix::fs::MetadataExt::nlink;
        self.records >= MAX_RECORDS
            || self.length - self.start > MAX_GROWTH
            || self.file.metadata().is_ok_and(|m| links(&m) == 0)
    }

    /// The file, to be flushed to the disk by another thread.
    pub(crate) fn handle(&self) -> io::Result<(PathBuf, File)> {
        Ok((self.path.clone(), self.file.try_clone()?))
    }

    pub(crate) fn remove(self) {
        drop(fs::remove_file(self.path));
    }
}

/// Flushes a journal to the disk, with its entry in the folder.
pub(crate) fn sync(path: &Path, file: &File) -> io::Result<()> {
    file.sync_data()?;
    // Not every system can flush a folder.
    if let Ok(folder) = File::open(folder_of(path)) {
        drop(folder.sync_all());
    }
    Ok(())
}

/// Appends a record that turns a text into another.
fn push_record(out: &mut Vec<u8>, kind: u8, old: &[u8], new: &[u8]) {
    let start = old.iter().zip(new).take_while(|(a, b)| a == b).count();
    let (old_rest, new_rest) = (&old[start..], &new[start..]);
    let end = old_rest.iter().rev().zip(new_rest.iter().rev()).take_while(|(a, b)| a == b).count();
    let bytes = &new_rest[..new_rest.len() - end];
    out.push(kind);
    for n in [start, end, bytes.len()] {
        out.extend((n as u32).to_le_bytes());
    }
    out.extend(bytes);
    out.extend(hash(new).to_le_bytes());
}

/// What a journal holds.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct JournalContents {
    /// The file of the groove, as bytes of its path.
    pub target: Option<Vec<u8>>,
    /// The text that the work started from.
    pub base: Option<String>,
    /// The text of the groove after the last edit that can be read.
    pub text: Option<String>,
    /// Whether something that is no record follows the last one.
    pub is_damaged: bool,
}

/// Reads a journal up to its first error. A last record that was only written in part is no error.
pub fn read_journal(bytes: &[u8]) -> JournalContents {
    let mut contents = JournalContents::default();
    let Some(mut rest) = bytes.strip_prefix(HEADER) else {
        contents.is_damaged = !HEADER.starts_with(bytes);
        return contents;
    };
    let mut text = Vec::new();
    while let Some((head, after)) = rest.split_at_checked(13) {
        let number = |at: usize| u32::from_le_bytes([head[at], head[at + 1], head[at + 2], head[at + 3]]) as usize;
        let (start, end, count) = (number(1), number(5), number(9));
        let old: &[u8] = if head[0] == b'e' { &text } else { b"" };
        let is_record = matches!(head[0], b'f' | b'b' | b'e')
            && start + end <= old.len()
            && (start + end + count) as u64 <= MAX_BYTES;
        if !is_record {
            contents.is_damaged = true;
            break;
        }
        let Some((new, after)) = after.split_at_checked(count) else { break };
        let Some((check, after)) = after.split_first_chunk() else { break };
        let whole = [&old[..start], new, &old[old.len() - end..]].concat();
        let is_whole = hash(&whole) == u64::from_le_bytes(*check);
        match (head[0], std::str::from_utf8(&whole)) {
            _ if !is_whole => contents.is_damaged = true,
            (b'f', _) => contents.target = Some(whole),
            (b'b', Ok(base)) => contents.base = Some(base.to_owned()),
            (b'e', Ok(_)) => text = whole,
            _ => contents.is_damaged = true,
        }
        if contents.is_damaged {
            break;
        }
        rest = after;
    }
    contents.text = String::from_utf8(text).ok().filter(|t| !t.is_empty());
    contents
}

/// Unsaved work that no running process owns. It stays locked, so that no other editor offers it meanwhile.
#[derive(Debug)]
pub(crate) struct UnsavedJournal {
    path: PathBuf,
    _lock: File,
    pub contents: JournalContents,
    /// The bytes as text, for a journal that cannot be read.
    pub raw: String,
    /// Time of the last edit, by a clock that may have been changed since: for display and order only.
    pub modified: Option<SystemTime>,
}

impl UnsavedJournal {
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    pub(crate) fn discard(self) {
        drop(fs::remove_file(&self.path));
    }
}

/// The journals of one groove's file.
#[derive(Debug, Default)]
pub(crate) struct FoundJournals {
    /// The newest first.
    pub unsaved: Vec<UnsavedJournal>,
    /// Processes that have the file open, on systems with `/proc`.
    pub open_in: Vec<u32>,
}

impl StateFolder {
    /// Finds the journals of the groove at `target`, or of grooves without a file. Those without an edit are removed.
    pub(crate) fn journals(&self, target: Option<&Path>) -> FoundJournals {
        let name = format!("{}-", name_start(target.map(without_links).as_deref()));
        let _lock = lock_folder(&self.0);
        let mut found = FoundJournals::default();
        for entry in fs::read_dir(&self.0).into_iter().flatten().flatten() {
            let path = entry.path();
            let Some(owner) = path.file_name().and_then(|n| n.to_str()).and_then(|n| n.strip_prefix(&name)) else {
                continue;
            };
            // A pipe in its place would block.
            if !entry.file_type().is_ok_and(|t| t.is_file()) || path.extension().is_none_or(|e| e != EXTENSION) {
                continue;
            }
            let Ok(file) = File::open(&path) else { continue };
            if !try_lock(&file) {
                // Locked by an editor that offers it if its own process has ended.
                let is_running = |pid: &u32| Path::new("/proc").join(pid.to_string()).exists();
                found.open_in.extend(owner.split('-').next().and_then(|pid| pid.parse().ok()).filter(is_running));
                continue;
            }
            let mut bytes = Vec::new();
            let read = (&file).take(MAX_LENGTH).read_to_end(&mut bytes).is_ok();
            let contents = read_journal(&bytes);
            if contents.text.is_none() && !contents.is_damaged && read {
                drop(fs::remove_file(&path));
                continue;
            }
            let raw =
                if contents.text.is_none() { String::from_utf8_lossy(&bytes).into_owned() } else { String::new() };
            let modified = file.metadata().and_then(|m| m.modified()).ok();
            found.unsaved.push(UnsavedJournal { path, _lock: file, contents, raw, modified });
        }
        found.unsaved.sort_by_key(|u| std::cmp::Reverse(u.modified));
        found
    }
}

/// The start of the names of a file's journals: what can be read of its name, and the hash of its path.
fn name_start(target: Option<&Path>) -> String {
    let stem = target.and_then(Path::file_stem).map_or("untitled".into(), |stem| stem.to_string_lossy());
    let stem: String = stem.chars().filter(|c| c.is_alphanumeric() || *c == '-').take(40).collect();
    let path = target.map_or(&b""[..], |t| t.as_os_str().as_encoded_bytes());
    format!("{stem}-{:016x}", hash(path))
}

/// The path without links. A file that no longer exists has the same path as before.
fn without_links(path: &Path) -> PathBuf {
    fs::canonicalize(path).unwrap_or_else(|_| {
        let folder = folder_of(path);
        let folder = fs::canonicalize(folder).or_else(|_| std::path::absolute(folder));
        folder.map_or_else(|_| path.to_owned(), |f| f.join(path.file_name().unwrap_or_default()))
    })
}

#[cfg(test)]
mod tests;
