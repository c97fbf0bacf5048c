//! The sound files outside the folders of their grooves that the user has allowed to be read, in a file of the state folder.

use super::save::resolve_links;
use super::{SaveError, StateFolder};
use std::path::{self, Path, PathBuf};

/// A line per answer: the groove's file, a tab, the sound file.
const ALLOWED_SOUNDS_FILE: &str = "outside-sounds";
/// Older answers are dropped.
const MAX_LINES: usize = 4096;

impl StateFolder {
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
        let kept = &lines[lines.len().saturating_sub(MAX_LINES)..];
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
        let many: Vec<PathBuf> = (0..MAX_LINES).map(|n| format!("/isle/{n}.wav").into()).collect();
        state.allow_sounds(&riff, &many).expect("written");
        assert_eq!(state.allowed_sounds(&riff), many);
    }
}
