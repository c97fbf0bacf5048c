//! The recording under a groove: decoded in the background into a file without a name in the user's cache folder, which the
//! system removes when the editor ends.

use super::control::{CancelToken, JobControl};
use super::fingerprint::{find, fingerprint};
use super::request::{Job, JobError};
use super::sound_access::SoundAccess;
use crate::recording::detect::{detect_in, detect_with_timbres_in};
use crate::recording::onsets::Onset;
use crate::recording::{Envelope, Layout, Level, SpoolError, SpoolFile, Spooled, spool};
use crate::rhythm::{Groove, expected};
use crate::sound::FrameSource;
use crate::store::{cache_file, reason};
use std::fs::{self, File, Metadata};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::SystemTime;

/// Endings of the names of recordings.
const EXTENSIONS: &[&str] = &[
    "wav", "wave", "aif", "aiff", "aifc", "caf", "flac", "ogg", "oga", "mp3", "m4a", "mp4", "m4v", "mov", "mka", "mkv",
    "webm",
];

/// Whether a file exists and is named as a recording.
pub(crate) fn is_recording(path: &Path) -> bool {
    let extension = path.extension().and_then(|e| e.to_str());
    extension.is_some_and(|e| EXTENSIONS.iter().any(|known| e.eq_ignore_ascii_case(known))) && path.is_file()
}

/// A recording that is decoded.
#[derive(Debug)]
pub struct LoadedRecording {
    /// Its name in the groove.
    pub file: String,
    /// Frames per second.
    pub rate: u32,
    /// 1 or 2.
    pub channels: usize,
    pub frames: u64,
    /// Its level over time.
    pub envelope: Envelope,
}

#[cfg(test)]
impl LoadedRecording {
    /// A recording of these samples in one channel.
    pub(crate) fn of_samples(file: &str, rate: u32, samples: &[f32]) -> Self {
        let mut envelope = Envelope::new(Layout { rate, channels: 1 });
        envelope.add(samples);
        envelope.finish();
        Self { file: file.to_owned(), rate, channels: 1, frames: samples.len() as u64, envelope }
    }
}

/// What happens to the recording of a groove.
#[derive(Debug, Clone)]
pub enum RecordingEvent {
    /// So many percent are decoded. What is decoded can be heard.
    Decoding(u8),
    /// All of it is decoded; damage, one sentence each.
    Loaded(Arc<LoadedRecording>, Vec<String>),
    /// The onsets of the recording that was loaded last.
    Onsets(Arc<[Onset]>),
    /// Its fingerprint, once it is known.
    Identified(String),
    /// It cannot be heard: why.
    Failed(String),
    /// The groove has none, or it may not be read.
    Closed,
}

/// The open recording, shared by threads.
#[derive(Debug, Clone, Default)]
pub(crate) struct Recordings(Arc<Mutex<Option<OpenRecording>>>);

#[derive(Debug)]
struct OpenRecording {
    path: PathBuf,
    version: FileVersion,
    spool: Arc<SpoolFile>,
    /// Stops the decoding.
    token: CancelToken,
    loaded: Option<Arc<LoadedRecording>>,
    /// Its onsets, once they are found.
    onsets: Option<Arc<[Onset]>>,
    /// The file, which may have another name than the groove says.
    file: PathBuf,
    fingerprint: Option<String>,
}

/// Modification time and size.
type FileVersion = (Option<SystemTime>, u64);

impl Recordings {
    fn lock(&self) -> MutexGuard<'_, Option<OpenRecording>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The recording of a groove, as far as it is decoded.
    pub(crate) fn source(&self, groove: &Groove, access: &SoundAccess) -> Option<Arc<dyn FrameSource>> {
        let path = access.path(&groove.recording()?.file).ok()?;
        let open = self.lock();
        let spool = &open.as_ref().filter(|open| open.path == path)?.spool;
        Some(Arc::new(Arc::clone(spool)))
    }

    /// Opens the recording of a groove instead of any other and decodes it, which may take long, unless that was done before.
    pub(crate) fn open(&self, groove: &Groove, access: &SoundAccess, report: &dyn Fn(RecordingEvent)) {
        let named = groove.recording().and_then(|r| Some((r.file.clone(), access.path(&r.file).ok()?)));
        let Some((name, path)) = named else {
            self.close();
            return report(RecordingEvent::Closed);
        };
        let known = groove.recording().and_then(|r| r.fingerprint.as_deref());
        let result = locate(&path, known).and_then(|located| self.decode(&name, &path, &located, report));
        match result {
            Ok(()) => self.identify(&path, report),
            Err(why) => {
                self.close();
                report(RecordingEvent::Failed(format!("{}: {why}", path.display())));
            }
        }
    }

