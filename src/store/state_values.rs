//! The tap calibration and the volumes of the last session, in small files next to the state.

use super::{SaveError, StateFolder};
use toml_edit::DocumentMut;

const CALIBRATION_FILE: &str = "tap-offset.toml";
const LEVELS_FILE: &str = "sound.toml";
/// Largest offset and error accepted, in ms.
const MAX_OFFSET_MS: f64 = 1000.0;
/// Levels accepted, in dB; the editor saves none outside them.
const MIN_LEVEL_DB: f64 = -40.0;
const MAX_VOLUME_DB: f64 = 0.0;
const MAX_CLICK_DB: f64 = 6.0;

/// The offset that is subtracted from every tap on this machine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Calibration {
    /// -1000 to 1000 ms; positive is late.
    pub ms: f64,
    /// Its standard error, 0 to 1000 ms.
    pub error_ms: f64,
}

/// Volumes in dB.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct SoundLevels {
    /// 0 is the level that exported files have.
    pub volume_db: f64,
    /// Added to the volume for clicks.
    pub click_db: f64,
}

impl StateFolder {
    /// The saved calibration; `None` if it is missing or invalid.
    pub(crate) fn calibration(&self) -> Option<Calibration> {
        let [ms, error_ms] = self.numbers(CALIBRATION_FILE, ["offset-ms", "error-ms"])?;
        let valid = (-MAX_OFFSET_MS..=MAX_OFFSET_MS).contains(&ms) && (0.0..=MAX_OFFSET_MS).contains(&error_ms);
        valid.then_some(Calibration { ms, error_ms })
    }

    pub(crate) fn save_calibration(&self, c: Calibration) -> Result<(), SaveError> {
        let text = format!(
            "# Measured by tapping to plain clicks: output latency plus the player's habit.\n\
             offset-ms = {:.2}\nerror-ms = {:.2}\n",
            c.ms, c.error_ms
        );
        self.write(CALIBRATION_FILE, &text)
    }

    /// The saved volumes; `None` if they are missing or invalid.
    pub(crate) fn sound_levels(&self) -> Option<SoundLevels> {
        let [volume_db, click_db] = self.numbers(LEVELS_FILE, ["volume-db", "click-db"])?;
        let valid =
            (MIN_LEVEL_DB..=MAX_VOLUME_DB).contains(&volume_db) && (MIN_LEVEL_DB..=MAX_CLICK_DB).contains(&click_db);
        valid.then_some(SoundLevels { volume_db, click_db })
    }

    pub(crate) fn save_sound_levels(&self, levels: SoundLevels) -> Result<(), SaveError> {
        let SoundLevels { volume_db, click_db } = levels;
        self.write(LEVELS_FILE, &format!("volume-db = {volume_db:?}\nclick-db = {click_db:?}\n"))
    }

    fn numbers(&self, file: &str, keys: [&str; 2]) -> Option<[f64; 2]> {
        let document: DocumentMut = self.read(file)?.parse().ok()?;
        let number = |key| {
            let value = document.get(key)?;
            value.as_float().or_else(|| value.as_integer().map(|n| n as f64))
        };
        Some([number(keys[0])?, number(keys[1])?])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

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
    fn volumes_are_kept_and_invalid_ones_are_ignored() {
        let home = tempfile::tempdir().expect("a folder");
        let state = StateFolder::at(&home.path().join("teeter"));
        assert_eq!(state.sound_levels(), None);
        for kept in [SoundLevels { volume_db: -12.0, click_db: 3.5 }, SoundLevels::default()] {
            state.save_sound_levels(kept).expect("written");
            assert_eq!(state.sound_levels(), Some(kept));
        }
        let file = home.path().join("teeter").join(LEVELS_FILE);
        for text in ["", "volume-db = 20\nclick-db = 0", "volume-db = nan\nclick-db = 0", "volume-db = -3", "\0"] {
            fs::write(&file, text).expect("written");
            assert_eq!(state.sound_levels(), None, "{text}");
        }
    }
}
