//! The volumes of the last session, kept in the state folder.

use super::{Journal, SaveError};
use toml_edit::DocumentMut;

/// File in the journal's folder.
const NAME: &str = "sound.toml";
/// Loudest level that is read, in dB; the editor never saves a louder one.
const MAX_DB: f64 = 6.0;

/// Volumes in dB.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct SoundLevels {
    /// Master volume.
    pub volume_db: f64,
    /// Volume of the clicks.
    pub click_db: f64,
}

impl Journal {
    /// The volumes that were kept; `None` if there are none that can be read.
    pub(crate) fn sound_levels(&self) -> Option<SoundLevels> {
        let document: DocumentMut = self.beside(NAME)?.parse().ok()?;
        let level = |name: &str, greatest: f64| {
            let value = document.get(name)?;
            let db = value.as_float().or_else(|| value.as_integer().map(|n| n as f64))?;
            (-40.0..=greatest).contains(&db).then_some(db)
        };
        Some(SoundLevels { volume_db: level("volume-db", 0.0)?, click_db: level("click-db", MAX_DB)? })
    }

    /// Keeps the volumes for the next session.
    ///
    /// # Errors
    /// [`SaveError`] as for any file; what was kept before is then still there.
    pub(crate) fn keep_sound_levels(&self, levels: SoundLevels) -> Result<(), SaveError> {
        let SoundLevels { volume_db, click_db } = levels;
        self.write_beside(NAME, &format!("volume-db = {volume_db:?}\nclick-db = {click_db:?}\n"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn volumes_are_kept_and_invalid_ones_ignored() {
        let home = tempfile::tempdir().expect("a folder");
        let journal = Journal::at(&home.path().join("teeter"));
        assert_eq!(journal.sound_levels(), None);
        for kept in [SoundLevels { volume_db: -12.0, click_db: 3.5 }, SoundLevels::default()] {
            journal.keep_sound_levels(kept).expect("written");
            assert_eq!(journal.sound_levels(), Some(kept));
        }
        let file = home.path().join("teeter").join(NAME);
        for text in ["", "volume-db = 20\nclick-db = 0", "volume-db = nan\nclick-db = 0", "volume-db = -3", "\0"] {
            fs::write(&file, text).expect("written");
            assert_eq!(journal.sound_levels(), None, "{text}");
        }
    }
}