    /// Finds out and reports the fingerprint of the recording.
    fn identify(&self, path: &Path, report: &dyn Fn(RecordingEvent)) {
        let Some((file, token, known)) = self
            .lock()
            .as_ref()
            .filter(|open| open.path == path && open.loaded.is_some())
            .map(|open| (open.file.clone(), open.token.clone(), open.fingerprint.clone()))
        else {
            return;
        };
        let read = || File::open(&file).and_then(|file| fingerprint(file, &|| !token.is_cancelled())).ok().flatten();
        let Some(found) = known.or_else(read).filter(|_| !token.is_cancelled()) else { return };
        if let Some(open) = self.lock().as_mut().filter(|open| open.path == path && open.file == file) {
            open.fingerprint = Some(found.clone());
            report(RecordingEvent::Identified(found));
        }
    }

    /// The open recording at a path: its file, and its fingerprint if that is known already.
    pub(super) fn identified(&self, path: &Path) -> Option<(PathBuf, String)> {
        let open = self.lock();
        let open = open.as_ref().filter(|open| open.path == path)?;
        Some((open.file.clone(), open.fingerprint.clone()?))
    }

    fn close(&self) {
        if let Some(open) = self.lock().take() {
            open.token.cancel();
        }
    }

    fn decode(
        &self,
        name: &str,
        path: &Path,
        located: &Located,
        report: &dyn Fn(RecordingEvent),
    ) -> Result<(), String> {
        let Located { metadata, .. } = located;
        let version = (metadata.modified().ok(), metadata.len());
        let token = CancelToken::default();
        let mut sink = {
            let mut slot = self.lock();
            if let Some(open) = slot.as_ref().filter(|open| open.path == path && open.version == version) {
                if let Some(loaded) = &open.loaded {
                    report(RecordingEvent::Loaded(Arc::clone(loaded), Vec::new()));
                }
                if let Some(onsets) = &open.onsets {
                    report(RecordingEvent::Onsets(Arc::clone(onsets)));
                }
                return Ok(());
            }
            let spool = new_spool()?;
            let (path, sink, token) = (path.to_owned(), Arc::clone(&spool), token.clone());
            let (file, fingerprint) = (located.path.clone(), None);
            let onsets = None;
            let open = OpenRecording { path, version, spool, token, loaded: None, onsets, file, fingerprint };
            let old = slot.replace(open);
            if let Some(old) = old {
                old.token.cancel();
            }
            sink
        };
        report(RecordingEvent::Decoding(0));
        let mut last = 0;
        let mut progress = |share: f64| {
            if token.is_cancelled() {
                return ControlFlow::Break(());
            }
            let percent = (100.0 * share) as u8;
            if percent != last {
                last = percent;
                report(RecordingEvent::Decoding(percent));
            }
            ControlFlow::Continue(())
        };
        let file = located.file.try_clone().map_err(|e| format!("cannot read the file: {}", reason(&e)))?;
        let decoded = spool(file, extension(&located.path), &mut sink, &mut progress);
        if token.is_cancelled() {
            return Ok(());
        }
        let decoded = decoded.map_err(|error| words(&error))?;
        sink.complete();
        let damage = damage(path, &decoded);
        let (Layout { rate, channels }, frames, envelope) = (decoded.layout, decoded.frames, decoded.envelope);
        let loaded = Arc::new(LoadedRecording { file: name.to_owned(), rate, channels, frames, envelope });
        if let Some(open) = self.lock().as_mut().filter(|open| Arc::ptr_eq(&open.spool, &sink)) {
            open.loaded = Some(Arc::clone(&loaded));
        }
        report(RecordingEvent::Loaded(loaded, located.warning.iter().cloned().chain(damage).collect()));
        if let Some(onsets) = detect_with_timbres_in(&sink, &|| !token.is_cancelled())
            && let Some(open) = self.lock().as_mut().filter(|open| Arc::ptr_eq(&open.spool, &sink))
        {
            sink.set_onsets(&onsets);
            // Under the lock, so that another recording cannot be loaded in between.
            report(RecordingEvent::Onsets(Arc::clone(open.onsets.insert(onsets.into()))));
        }
        Ok(())
    }
}

