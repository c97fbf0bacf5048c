//! Sound files on their way to a remote speaker: named by their hash on the editor's host, and kept in a folder by the speaker.

use super::sound_access::SharedAccess;
use super::user_samples::UserSampleCache;
use crate::rhythm::{Edit, Groove};
use crate::sound::SampleRate;
use crate::sound::playback::ChunkRequest;
use crate::sound::remote::{HASH_DIGITS, MAX_SAMPLE_FILE, MAX_SAMPLE_FILES, SampleFiles, SampleStore};
use sha2::{Digest, Sha256};
use std::collections::{HashMap, VecDeque};
use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Bytes sent at a time.
const CHUNK_BYTES: u64 = 64 << 10;

/// SHA-256 (FIPS 180-4), its first 128 bits.
fn hash(mut bytes: impl Read) -> io::Result<String> {
    let (mut hasher, mut block) = (Sha256::new(), [0; 8192]);
    loop {
        match bytes.read(&mut block)? {
            0 => break,
            n => hasher.update(&block[..n]),
        }
    }
    let digits: Vec<String> = hasher.finalize().iter().map(|b| format!("{b:02x}")).collect();
    Ok(digits.concat()[..HASH_DIGITS].to_owned())
}

/// The files of the groove's layers, on the editor's host.
pub(crate) struct FilesToSend {
    access: SharedAccess,
    /// Finds what is wrong with a file as a player here would.
    cache: UserSampleCache,
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
    pub(crate) fn new(access: SharedAccess) -> Self {
        Self { access, cache: UserSampleCache::default(), files: HashMap::new() }
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
        let extension = path.extension().map(|e| format!(".{}", e.to_string_lossy())).unwrap_or_default();
        let name = hash(File::open(path)?.take(MAX_SAMPLE_FILE))? + &extension;
        self.files.insert(path.to_owned(), NamedFile { modified, size, name: name.clone() });
        Ok((size, name))
    }
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
}

impl SampleFolder {
    pub(crate) fn new(folder: &Path) -> Self {
        Self { folder: folder.to_owned(), files: VecDeque::new() }
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
        let mut files = FilesToSend::new(shared.clone());
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

        let part = |at| ChunkRequest { name: name.clone(), at };
        assert_eq!(files.read(&part(3)), (burst.len() as u64, burst[3..].to_vec()));
        assert_eq!(files.read(&ChunkRequest { name: "else".into(), at: 0 }), (0, Vec::new()));

        let mut folder = SampleFolder::new(there.path());
        assert!(!folder.add(&name, &burst[1..]) && !folder.has(&name), "not what its name says");
        assert!(folder.add(&name, &burst) && folder.has(&name));
        assert_eq!(fs::read(there.path().join(&name)).expect("kept"), burst);
    }
}
