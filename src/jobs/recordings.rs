//! The recording under a groove: decoded in the background into a file without a name in the user's cache folder, which the
//! system removes when the editor ends.

use super::control::{CancelToken, JobControl};
use super::request::{Job, JobError};
use super::sound_access::SoundAccess;
use crate::recording::detect::detect_in;
use crate::recording::onsets::Onset;
use crate::recording::{Envelope, Layout, SpoolError, SpoolFile, spool};
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
        let result =
            open_regular(&path).and_then(|(file, metadata)| self.decode(&name, &path, (file, &metadata), report));
        if let Err(why) = result {
            self.close();
            report(RecordingEvent::Failed(format!("{}: {why}", path.display())));
        }
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
        (file, metadata): (File, &Metadata),
        report: &dyn Fn(RecordingEvent),
    ) -> Result<(), String> {
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
            let old = slot.replace(OpenRecording { path, version, spool, token, loaded: None, onsets: None });
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
        let decoded = spool(file, extension(path), &mut sink, &mut progress);
        if token.is_cancelled() {
            return Ok(());
        }
        let decoded = decoded.map_err(|error| words(&error))?;
        sink.complete();
        let (Layout { rate, channels }, frames, envelope) = (decoded.layout, decoded.frames, decoded.envelope);
        let loaded = Arc::new(LoadedRecording { file: name.to_owned(), rate, channels, frames, envelope });
        if let Some(open) = self.lock().as_mut().filter(|open| Arc::ptr_eq(&open.spool, &sink)) {
            open.loaded = Some(Arc::clone(&loaded));
        }
        let warnings = decoded.warnings.iter().map(|w| format!("{}: {w}", path.display())).collect();
        report(RecordingEvent::Loaded(loaded, warnings));
        if let Some(onsets) = detect_in(&sink, &|| !token.is_cancelled())
            && let Some(open) = self.lock().as_mut().filter(|open| Arc::ptr_eq(&open.spool, &sink))
        {
            // Under the lock, so that another recording cannot be loaded in between.
            report(RecordingEvent::Onsets(Arc::clone(open.onsets.insert(onsets.into()))));
        }
        Ok(())
    }
}

/// The recording of a job, decoded, with warnings about it.
///
/// # Errors
/// [`JobError::Request`] without a recording that may be read, [`JobError::Input`] if it cannot be.
pub(super) fn decode_for(job: &Job, control: &JobControl) -> Result<(Arc<dyn FrameSource>, Vec<String>), JobError> {
    let recording = job.groove.recording().ok_or_else(|| JobError::Request("the groove has no recording".into()))?;
    let path = job.sound_access().path(&recording.file).map_err(|outside| {
        let found = format!("{}; --allow-outside-sounds reads it", outside.display());
        JobError::Request(expected("a recording in the folder of the groove", found))
    })?;
    let failed = |why: String| JobError::Input(format!("{}: {why}", path.display()));
    let (file, _) = open_regular(&path).map_err(failed)?;
    let mut sink = new_spool().map_err(failed)?;
    let mut progress = |share: f64| match control.report(share) {
        Ok(()) => ControlFlow::Continue(()),
        Err(_) => ControlFlow::Break(()),
    };
    let decoded = spool(file, extension(&path), &mut sink, &mut progress).map_err(|error| match error {
        SpoolError::Cancelled => JobError::Cancelled,
        error => failed(words(&error)),
    })?;
    sink.complete();
    let warnings = decoded.warnings.iter().map(|w| format!("{}: {w}", path.display())).collect();
    Ok((Arc::new(sink), warnings))
}

fn extension(path: &Path) -> Option<&str> {
    path.extension().and_then(|e| e.to_str())
}

fn new_spool() -> Result<Arc<SpoolFile>, String> {
    let file = cache_file().map_err(|e| format!("cannot write to the cache folder: {}", reason(&e)))?;
    Ok(Arc::new(SpoolFile::new(file)))
}

/// Why a recording cannot be decoded.
fn words(error: &SpoolError) -> String {
    match error {
        SpoolError::Write(e) => format!("cannot write to the cache folder: {}", reason(e)),
        SpoolError::Read(e) => format!("cannot read the file: {}", reason(e)),
        error => error.to_string(),
    }
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
mod tests {
    use super::super::sound_access::OutsideSounds;
    use super::*;
    use crate::rhythm::{Edit, Recording};
    use std::cell::RefCell;

    fn groove(file: &str) -> Groove {
        let edit = Edit::Recording(Some(Recording::new(file, None)));
        Groove::in_four(120, 1).edited(&edit).expect("a recording")
    }

    /// The events of opening the recording, in words.
    fn opened(recordings: &Recordings, groove: &Groove, access: &SoundAccess) -> Vec<String> {
        let words = RefCell::new(Vec::new());
        recordings.open(groove, access, &|event| {
            words.borrow_mut().push(match event {
                RecordingEvent::Decoding(percent) => format!("{percent}"),
                RecordingEvent::Loaded(l, warnings) => format!("{} {} {} {warnings:?}", l.file, l.rate, l.frames),
                RecordingEvent::Onsets(onsets) => format!("{} onsets", onsets.len()),
                RecordingEvent::Failed(why) => why,
                RecordingEvent::Closed => "closed".to_owned(),
            });
        });
        words.into_inner()
    }

    #[test]
    fn a_recording_is_decoded_once_and_what_cannot_be_read_is_reported() {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        let burst = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sounds/burst.flac");
        fs::copy(burst, at("winch.flac")).expect("copied");
        fs::write(at("bad.wav"), "no sound").expect("written");
        fs::write(at("empty.wav"), "").expect("written");
        fs::create_dir(at("hold")).expect("a folder");
        let access = SoundAccess { file: Some(at("g.toml")), ..SoundAccess::default() };
        let recordings = Recordings::default();
        let winch = groove("winch.flac");
        let words = opened(&recordings, &winch, &access);
        let [.., loaded, onsets] = &words[..] else { panic!("{words:?}") };
        assert!(words[0] == "0" && loaded.starts_with("winch.flac ") && onsets.ends_with(" onsets"), "{words:?}");
        let id = recordings.source(&winch, &access).expect("a source").id();
        assert_eq!(opened(&recordings, &winch, &access), words[words.len() - 2..], "decoded once");
        assert_eq!(recordings.source(&winch, &access).expect("a source").id(), id);
        assert!(recordings.source(&groove("bad.wav"), &access).is_none());
        let failed = |name: &str, words: &str| {
            let found = opened(&recordings, &groove(name), &access);
            let found = found.last().expect("an event");
            assert!(found.starts_with(&format!("{}: {words}", at(name).display())), "{found}");
            assert!(recordings.source(&winch, &access).is_none(), "another one was wanted");
        };
        failed("none.wav", "cannot read the file: no such file or directory");
        failed("hold", "expected a regular file, found a folder");
        failed("bad.wav", "expected a recording in WAV, ");
        failed("empty.wav", "expected a recording in WAV, ");
        assert_eq!(opened(&recordings, &Groove::in_four(120, 1), &access), ["closed"]);
    }

    #[test]
    fn a_recording_outside_the_folder_is_read_only_if_it_is_allowed() {
        let burst = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sounds/burst.flac");
        let (groove, recordings) = (groove(burst.to_str().expect("text")), Recordings::default());
        let mut access = SoundAccess::default();
        assert_eq!(opened(&recordings, &groove, &access), ["closed"]);
        access.outside = OutsideSounds::Only(vec![burst]);
        assert!(opened(&recordings, &groove, &access).len() > 1);
        assert!(recordings.source(&groove, &access).is_some());
    }
}