/// The recording of a job, decoded, with warnings about it. At another speed than its own it needs its onsets.
///
/// # Errors
/// [`JobError::Request`] without a recording that may be read, [`JobError::Input`] if it cannot be.
pub(super) fn decode_for(
    job: &Job,
    needs_onsets: bool,
    control: &JobControl,
) -> Result<(Arc<dyn FrameSource>, Vec<String>), JobError> {
    let recording = job.groove.recording().ok_or_else(|| JobError::Request("the groove has no recording".into()))?;
    let path = job.sound_access().path(&recording.file).map_err(|outside| {
        let found = format!("{}; --allow-outside-sounds reads it", outside.display());
        JobError::Request(expected("a recording in the folder of the groove", found))
    })?;
    let failed = |why: String| JobError::Input(format!("{}: {why}", path.display()));
    let Located { file, path: found, warning, .. } = locate(&path, recording.fingerprint.as_deref()).map_err(failed)?;
    let mut sink = new_spool().map_err(failed)?;
    let mut progress = |share: f64| match control.report(share) {
        Ok(()) => ControlFlow::Continue(()),
        Err(_) => ControlFlow::Break(()),
    };
    let decoded = spool(file, extension(&found), &mut sink, &mut progress).map_err(|error| match error {
        SpoolError::Cancelled => JobError::Cancelled,
        error => failed(words(&error)),
    })?;
    sink.complete();
    if needs_onsets {
        sink.set_onsets(&detect_in(&sink, &|| !control.is_cancelled()).ok_or(JobError::Cancelled)?);
    }
    Ok((Arc::new(sink), warning.into_iter().chain(damage(&path, &decoded)).collect()))
}

fn extension(path: &Path) -> Option<&str> {
    path.extension().and_then(|e| e.to_str())
}

fn new_spool() -> Result<Arc<SpoolFile>, String> {
    let file = cache_file().map_err(|e| format!("cannot write to the cache folder: {}", reason(&e)))?;
    Ok(Arc::new(SpoolFile::new(file)))
}

/// What is wrong with a recording that was decoded, a sentence each.
fn damage(path: &Path, decoded: &Spooled) -> Vec<String> {
    let Level { max, min, .. } = decoded.envelope.level(0..decoded.frames);
    let silence = (max == 0.0 && min == 0.0).then_some("it is silent");
    let all = decoded.warnings.iter().map(String::as_str).chain(silence);
    all.map(|sentence| format!("{}: {sentence}", path.display())).collect()
}

/// Why a recording cannot be decoded.
fn words(error: &SpoolError) -> String {
    match error {
        SpoolError::Write(e) => format!("cannot write to the cache folder: {}", reason(e)),
        SpoolError::Read(e) => format!("cannot read the file: {}", reason(e)),
        error => error.to_string(),
    }
}

/// A recording that was found, where it may be under another name.
struct Located {
    path: PathBuf,
    file: File,
    metadata: Metadata,
    /// What the user should know about it.
    warning: Option<String>,
}

/// Opens a recording. If there is no file of this name, one in the same folder with this fingerprint stands in for it.
fn locate(path: &Path, fingerprint: Option<&str>) -> Result<Located, String> {
    let missing = match open_regular(path) {
        Ok((file, metadata)) => return Ok(Located { path: path.to_owned(), file, metadata, warning: None }),
        Err(why) => why,
    };
    let search = fingerprint.filter(|_| !path.exists()).zip(path.parent());
    let Some(found) = search.and_then(|(fingerprint, folder)| find(folder, fingerprint)) else { return Err(missing) };
    let (file, metadata) = open_regular(&found)?;
    let name = found.file_name().unwrap_or_default().to_string_lossy();
    let warning = Some(format!("{}: not found; {name} has the same content and is used instead", path.display()));
    Ok(Located { path: found, file, metadata, warning })
}

/// Opens a file that is neither a folder nor a device nor a pipe, which could block for ever.
fn open_regular(path: &Path) -> Result<(File, Metadata), String> {
    let unreadable = |e: std::io::Error| format!("cannot read the file: {}", reason(&e));
    let metadata = fs::metadata(path).map_err(unreadable)?;
    if !metadata.is_file() {
        let found = if metadata.is_dir() { "a folder" } else { "a device or a pipe" };
        return Err(expected("a regular file", found));
    }
    Ok((File::open(path).map_err(unreadable)?, metadata))
}

#[cfg(test)]
mod tests;
