//! The user's state folder: small files that outlive a session, and the journals. The files here hold the tap calibration, the
//! settings of the player, and the sound files outside the folders of their grooves that the user has allowed to be read.

use super::SaveError;
use super::atomic_file::Access;
use super::error::reason;
use super::save::{resolve_links, write_atomically};
use crate::rhythm::ClickSound;
use std::path::{self, Path, PathBuf};
use std::{env, fs};
use toml_edit::{DocumentMut, Item};

const CALIBRATION_FILE: &str = "tap-offset.toml";
const SOUND_FILE: &str = "sound.toml";
/// Largest offset and error accepted, in ms.
const MAX_OFFSET_MS: f64 = 1000.0;
/// Levels accepted, in dB; the editor saves none outside them.
const MIN_LEVEL_DB: f64 = -40.0;
const MAX_VOLUME_DB: f64 = 0.0;
const MAX_CLICK_DB: f64 = 6.0;

/// A line per answer: the groove's file, a tab, the sound file.
const ALLOWED_SOUNDS_FILE: &str = "outside-sounds";
/// Most answers kept; older ones are dropped.
const MAX_ANSWERS: usize = 4096;

/// The offset that is subtracted from every tap on this machine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Calibration {
    /// -1000 to 1000 ms; positive is late.
    pub ms: f64,
    /// Its standard error, 0 to 1000 ms.
    pub error_ms: f64,
}

/// How the editor plays, whatever the groove.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct SoundSettings {
    /// In dB; 0 is the level that exported files have.
    pub volume_db: f64,
    /// Added to the volume for clicks, in dB.
    pub click_db: f64,
    pub click_sound: ClickSound,
    /// Whether a count-in comes before whatever is started.
    pub count_in: bool,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct StateFolder(pub(super) PathBuf);

impl StateFolder {
    /// `teeter` in `XDG_STATE_HOME` if that is an absolute path, otherwise in `~/.local/state` (XDG Base Directory Specification
    /// 0.8); `None` without a home. The folder is created on the first write.
    pub(crate) fn of_user() -> Option<Self> {
        let absolute = |name| env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
        let state = absolute("XDG_STATE_HOME").or_else(|| Some(absolute("HOME")?.join(".local/state")))?;
        Some(Self::at(&state.join("teeter")))
    }

    pub(crate) fn at(folder: &Path) -> Self {
        Self(folder.to_owned())
    }

    pub(crate) fn path(&self) -> &Path {
        &self.0
    }

    /// Creates the folder, which only the user can read.
    pub(super) fn create(&self) -> Result<(), SaveError> {
        let mut builder = fs::DirBuilder::new();
        builder.recursive(true);
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
        builder.create(&self.0).map_err(|e| SaveError::Folder(self.0.clone(), reason(&e)))
    }

    pub(super) fn write(&self, name: &str, text: &str) -> Result<(), SaveError> {
        self.create()?;
        write_atomically(&self.0.join(name), text, Access::Private)
    }

    pub(super) fn read(&self, name: &str) -> Option<String> {
        String::from_utf8(super::read_bytes(&self.0.join(name)).ok()?).ok()
    }

    pub(super) fn remove(&self, name: &str) {
        drop(fs::remove_file(self.0.join(name)));
    }

    /// The names of its files.
    pub(super) fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(&self.0).into_iter().flatten().flatten();
        entries.filter_map(|e| e.file_name().into_string().ok()).collect()
    }

    /// The saved calibration; `None` if it is missing or invalid.
    pub(crate) fn calibration(&self) -> Option<Calibration> {
        let [ms, error_ms] = self.numbers(CALIBRATION_FILE, ["offset-ms", "error-ms"])?;
        let valid = (-MAX_OFFSET_MS..=MAX_OFFSET_MS).contains(&ms) && (0.0..=MAX_OFFSET_MS).contains(&error_ms);
        valid.then_some(Calibration { ms, error_ms })
    }

    pub(crate) fn save_calibration(&self, c: Calibration) -> Result<(), SaveError> {
        let text = format!(
            "# Measured by tapping to plain clicks: output latency plus the player's habit of tapping early or late.\n\
             offset-ms = {:.2}\nerror-ms = {:.2}\n",
            c.ms, c.error_ms
        );
        self.write(CALIBRATION_FILE, &text)
    }

    /// The saved settings; `None` if the volumes are missing or invalid.
    pub(crate) fn sound_settings(&self) -> Option<SoundSettings> {
        let [volume_db, click_db] = self.numbers(SOUND_FILE, ["volume-db", "click-db"])?;
        let valid =
            (MIN_LEVEL_DB..=MAX_VOLUME_DB).contains(&volume_db) && (MIN_LEVEL_DB..=MAX_CLICK_DB).contains(&click_db);
        let document = self.document(SOUND_FILE)?;
        let name = document.get("click-sound").and_then(Item::as_str);
        let click_sound = name.and_then(ClickSound::parse).unwrap_or_default();
        let count_in = document.get("count-in").and_then(Item::as_bool).unwrap_or(false);
        valid.then_some(SoundSettings { volume_db, click_db, click_sound, count_in })
    }

    pub(crate) fn save_sound_settings(&self, settings: SoundSettings) -> Result<(), SaveError> {
        let SoundSettings { volume_db, click_db, click_sound, count_in } = settings;
        let volumes = format!("volume-db = {volume_db:?}\nclick-db = {click_db:?}\n");
        self.write(SOUND_FILE, &format!("{volumes}click-sound = \"{click_sound}\"\ncount-in = {count_in}\n"))
    }

    fn document(&self, file: &str) -> Option<DocumentMut> {
        self.read(file)?.parse().ok()
    }

    fn numbers(&self, file: &str, keys: [&str; 2]) -> Option<[f64; 2]> {
        let document = self.document(file)?;
        let number = |key| {
            let value = document.get(key)?;
            value.as_float().or_else(|| value.as_integer().map(|n| n as f64))
        };
        Some([number(keys[0])?, number(keys[1])?])
    }

    /// The sound files that the user has allowed a groove to read.
    pub(crate) fn allowed_sounds(&self, groove: &Path) -> Vec<PathBuf> {
        let (text, groove) = (self.read(ALLOWED_SOUNDS_FILE).unwrap_or_default(), real_path(groove));
        let pairs = text.lines().filter_map(|line| line.split_once('\t'));
        pairs.filter(|(g, _)| Some(*g) == groove.to_str()).map(|(_, sound)| sound.into()).collect()
    }

    /// Adds sound files that the user has allowed a groove to read. A path that a line cannot hold is asked about again.
    pub(crate) fn allow_sounds(&self, groove: &Path, sounds: &[PathBuf]) -> Result<(), SaveError> {
        let (groove, old) = (real_path(groove), self.read(ALLOWED_SOUNDS_FILE).unwrap_or_default());
        let line = |sound: &PathBuf| {
            let paths = [groove.to_str()?, sound.to_str()?];
            paths.iter().all(|p| !p.contains(char::is_control)).then(|| paths.join("\t"))
        };
        let lines: Vec<String> = old.lines().map(str::to_owned).chain(sounds.iter().filter_map(line)).collect();
        let kept = &lines[lines.len().saturating_sub(MAX_ANSWERS)..];
        self.write(ALLOWED_SOUNDS_FILE, &(kept.join("\n") + "\n"))
    }
}

