//! Sound files on their way to a remote speaker: named by their hash on the editor's host, and kept in a folder by the speaker.

use super::fingerprint::{Fingerprinter, fingerprint};
use super::recordings::{RecordingEvent, Recordings};
use super::sound_access::{SharedAccess, SoundAccess};
use super::user_samples::UserSampleCache;
use crate::rhythm::{Edit, Groove, Recording};
use crate::sound::SampleRate;
use crate::sound::playback::ChunkRequest;
use crate::sound::remote::{
    HASH_DIGITS, MAX_RECORDING_FILE, MAX_SAMPLE_FILE, MAX_SAMPLE_FILES, Reload, SampleFiles, SampleStore,
};
use std::collections::{HashMap, VecDeque};
use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Bytes sent at a time.
const CHUNK_BYTES: u64 = 64 << 10;
/// The name of a recording that cannot be sent yet: its anchors set the times.
const NO_FILE: &str = "00000000000000000000000000000000";

/// The first 128 bits of the fingerprint.
fn hash(bytes: impl Read) -> io::Result<String> {
    Ok(fingerprint(bytes, &|| true)?.unwrap_or_default().chars().take(HASH_DIGITS).collect())
}

/// The files of the groove's layers, on the editor's host.
pub(crate) struct FilesToSend {
    access: SharedAccess,
    /// Finds what is wrong with a file as a player here would.
    cache: UserSampleCache,
    recordings: Recordings,
    files: HashMap<PathBuf, NamedFile>,
}

/// A file as it was when it was hashed.
struct NamedFile {
    modified: Option<SystemTime>,
    size: u64,
    /// The name under which it is sent.
    name: String,
}

impl FilesToSend {
    pub(crate) fn new(access: SharedAccess, recordings: Recordings) -> Self {
        Self { access, cache: UserSampleCache::default(), recordings, files: HashMap::new() }
    }

    /// The name under which the groove's recording is sent: one that no file has until its fingerprint is known.
    fn recording_name(&mut self, file: &str, access: &SoundAccess) -> Option<String> {
        let (path, fingerprint) = self.recordings.identified(&access.path(file).ok()?)?;
        let metadata = fs::metadata(&path).ok().filter(|m| m.is_file() && m.len() <= MAX_RECORDING_FILE)?;
        let name = fingerprint[..HASH_DIGITS].to_owned() + &ending(&path);
        let named = NamedFile { modified: metadata.modified().ok(), size: metadata.len(), name: name.clone() };
        self.files.insert(path, named);
        Some(name)
    }

    /// The size of a file and the name under which it is sent.
    fn name(&mut self, path: &Path) -> io::Result<(u64, String)> {
        let metadata = fs::metadata(path)?;
        let (modified, size) = (metadata.modified().ok(), metadata.len());
        if !metadata.is_file() || size > MAX_SAMPLE_FILE {
            return Err(io::ErrorKind::InvalidInput.into());
        }
        if let Some(known) = self.files.get(path).filter(|f| (f.modified, f.size) == (modified, size)) {
            return Ok((size, known.name.clone()));
        }
        let name = hash(File::open(path)?.take(MAX_SAMPLE_FILE))? + &ending(path);
        self.files.insert(path.to_owned(), NamedFile { modified, size, name: name.clone() });
        Ok((size, name))
    }
}

/// The ending of a file's name, with its dot.
fn ending(path: &Path) -> String {
    path.extension().map(|e| format!(".{}", e.to_string_lossy())).unwrap_or_default()
}

impl SampleFiles for FilesToSend {
    fn with_sample_names(&mut self, groove: &Groove) -> (Groove, Vec<String>) {
        let access = self.access.get();
        let mut warnings = self.cache.load(groove, &access, SampleRate::STUDIO).1;
        let (mut renamed, mut total, mut large) = (groove.clone(), 0, Vec::new());
        for (layer, sound) in groove.layers().iter().enumerate().filter_map(|(n, l)| Some((n, l.sound.as_ref()?))) {
            let forbidden = |_| io::ErrorKind::PermissionDenied.into();
            let name = match access.path(sound).map_err(forbidden).and_then(|path| self.name(&path)) {
                Ok((size, name)) if total + size <= MAX_SAMPLE_FILES => {
                    total += size;
                    Some(name)
                }
                Err(error) if error.kind() != io::ErrorKind::InvalidInput => None,
                _ => {
                    large.push(sound.clone());
                    None
                }
            };
            renamed = renamed.edited(&Edit::SoundFile(layer, name)).unwrap_or(renamed);
        }
        if let Some(recording) = groove.recording() {
            let name = self.recording_name(&recording.file, &access).unwrap_or_else(|| NO_FILE.to_owned());
            let sent = Recording::new(&name, None).with_anchors(recording.anchors().to_vec());
            renamed = renamed.edited(&Edit::Recording(Some(sent))).unwrap_or(renamed);
        }
        if !large.is_empty() {
            let names = large.join(", ");
            warnings.push(format!("{names}: too large for the remote speaker; their voices play instead"));
        }
        (renamed, warnings)
    }

