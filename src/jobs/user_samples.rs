//! Decodes the sound files that layers name and that may be read, and caches them while they do not change.

use super::request::Job;
use super::sound_access::{SoundAccess, audible_sounds};
use crate::recording::{self, DecodeError};
use crate::rhythm::Groove;
use crate::sound::{SampleRate, UserSample, UserSamples};
use crate::store::reason;
use std::collections::HashMap;
use std::fs::{self, File, Metadata};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// A file is decoded again only if its modification time, its size or the sample rate has changed.
#[derive(Debug, Default)]
pub(crate) struct UserSampleCache(HashMap<PathBuf, CachedSample>);

#[derive(Debug)]
struct CachedSample {
    /// Modification time and size; `None` for what is not a regular file.
    version: Option<(Option<SystemTime>, u64)>,
    rate: SampleRate,
    sample: Option<UserSample>,
}

/// The samples of a job, and a note about every file that is not used or was altered.
pub(super) fn load(job: &Job) -> (UserSamples, Vec<String>) {
    let access = job.sound_access();
    let (samples, mut notes) = UserSampleCache::default().load(&job.groove, &access, job.rate);
    let refused = access.refused(audible_sounds(&job.groove)).into_iter();
    notes.extend(refused.map(|path| {
        format!(
            "{}: not read, because it is outside the folder of the groove; the layer plays its voice instead",
            path.display()
        )
    }));
    (samples, notes)
}

impl UserSampleCache {
    /// The samples of the audible layers of a groove, and warnings: one per file that cannot be read (its layer then plays its
    /// voice) or was altered by decoding, once until the file changes. Files that may not be read are left out without a warning.
    pub(crate) fn load(
        &mut self,
        groove: &Groove,
        access: &SoundAccess,
        rate: SampleRate,
    ) -> (UserSamples, Vec<String>) {
        let mut samples = UserSamples::default();
        let (mut warnings, mut used) = (Vec::new(), Vec::new());
        for name in audible_sounds(groove) {
            let Ok(path) = access.path(name) else { continue };
            if !used.contains(&path) {
                warnings.extend(self.refresh(&path, rate).map(|w| format!("{}: {w}", path.display())));
            }
            if let Some(sample) = self.0.get(&path).and_then(|k| k.sample.clone()) {
                samples.insert(name, sample);
            }
            used.push(path);
        }
        // A sample may take megabytes: one that no audible layer names is dropped.
        self.0.retain(|path, _| used.contains(path));
        (samples, warnings)
    }

    /// Reads a file that is new or has changed; returns a new warning about it.
    fn refresh(&mut self, path: &Path, rate: SampleRate) -> Option<String> {
        let metadata = fs::metadata(path);
        let version = metadata.as_ref().ok().filter(|m| m.is_file()).map(|m| (m.modified().ok(), m.len()));
        let known = self.0.get(path);
        if known.is_some_and(|k| k.version == version && (k.rate == rate || k.sample.is_none())) {
            return None;
        }
        // Another rate does not repeat the warning.
        let reported = known.is_some_and(|k| k.version == version);
        let decoded = metadata.map_err(|e| unreadable(&e)).and_then(|metadata| decode(path, &metadata, rate));
        let (sample, warning) = match decoded {
            Ok(decoded) if decoded.warnings.is_empty() => (Some(decoded.samples), None),
            Ok(decoded) => (Some(decoded.samples), Some(decoded.warnings.join("; "))),
            Err(error) => (None, Some(format!("{error}; the layer plays its voice instead"))),
        };
        let sample = sample.map(|samples| UserSample::new(samples, rate));
        self.0.insert(path.to_owned(), CachedSample { version, rate, sample });
        warning.filter(|_| !reported)
    }
}

fn unreadable(error: &std::io::Error) -> DecodeError {
    DecodeError::unreadable(&reason(error))
}

fn decode(path: &Path, metadata: &Metadata, rate: SampleRate) -> Result<recording::DecodedSound, DecodeError> {
    // A pipe or a device could block for ever.
    if !metadata.is_file() {
        let found = if metadata.is_dir() { "a folder" } else { "a device or a pipe" };
        return Err(DecodeError::new("a regular file", found));
    }
    let file = File::open(path).map_err(|e| unreadable(&e))?;
    recording::decode(file, path.extension().and_then(|e| e.to_str()), rate)
}

/// A groove with a layer for each of these sound files, for tests.
#[cfg(test)]
pub(super) fn groove_with_sounds(sounds: &[&str]) -> Groove {
    use crate::rhythm::{Edit, Fraction, Meter, Tempo, Time};
    let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("quarter")).expect("tempo");
    let mut groove = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 1).expect("groove");
    for (k, name) in sounds.iter().enumerate() {
        let add = Edit::AddLayer(k, format!("l{k}"), crate::rhythm::Voice::Kick, 4);
        let own = Edit::SoundFile(k, Some((*name).to_owned()));
        groove = groove.edited(&add).and_then(|g| g.edited(&own)).expect("edits");
    }
    groove
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_read_once_next_to_the_groove_and_a_missing_one_is_reported_once() {
        let folder = tempfile::tempdir().expect("a folder");
        let burst = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sounds/burst.flac");
        fs::copy(burst, folder.path().join("a.flac")).expect("copied");
        fs::write(folder.path().join("bad.wav"), "no sound").expect("written");
        let file = SoundAccess { file: Some(folder.path().join("g.toml")), ..SoundAccess::default() };
        let g = groove_with_sounds(&["a.flac", "b.flac", "a.flac", "bad.wav", "."]);
        let mut sounds = UserSampleCache::default();
        let (own, words) = sounds.load(&g, &file, SampleRate::STUDIO);
        assert!(own.get("a.flac", SampleRate::STUDIO).is_some() && own.get("b.flac", SampleRate::STUDIO).is_none());
        assert_eq!(words.len(), 3, "{words:?}");
        assert!(
            words[0].ends_with(
                "b.flac: cannot read the file: no such file or directory; the layer plays its voice instead"
            )
        );
        assert!(words[1].contains("bad.wav: expected "), "{words:?}");
        assert!(words[2].contains("expected a regular file, found a folder"), "{words:?}");
        let before = own.get("a.flac", SampleRate::STUDIO).expect("there").samples.as_ptr();
        let (own, words) = sounds.load(&g, &file, SampleRate::STUDIO);
        assert_eq!(words, [""; 0], "reported once");
        assert_eq!(own.get("a.flac", SampleRate::STUDIO).expect("there").samples.as_ptr(), before, "read once");
        // At another rate files are read again, and a new file is found.
        let other = SampleRate::new(44_100).expect("a rate");
        fs::copy(folder.path().join("a.flac"), folder.path().join("b.flac")).expect("copied");
        let (own, words) = sounds.load(&g, &file, other);
        assert!(own.get("a.flac", other).is_some() && own.get("b.flac", other).is_some());
        assert_eq!(words, [""; 0]);
        // A file that was removed is reported again, once.
        fs::remove_file(folder.path().join("b.flac")).expect("removed");
        assert_eq!(sounds.load(&g, &file, other).1.len(), 1);
        assert_eq!(sounds.load(&groove_with_sounds(&[]), &file, other).1, [""; 0]);
        assert!(sounds.0.is_empty(), "unused samples are dropped");
    }
}
