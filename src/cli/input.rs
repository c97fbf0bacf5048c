//! Which files the arguments name, and reading grooves from them.

use super::args::SoundArgs;
use super::{Exit, Failure};
use crate::analysis::Limits;
use crate::config::Part;
use crate::jobs::UserSampleCache;
use crate::rhythm::{Edit, Groove};
use crate::sound::SampleRate;
use crate::store;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

/// Deepest folder within folders that is searched.
const MAX_DEPTH: usize = 16;

/// Every groove file named, folders replaced by the `.toml` files in them.
pub(super) fn grooves(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let found = files(paths, &["toml"]);
    if found.is_empty() {
        return Err(Failure::new(Exit::BadGroove, "there is no groove (no .toml file) in the folders named"));
    }
    Ok(found)
}

/// Every file named, folders replaced by the files in them that have one of these extensions, in order of name.
pub(super) fn files(paths: &[PathBuf], extensions: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for path in paths {
        if path.is_dir() {
            collect(path, extensions, &mut found, 0);
        } else {
            found.push(path.clone());
        }
    }
    found
}

fn collect(folder: &Path, extensions: &[&str], found: &mut Vec<PathBuf>, depth: usize) {
    let mut entries: Vec<PathBuf> =
        std::fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            // A link to a folder above would never end.
            if depth < MAX_DEPTH && !path.is_symlink() {
                collect(&path, extensions, found, depth + 1);
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

/// Reads one groove; `-` is standard input.
pub(super) fn read(path: &Path) -> Result<Groove, Failure> {
    let bad = |words: String| Failure::new(Exit::BadGroove, words);
    let loaded = if path.as_os_str() == "-" {
        let mut bytes = Vec::new();
        let read = std::io::stdin().lock().take(store::MAX_BYTES + 1).read_to_end(&mut bytes);
        read.map_err(|e| bad(format!("standard input: cannot read: {}", store::reason(&e))))?;
        if bytes.len() as u64 > store::MAX_BYTES {
            return Err(bad(format!(
                "standard input: expected a groove of at most {} bytes, found more",
                store::MAX_BYTES
            )));
        }
        store::parse_bytes(bytes, "standard input")
    } else {
        store::load(path)
    };
    loaded.map(|l| l.groove).map_err(|e| bad(e.to_string()))
}

/// The file of a groove that was read from this argument.
pub(super) fn file_of(path: &Path) -> Option<PathBuf> {
    (path.as_os_str() != "-").then(|| path.to_owned())
}

/// Reads the groove whose sound is rendered, with only the layers asked for audible.
pub(super) fn read_audible(path: &Path, args: &SoundArgs) -> Result<Groove, Failure> {
    let groove = read(path)?;
    if args.layer.is_empty() {
        return Ok(groove);
    }
    let audible = layers(&groove, &args.layer)?;
    let mut groove = groove;
    for layer in 0..groove.layers().len() {
        for edit in [Edit::Solo(layer, audible.contains(&layer)), Edit::Mute(layer, false)] {
            groove = groove.edited(&edit).map_err(Failure::usage)?;
        }
    }
    Ok(groove)
}

/// Prints a warning for each sample of a groove that cannot be used.
pub(super) fn check_samples(groove: &Groove, path: &Path) -> std::io::Result<()> {
    let (_, warnings) = UserSampleCache::default().load(groove, file_of(path).as_deref(), SampleRate::STUDIO);
    warnings.iter().try_for_each(|warning| writeln!(std::io::stderr().lock(), "teeter: {warning}"))
}

/// The user's limits: those asked for, or those of the config file.
pub(super) fn limits(asked: Option<Limits>) -> Result<Limits, Failure> {
    if let Some(limits) = asked {
        return Ok(limits);
    }
    let config = super::user_config(Part::Hearing)?;
    Ok(config.cell_limit_ms.and_then(Limits::with_cell).unwrap_or_default())
}

/// The indices of layers by name.
pub(super) fn layers(groove: &Groove, names: &[String]) -> Result<Vec<usize>, Failure> {
    let index = |name: &String| {
        groove.layers().iter().position(|l| l.name == *name).ok_or_else(|| {
            let known: Vec<&str> = groove.layers().iter().map(|l| l.name.as_str()).collect();
            Failure::usage(format!("there is no layer '{name}'; expected one of: {}", known.join(", ")))
        })
    };
    names.iter().map(index).collect()
}