fn real_path(groove: &Path) -> PathBuf {
    let real = resolve_links(groove);
    path::absolute(&real).unwrap_or(real)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_calibration_is_kept_and_invalid_ones_are_ignored() {
        let home = tempfile::tempdir().expect("a folder");
        let state = StateFolder::at(&home.path().join("teeter"));
        assert_eq!(state.calibration(), None);
        let kept = Calibration { ms: -23.5, error_ms: 3.25 };
        state.save_calibration(kept).expect("written");
        assert_eq!(state.calibration(), Some(kept));
        let file = home.path().join("teeter").join(CALIBRATION_FILE);
        let no_number = ["", "offset-ms", "\0", "offset-ms = 2"];
        let out_of_range = ["offset-ms = 1e9\nerror-ms = 1.0", "offset-ms = nan\nerror-ms = 1.0"];
        for text in no_number.into_iter().chain(out_of_range) {
            fs::write(&file, text).expect("written");
            assert_eq!(state.calibration(), None, "{text}");
        }
        fs::write(&file, "offset-ms = 12\nerror-ms = 1").expect("written");
        assert_eq!(state.calibration(), Some(Calibration { ms: 12.0, error_ms: 1.0 }));
    }

    #[test]
    fn sound_settings_are_kept_and_invalid_ones_are_ignored() {
        let home = tempfile::tempdir().expect("a folder");
        let state = StateFolder::at(&home.path().join("teeter"));
        assert_eq!(state.sound_settings(), None);
        let (click_sound, count_in) = (ClickSound::Block, true);
        let other = SoundSettings { volume_db: -12.0, click_db: 3.5, click_sound, count_in };
        for kept in [other, SoundSettings::default()] {
            state.save_sound_settings(kept).expect("written");
            assert_eq!(state.sound_settings(), Some(kept));
        }
        let file = home.path().join("teeter").join(SOUND_FILE);
        for text in ["", "volume-db = 20\nclick-db = 0", "volume-db = nan\nclick-db = 0", "volume-db = -3", "\0"] {
            fs::write(&file, text).expect("written");
            assert_eq!(state.sound_settings(), None, "{text}");
        }
        // What an older version has saved, and a sound that does not exist.
        for text in ["", "click-sound = \"gong\"\ncount-in = 1\n"] {
            fs::write(&file, format!("volume-db = -2.0\nclick-db = 0.0\n{text}")).expect("written");
            let expected = SoundSettings { volume_db: -2.0, ..SoundSettings::default() };
            assert_eq!(state.sound_settings(), Some(expected), "{text}");
        }
    }

    #[test]
    fn an_answer_is_kept_for_its_groove_only() {
        let home = tempfile::tempdir().expect("a folder");
        let home = home.path().canonicalize().expect("a path");
        let state = StateFolder::at(&home.join("teeter"));
        let (riff, other) = (home.join("riff.toml"), home.join("other.toml"));
        assert!(state.allowed_sounds(&riff).is_empty());
        let sounds =
            ["/isle/knock.wav", "/isle/tab\there.wav", "/isle/line\nhere.wav", "/isle/ü.wav"].map(PathBuf::from);
        state.allow_sounds(&riff, &sounds[..3]).expect("written");
        state.allow_sounds(&riff, &sounds[3..]).expect("written");
        assert_eq!(state.allowed_sounds(&riff), [sounds[0].clone(), sounds[3].clone()]);
        assert!(state.allowed_sounds(&other).is_empty());
        // A link is the same groove.
        std::fs::write(&riff, "").expect("written");
        std::os::unix::fs::symlink(&riff, &other).expect("linked");
        assert_eq!(state.allowed_sounds(&other).len(), 2);
        let many: Vec<PathBuf> = (0..MAX_ANSWERS).map(|n| format!("/isle/{n}.wav").into()).collect();
        state.allow_sounds(&riff, &many).expect("written");
        assert_eq!(state.allowed_sounds(&riff), many);
    }
}
