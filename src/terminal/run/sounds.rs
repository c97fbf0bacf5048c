//! The files of the user's own sounds, read where a groove names them and kept while they do not change. It must not know the
//! screen.

use crate::recording::{self, DecodeError};
use crate::rhythm::Groove;
use crate::sound::{SampleRate, UserSample, UserSamples};
use std::collections::HashMap;
use std::fs::{self, File, Metadata};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Sounds read so far. An edit decodes nothing again: a file is read anew only when its time or its size has changed, or
/// another rate is wanted.
#[derive(Debug, Default)]
pub struct Sounds(HashMap<PathBuf, Known>);

/// What was read of a file.
#[derive(Debug)]
struct Known {
    stamp: Option<(Option<SystemTime>, Option<u64>)>,
    rate: SampleRate,
    sound: Option<UserSample>,
}

impl Sounds {
    /// The sounds that the heard layers of a groove name, at a rate, and what there is to say of them, one sentence per file: why
    /// it cannot be had (its layer then sounds its voice), or what is not as the file has it. What was said once is not said
    /// again until the file changes. Names are relative to the folder of `file`, the groove's own, or to the folder of now.
    pub fn of(&mut self, groove: &Groove, file: Option<&Path>, rate: SampleRate) -> (UserSamples, Vec<String>) {
        let folder = file.and_then(Path::parent).unwrap_or(Path::new(""));
        let mut own = UserSamples::none();
        let (mut words, mut used) = (Vec::new(), Vec::new());
        for layer in groove.layers().iter().enumerate().filter(|(l, _)| groove.heard(*l)).map(|(_, l)| l) {
            let Some(name) = &layer.sound else { continue };
            let path = folder.join(name);
            if !used.contains(&path) {
                words.extend(self.look(&path, rate).map(|w| format!("{}: {w}", path.display())));
            }
            if let Some(sound) = self.0.get(&path).and_then(|k| k.sound.clone()) {
                own.insert(name, sound);
            }
            used.push(path);
        }
        // What no heard layer names any more is not kept: a sound may take megabytes.
        self.0.retain(|path, _| used.contains(path));
        (own, words)
    }

    /// Reads a file if it is not known as it is now; gives what is to be said of it.
    fn look(&mut self, path: &Path, rate: SampleRate) -> Option<String> {
        let about = fs::metadata(path);
        let stamp =
            about.as_ref().ok().map(|m| (m.modified().ok().filter(|_| m.is_file()), m.is_file().then_some(m.len())));
        let known = self.0.get(path);
        if known.is_some_and(|k| k.stamp == stamp && (k.rate == rate || k.sound.is_none())) {
            return None;
        }
        // At another rate the same is not said twice.
        let said = known.is_some_and(|k| k.stamp == stamp);
        let read = about.map_err(|e| unreadable(&e)).and_then(|about| read(path, &about, rate));
        let (sound, words) = match read {
            Ok(decoded) if decoded.remarks.is_empty() => (Some(decoded.samples), None),
            Ok(decoded) => (Some(decoded.samples), Some(decoded.remarks.join("; "))),
            Err(error) => (None, Some(format!("{error}; its layer sounds its voice"))),
        };
        let sound = sound.map(|samples| UserSample::new(samples, rate));
        self.0.insert(path.to_owned(), Known { stamp, rate, sound });
        words.filter(|_| !said)
    }
}

fn unreadable(error: &std::io::Error) -> DecodeError {
    let found = match error.kind() {
        std::io::ErrorKind::NotFound => "no such file".to_owned(),
        _ => format!("a file that cannot be read ({error})"),
    };
    DecodeError { found, allowed: "an existing sound file".into() }
}

fn read(path: &Path, about: &Metadata, rate: SampleRate) -> Result<recording::Decoded, DecodeError> {
    // A pipe or a device could make the program wait for ever.
    if !about.is_file() {
        let found = if about.is_dir() { "a directory" } else { "a pipe, a device or the like" };
        return Err(DecodeError { found: found.into(), allowed: "a plain file".into() });
    }
    let file = File::open(path).map_err(|e| unreadable(&e))?;
    recording::decode(file, path.extension().and_then(|e| e.to_str()), rate)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Edit, Fraction, Meter, Tempo, Time};

    fn groove(sounds: &[&str]) -> Groove {
        let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("quarter")).expect("tempo");
        let mut groove = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 1).expect("groove");
        for (k, name) in sounds.iter().enumerate() {
            let add = Edit::AddLayer(k, format!("l{k}"), crate::rhythm::Voice::Kick, 4);
            let own = Edit::OwnSound(k, Some((*name).to_owned()));
            groove = groove.edited(&add).and_then(|g| g.edited(&own)).expect("edits");
        }
        groove
    }

    #[test]
    fn files_are_read_beside_the_groove_once_and_a_missing_one_is_told_once() {
        let folder = tempfile::tempdir().expect("a folder");
        let burst = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sounds/burst.flac");
        fs::copy(burst, folder.path().join("a.flac")).expect("copied");
        fs::write(folder.path().join("bad.wav"), "no sound").expect("written");
        let file = folder.path().join("g.toml");
        let g = groove(&["a.flac", "b.flac", "a.flac", "bad.wav", "."]);
        let mut sounds = Sounds::default();
        let (own, words) = sounds.of(&g, Some(&file), SampleRate::STUDIO);
        assert!(own.get("a.flac", SampleRate::STUDIO).is_some() && own.get("b.flac", SampleRate::STUDIO).is_none());
        assert_eq!(words.len(), 3, "{words:?}");
        assert!(
            words[0]
                .ends_with("b.flac: found no such file, allowed is an existing sound file; its layer sounds its voice")
        );
        assert!(words[1].contains("bad.wav: found a"), "{words:?}");
        assert!(words[2].contains("found a directory, allowed is a plain file"), "{words:?}");
        let before = own.get("a.flac", SampleRate::STUDIO).expect("there").samples().as_ptr();
        let (own, words) = sounds.of(&g, Some(&file), SampleRate::STUDIO);
        assert_eq!(words, [""; 0], "told once");
        assert_eq!(own.get("a.flac", SampleRate::STUDIO).expect("there").samples().as_ptr(), before, "read once");
        // Another rate is read anew, and a file that has come is found.
        let other = SampleRate::new(44_100).expect("a rate");
        fs::copy(folder.path().join("a.flac"), folder.path().join("b.flac")).expect("copied");
        let (own, words) = sounds.of(&g, Some(&file), other);
        assert!(own.get("a.flac", other).is_some() && own.get("b.flac", other).is_some());
        assert_eq!(words, [""; 0]);
        // A file that is gone is told again, once.
        fs::remove_file(folder.path().join("b.flac")).expect("removed");
        assert_eq!(sounds.of(&g, Some(&file), other).1.len(), 1);
        assert_eq!(sounds.of(&groove(&[]), Some(&file), other).1, [""; 0]);
        assert!(sounds.0.is_empty(), "nothing is kept that nobody names");
    }
}
