//! Finds and reads the files that the arguments name.

use super::args::{OutsideSoundsArg, RecordingArgs, SoundArgs};
use super::{CliError, Exit};
use crate::analysis::Limits;
use crate::config::ConfigPart;
use crate::jobs::{self, OutsideSounds, RecordingSound, SoundAccess, UserSampleCache, audible_sounds};
use crate::rhythm::{Edit, Groove, expected};
use crate::sound::SampleRate;
use crate::store::{self, StateFolder};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Greatest depth of folders that is searched.
const MAX_DEPTH: usize = 16;

/// Every groove file named, folders replaced by the `.toml` files in them.
pub(super) fn groove_files(paths: &[PathBuf]) -> Result<Vec<PathBuf>, CliError> {
    let found = find_files(paths, &["toml"]);
    if found.is_empty() {
        return Err(CliError::new(Exit::BadGroove, "no groove (.toml file) found in the given folders"));
    }
    Ok(found)
}

/// Every file named, folders replaced by the files in them that have one of these extensions, in order of name.
pub(super) fn find_files(paths: &[PathBuf], extensions: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for path in paths {
        if path.is_dir() {
            collect_files(path, extensions, &mut found, 0);
        } else {
            found.push(path.clone());
        }
    }
    found
}

fn collect_files(folder: &Path, extensions: &[&str], found: &mut Vec<PathBuf>, depth: usize) {
    let mut entries: Vec<PathBuf> =
        std::fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            // A link may lead to a folder above.
            if depth < MAX_DEPTH && !path.is_symlink() {
                collect_files(&path, extensions, found, depth + 1);
            }
        } else if has_extension(&path, extensions) {
            found.push(path);
        }
    }
}

/// Whether a file has one of these extensions, in any case.
pub(super) fn has_extension(path: &Path, extensions: &[&str]) -> bool {
    path.extension().and_then(|e| e.to_str()).is_some_and(|e| extensions.iter().any(|n| e.eq_ignore_ascii_case(n)))
}

/// Whether a path stands for standard input.
pub(super) fn is_stdin(path: &Path) -> bool {
    path.as_os_str() == "-"
}

/// The name of an input in messages.
pub(super) fn name(path: &Path) -> String {
    if is_stdin(path) { "standard input".to_owned() } else { path.display().to_string() }
}

/// Reads a file of at most the length of a groove; `-` is standard input.
pub(super) fn read_bytes(path: &Path) -> Result<Vec<u8>, CliError> {
    let bytes = jobs::read_input(path, store::MAX_BYTES)?;
    if bytes.len() as u64 > store::MAX_BYTES {
        let message = expected(format_args!("at most {} bytes", store::MAX_BYTES), "more");
        return Err(CliError::new(Exit::BadGroove, format!("{}: {message}", name(path))));
    }
    Ok(bytes)
}

/// Reads a groove; `-` is standard input.
pub(super) fn read_groove(path: &Path) -> Result<Groove, CliError> {
    let loaded = if is_stdin(path) { store::parse_bytes(read_bytes(path)?, &name(path)) } else { store::load(path) };
    loaded.map(|l| l.groove).map_err(|e| CliError::new(Exit::BadGroove, e))
}

/// The file of a groove; `None` for standard input.
pub(super) fn file_of(path: &Path) -> Option<PathBuf> {
    (!is_stdin(path)).then(|| path.to_owned())
}

/// Reads a groove with only the layers of the arguments audible.
pub(super) fn read_audible(path: &Path, args: &SoundArgs) -> Result<Groove, CliError> {
    let mut groove = read_groove(path)?;
    if args.layer.is_empty() {
        return Ok(groove);
    }
    let audible = layer_indices(&groove, &args.layer)?;
    for layer in 0..groove.layers().len() {
        for edit in [Edit::Solo(layer, audible.contains(&layer)), Edit::Mute(layer, false)] {
            groove = groove.edited(&edit).map_err(CliError::usage)?;
        }
    }
    Ok(groove)
}

/// Which sound files of a groove may be read: those of the option or of an answer in the editor, or an error if there are others.
pub(super) fn outside_sounds(groove: &Groove, path: &Path, arg: &OutsideSoundsArg) -> Result<OutsideSounds, CliError> {
    let access = sound_access(path, arg);
    match disallowed_sounds(groove, &access) {
        None => Ok(access.outside),
        Some(message) => Err(CliError::usage(message).in_file(path)),
    }
}

fn sound_access(path: &Path, arg: &OutsideSoundsArg) -> SoundAccess {
    let file = file_of(path);
    let allowed = || StateFolder::of_user().zip(file.as_ref()).map(|(folder, file)| folder.allowed_sounds(file));
    let outside = if arg.allow { OutsideSounds::All } else { OutsideSounds::Only(allowed().unwrap_or_default()) };
    SoundAccess { file, outside }
}

fn disallowed_sounds(groove: &Groove, access: &SoundAccess) -> Option<String> {
    let paths: Vec<String> = access.refused(audible_sounds(groove)).iter().map(|p| p.display().to_string()).collect();
    let message = expected("sound files in the folder of the groove", paths.join(", "));
    (!paths.is_empty()).then(|| message + "; --allow-outside-sounds reads files in other folders")
}

/// The groove as it is rendered with its recording, and how that sounds; `None` if it is not to be heard.
pub(super) fn with_recording(
    groove: Groove,
    path: &Path,
    args: &RecordingArgs,
) -> Result<(Groove, Option<RecordingSound>), CliError> {
    let Some(sound) = args.sound() else { return Ok((groove, None)) };
    let groove = sound.groove(&Arc::new(groove));
    let groove = groove.ok_or_else(|| CliError::usage("--recording: the groove has no recording").in_file(path))?;
    Ok((Arc::unwrap_or_clone(groove), Some(sound)))
}

/// Prints a warning for each sample of a groove that cannot be used, or may not be read.
pub(super) fn check_samples(groove: &Groove, path: &Path, arg: &OutsideSoundsArg) -> std::io::Result<()> {
    let access = sound_access(path, arg);
    let (_, warnings) = UserSampleCache::default().load(groove, &access, SampleRate::STUDIO);
    let outside = disallowed_sounds(groove, &access).map(|message| format!("{}: {message}", name(path)));
    warnings.iter().chain(&outside).try_for_each(super::output::warn)
}

/// The listener as the config file sets it.
pub(super) fn listener_limits() -> Result<Limits, CliError> {
    let config = super::user_config(ConfigPart::Hearing)?;
    Ok(Limits::from_settings(config.cell_limit_ms, config.listen_cold))
}

pub(super) fn layer_indices(groove: &Groove, names: &[String]) -> Result<Vec<usize>, CliError> {
    let index = |name: &String| index_of("layer", name, groove.layers().iter().map(|l| l.name.as_str()));
    names.iter().map(index).collect()
}

/// The index of a name, or an error that lists the names; `kind` is what they name.
pub(super) fn index_of<'a>(
    kind: &str,
    name: &str,
    names: impl Iterator<Item = &'a str> + Clone,
) -> Result<usize, CliError> {
    names.clone().position(|n| n == name).ok_or_else(|| {
        let known: Vec<&str> = names.collect();
        CliError::usage(format!("there is no {kind} '{name}'; expected one of: {}", known.join(", ")))
    })
}