    fn read(&mut self, part: &ChunkRequest) -> (u64, Vec<u8>) {
        let read = || {
            let (path, known) = self.files.iter().find(|(_, known)| known.name == part.name)?;
            let mut file = File::open(path).ok()?;
            file.seek(SeekFrom::Start(part.at)).ok()?;
            let mut bytes = Vec::new();
            file.take(CHUNK_BYTES).read_to_end(&mut bytes).ok()?;
            Some((known.size, bytes))
        };
        read().unwrap_or_default()
    }
}

/// The files that have arrived, in a folder of the speaker's own; the oldest make room for new ones.
pub(crate) struct SampleFolder {
    pub folder: PathBuf,
    files: VecDeque<(String, u64)>,
    recordings: Recordings,
    /// The recording that arrives, and the one that is there.
    arriving: Option<ArrivingFile>,
    arrived: Option<String>,
}

struct ArrivingFile {
    name: String,
    file: File,
    /// Of what has arrived. A large file is not read again, which would delay the answers to pings.
    fingerprint: Fingerprinter,
}

impl SampleFolder {
    pub(crate) fn new(folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
            files: VecDeque::new(),
            recordings: Recordings::default(),
            arriving: None,
            arrived: None,
        }
    }

    /// The recordings that have arrived, for a player.
    pub(crate) fn recordings(&self) -> Recordings {
        self.recordings.clone()
    }
}

impl SampleStore for SampleFolder {
    fn has(&self, name: &str) -> bool {
        self.files.iter().any(|f| f.0 == name)
    }

    fn add(&mut self, name: &str, bytes: &[u8]) -> bool {
        let is_right = hash(bytes).is_ok_and(|hash| name.split('.').next() == Some(&hash));
        if !is_right {
            return false;
        }
        let size = bytes.len() as u64;
        while self.files.iter().map(|f| f.1).sum::<u64>() + size > MAX_SAMPLE_FILES {
            let Some((oldest, _)) = self.files.pop_front() else { return false };
            drop(fs::remove_file(self.folder.join(oldest)));
        }
        let is_written = fs::write(self.folder.join(name), bytes).is_ok();
        if is_written {
            self.files.push_back((name.to_owned(), size));
        }
        is_written
    }

    fn has_recording(&self, name: &str) -> bool {
        self.arrived.as_deref() == Some(name)
    }

    fn start_recording(&mut self, name: &str) -> bool {
        // One is enough; the old one is still played from what was decoded.
        for old in self.arrived.take().into_iter().chain(self.arriving.take().map(|file| file.name)) {
            drop(fs::remove_file(self.folder.join(old)));
        }
        let file = File::create(self.folder.join(name)).ok();
        let arriving = |file| ArrivingFile { name: name.to_owned(), file, fingerprint: Fingerprinter::default() };
        self.arriving = file.map(arriving);
        self.arriving.is_some()
    }

    fn add_to_recording(&mut self, bytes: &[u8]) -> bool {
        let Some(ArrivingFile { file, fingerprint, .. }) = &mut self.arriving else { return false };
        fingerprint.add(bytes);
        file.write_all(bytes).is_ok()
    }

    fn finish_recording(&mut self, reload: Reload) -> bool {
        let Some(ArrivingFile { name, file, fingerprint }) = self.arriving.take() else { return false };
        drop(file);
        let is_right = name.split('.').next() == Some(&fingerprint.finish()[..HASH_DIGITS]);
        if !is_right {
            drop(fs::remove_file(self.folder.join(name)));
            return false;
        }
        let (recordings, file) = (self.recordings.clone(), Some(self.folder.join("groove.toml")));
        let groove = Groove::in_four(120, 1).edited(&Edit::Recording(Some(Recording::new(&name, None))));
        self.arrived = Some(name);
        let Ok(groove) = groove else { return false };
        let decode = move || {
            let access = SoundAccess { file, ..SoundAccess::default() };
            recordings.open(&groove, &access, &|event| {
                if matches!(event, RecordingEvent::Decoding(0) | RecordingEvent::Loaded(..) | RecordingEvent::Onsets(_))
                {
                    reload();
                }
            });
        };
        std::thread::Builder::new().name("recording".into()).spawn(decode).is_ok()
    }
}

#[cfg(test)]
mod tests {
    use super::super::sound_access::{OutsideSounds, SoundAccess};
    use super::super::user_samples::groove_with_sounds;
    use super::*;
    use crate::sound::remote::is_sample_name;

