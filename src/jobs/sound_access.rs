//! Which sound files of a groove may be read: those in its folder, and others only with the user's permission.

use crate::rhythm::Groove;
use std::path::{self, Component, Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// The sound files outside the folder of the groove that may be read.
#[derive(Debug, Clone, PartialEq)]
pub enum OutsideSounds {
    /// Those that the user has allowed.
    Only(Vec<PathBuf>),
    All,
}

impl Default for OutsideSounds {
    fn default() -> Self {
        Self::Only(Vec::new())
    }
}

/// Where the sound files of a groove are, and which of them may be read.
#[derive(Debug, Clone, Default)]
pub(crate) struct SoundAccess {
    /// The groove's file. Names are relative to its folder, or to the working directory.
    pub file: Option<PathBuf>,
    pub outside: OutsideSounds,
}

impl SoundAccess {
    fn folder(&self) -> &Path {
        self.file.as_deref().and_then(Path::parent).unwrap_or(Path::new(""))
    }

    /// The path of a sound file, or, as an error, the one outside the folder that may not be read.
    pub(super) fn path(&self, name: &str) -> Result<PathBuf, PathBuf> {
        match (&self.outside, outside_path(self.folder(), name)) {
            (OutsideSounds::Only(allowed), Some(outside)) if !allowed.contains(&outside) => Err(outside),
            _ => Ok(self.folder().join(name)),
        }
    }

    /// The paths of these sound files that may not be read, each once.
    pub(crate) fn refused<'a>(&self, names: impl Iterator<Item = &'a str>) -> Vec<PathBuf> {
        let mut refused: Vec<PathBuf> = names.filter_map(|name| self.path(name).err()).collect();
        refused.sort();
        refused.dedup();
        refused
    }
}

/// The path of a sound file outside the folder: one whose name is absolute or contains `..`, or that a link in the folder leads
/// to. The file itself is not opened.
fn outside_path(folder: &Path, name: &str) -> Option<PathBuf> {
    let path = folder.join(name);
    if !Path::new(name).components().all(|c| matches!(c, Component::Normal(_) | Component::CurDir)) {
        return Some(path::absolute(&path).unwrap_or(path));
    }
    // A missing file has no real path; it is reported when it is read.
    let real = path.canonicalize().ok()?;
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    (!real.starts_with(folder.canonicalize().ok()?)).then_some(real)
}

/// The sound files of the audible layers.
pub(crate) fn audible_sounds(groove: &Groove) -> impl Iterator<Item = &str> {
    let layers = groove.layers().iter().enumerate().filter(|(l, _)| groove.is_audible(*l));
    layers.filter_map(|(_, layer)| layer.sound.as_deref())
}

/// The access to sound files, shared by threads: it changes with the groove's file and the user's answers.
#[derive(Debug, Clone, Default)]
pub(crate) struct SharedAccess(Arc<Mutex<SoundAccess>>);

impl SharedAccess {
    fn lock(&self) -> MutexGuard<'_, SoundAccess> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(crate) fn get(&self) -> SoundAccess {
        self.lock().clone()
    }

    pub(crate) fn set(&self, access: SoundAccess) {
        *self.lock() = access;
    }
}

#[cfg(test)]
mod tests {
    use super::super::user_samples::{UserSampleCache, groove_with_sounds};
    use super::*;
    use crate::sound::SampleRate;
    use std::fs;

    #[test]
    fn a_file_outside_the_folder_is_read_only_if_it_is_allowed() {
        use std::os::unix::fs::symlink;
        let home = tempfile::tempdir().expect("a folder");
        let home = home.path().canonicalize().expect("a path");
        let at = |name: &str| home.join(name);
        fs::create_dir_all(at("songs/drums")).expect("folders");
        let burst = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sounds/burst.flac");
        for copy in ["outside.flac", "songs/drums/in.flac"] {
            fs::copy(&burst, at(copy)).expect("copied");
        }
        symlink("drums/in.flac", at("songs/link.flac")).expect("linked");
        symlink("../outside.flac", at("songs/away.flac")).expect("linked");
        symlink("..", at("songs/up")).expect("linked");
        symlink(at("songs"), at("alias")).expect("linked");
        let absolute = at("songs/drums/in.flac").to_str().expect("text").to_owned();
        let inside = ["drums/in.flac", "./drums/./in.flac", "link.flac", "missing.flac"];
        let outside = [
            (&*absolute, at("songs/drums/in.flac")),
            ("../outside.flac", at("songs/../outside.flac")),
            ("drums/../drums/in.flac", at("songs/drums/../drums/in.flac")),
            ("away.flac", at("outside.flac")),
            ("up/outside.flac", at("outside.flac")),
        ];
        let mut access = SoundAccess { file: Some(at("songs/g.toml")), ..SoundAccess::default() };
        for file in ["songs/g.toml", "alias/g.toml"] {
            access.file = Some(at(file));
            assert!(access.refused(inside.into_iter()).is_empty());
        }
        access.file = Some(at("songs/g.toml"));
        for (name, path) in &outside {
            access.outside = OutsideSounds::default();
            assert_eq!(access.refused([*name, *name].into_iter()), std::slice::from_ref(path), "{name}");
            let groove = groove_with_sounds(&[name]);
            let (samples, warnings) = UserSampleCache::default().load(&groove, &access, SampleRate::STUDIO);
            assert!(samples.get(name, SampleRate::STUDIO).is_none() && warnings.is_empty(), "{name}");
            for allowed in [OutsideSounds::Only(vec![path.clone()]), OutsideSounds::All] {
                access.outside = allowed;
                assert!(access.refused([*name].into_iter()).is_empty());
                let (samples, warnings) = UserSampleCache::default().load(&groove, &access, SampleRate::STUDIO);
                assert!(samples.get(name, SampleRate::STUDIO).is_some(), "{name} {warnings:?}");
            }
        }
    }
}