    #[test]
    fn a_file_has_the_name_of_its_hash_on_both_sides() {
        // "abc" is a test vector of FIPS 180-4.
        assert_eq!(hash(&b"abc"[..]).expect("read"), "ba7816bf8f01cfea414140de5dae2223");
        let (here, there) = (tempfile::tempdir().expect("a folder"), tempfile::tempdir().expect("a folder"));
        let burst = fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sounds/burst.flac")).expect("a sound");
        fs::write(here.path().join("a.flac"), &burst).expect("written");
        File::create(here.path().join("large.wav")).and_then(|f| f.set_len(MAX_SAMPLE_FILE + 1)).expect("written");
        let access = SoundAccess { file: Some(here.path().join("g.toml")), ..SoundAccess::default() };
        let shared = SharedAccess::default();
        shared.set(access.clone());
        let recordings = Recordings::default();
        let mut files = FilesToSend::new(shared.clone(), recordings.clone());
        let (renamed, warnings) = files.with_sample_names(&groove_with_sounds(&["a.flac", "b.flac", "large.wav"]));
        let names: Vec<Option<&str>> = renamed.layers().iter().map(|l| l.sound.as_deref()).take(3).collect();
        let name = names[0].expect("a name").to_owned();
        assert!(is_sample_name(&name) && name.split_once('.').is_some_and(|n| n.1 == "flac"), "{name}");
        assert_eq!(names[1..], [None, None]);
        assert!(warnings.iter().any(|w| w.contains("b.flac: cannot read the file")), "{warnings:?}");
        assert!(warnings.iter().any(|w| w.starts_with("large.wav: too large for the remote speaker")), "{warnings:?}");

        // A file outside the folder is sent only once it is allowed.
        let outside = there.path().join("b.flac");
        fs::write(&outside, &burst[1..]).expect("written");
        let groove = groove_with_sounds(&[outside.to_str().expect("a path")]);
        assert_eq!(files.with_sample_names(&groove).0.layers()[0].sound, None);
        shared.set(SoundAccess { outside: OutsideSounds::Only(vec![outside.clone()]), ..access });
        assert!(files.with_sample_names(&groove).0.layers()[0].sound.is_some());
        fs::remove_file(outside).expect("removed");

        // A recording is sent once its fingerprint is known; before that only its anchors are.
        let recording = Edit::Recording(Some(Recording::new("a.flac", None)));
        let recorded = Groove::in_four(120, 1).edited(&recording).expect("a name");
        let sent = |files: &mut FilesToSend| {
            let renamed = files.with_sample_names(&recorded).0;
            renamed.recording().map(|r| r.file.clone()).expect("a recording")
        };
        assert_eq!(sent(&mut files), NO_FILE);
        recordings.open(&recorded, &shared.get(), &|_| {});
        assert_eq!(sent(&mut files), name);

        let part = |at| ChunkRequest { name: name.clone(), at };
        assert_eq!(files.read(&part(3)), (burst.len() as u64, burst[3..].to_vec()));
        assert_eq!(files.read(&ChunkRequest { name: "else".into(), at: 0 }), (0, Vec::new()));

        let mut folder = SampleFolder::new(there.path());
        assert!(!folder.add(&name, &burst[1..]) && !folder.has(&name), "not what its name says");
        assert!(folder.add(&name, &burst) && folder.has(&name));
        assert_eq!(fs::read(there.path().join(&name)).expect("kept"), burst);

        // A recording arrives in parts, is decoded, and is reported when it can be heard.
        let there = tempfile::tempdir().expect("a folder");
        let mut folder = SampleFolder::new(there.path());
        let (sender, reloaded) = std::sync::mpsc::channel();
        let reload = || {
            let sender = sender.clone();
            Box::new(move || sender.send(()).expect("the test waits"))
        };
        assert!(folder.start_recording(&name) && folder.add_to_recording(&burst[..9]));
        assert!(!folder.finish_recording(reload()) && !folder.has_recording(&name), "not what its name says");
        assert!(folder.start_recording(&name));
        assert!(burst.chunks(100).all(|part| folder.add_to_recording(part)));
        assert!(folder.finish_recording(reload()) && folder.has_recording(&name));
        for _ in 0..3 {
            reloaded.recv_timeout(std::time::Duration::from_secs(60)).expect("decoding, decoded, and its onsets");
        }
        let edit = Edit::Recording(Some(Recording::new(&name, None)));
        let recorded = Groove::in_four(120, 1).edited(&edit).expect("a name");
        let access = SoundAccess { file: Some(there.path().join("groove.toml")), ..SoundAccess::default() };
        assert!(folder.recordings().source(&recorded, &access).is_some());
    }
}
