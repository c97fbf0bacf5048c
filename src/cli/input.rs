//! Which grooves are meant, and reading them. It must not know what is done with them.

use super::{Exit, Failure};
use crate::analysis::Limits;
use crate::rhythm::{Fraction, Groove};
use crate::sound::{SampleRate, UserSamples};
use crate::{store, terminal};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

/// Deepest folder within folders that is looked into.
const DEEPEST: usize = 16;

/// One groove's file that was named, or why it could not be found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Named {
    /// The path as shown.
    pub(super) path: PathBuf,
}

/// Every file named, folders replaced by the `.toml` files within, in order of name.
pub(super) fn named(paths: &[PathBuf]) -> Vec<Named> {
    named_with(paths, &["toml"])
}

/// Every file named, folders replaced by the files within that have one of these endings, in order of name.
pub(super) fn named_with(paths: &[PathBuf], endings: &[&str]) -> Vec<Named> {
    let mut found = Vec::new();
    for path in paths {
        if path.is_dir() {
            gather(path, endings, &mut found, 0);
        } else {
            found.push(Named { path: path.clone() });
        }
    }
    found
}

fn gather(folder: &Path, endings: &[&str], found: &mut Vec<Named>, depth: usize) {
    let mut entries: Vec<PathBuf> =
        std::fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            // A folder linked into itself would never end.
            if depth < DEEPEST && !path.is_symlink() {
                gather(&path, endings, found, depth + 1);
            }
        } else if has_ending(&path, endings) {
            found.push(Named { path });
        }
    }
}

/// Whether a file has one of these endings, in capitals or not.
pub(super) fn has_ending(path: &Path, endings: &[&str]) -> bool {
    path.extension().and_then(|e| e.to_str()).is_some_and(|e| endings.iter().any(|n| e.eq_ignore_ascii_case(n)))
}

/// Reads one groove; `-` is standard input.
pub(super) fn read(path: &Path) -> Result<Groove, String> {
    if path.as_os_str() == "-" {
        let mut bytes = Vec::new();
        let read = std::io::stdin().lock().take(store::LIMIT + 1).read_to_end(&mut bytes);
        if let Err(error) = read {
            return Err(format!("standard input: cannot read: {}", store::reason(&error)));
        }
        if bytes.len() as u64 > store::LIMIT {
            return Err(format!(
                "standard input: found more than {} bytes, allowed is a groove of at most that",
                store::LIMIT
            ));
        }
        return store::parse_bytes(bytes, "standard input").map(|l| l.groove).map_err(|e| e.to_string());
    }
    store::load(path).map(|l| l.groove).map_err(|e| e.to_string())
}

/// The sound files that a groove names, beside its own file (or in the folder of now, where it came from standard input). What
/// is to be said of them goes to standard error: a layer without its sound sounds its voice.
pub(super) fn sounds(groove: &Groove, file: &Path, rate: SampleRate) -> UserSamples {
    let file = (file.as_os_str() != "-").then_some(file);
    let (own, words) = terminal::run::Sounds::default().of(groove, file, rate);
    for words in words {
        // Nothing is lost if nobody reads it.
        let _ = writeln!(std::io::stderr().lock(), "teeter: {words}");
    }
    own
}

/// A playing speed in percent, 20 to 200.
pub(super) fn speed(percent: &str) -> Result<Fraction, Failure> {
    let wrong =
        || Failure::new(Exit::Usage, format!("--speed is '{percent}', allowed is a number from 20 to 200 (percent)"));
    let value = Fraction::parse(percent.trim_end_matches('%')).ok_or_else(wrong)?;
    let hundred = Fraction::whole(100);
    let in_range = value >= Fraction::whole(20) && value <= Fraction::whole(200);
    value.over(hundred).filter(|_| in_range).ok_or_else(wrong)
}

/// The limits of the user's ear: those asked for, or else those of the config file.
pub(super) fn limits(cell_limit: Option<f64>) -> Result<Limits, Failure> {
    match cell_limit {
        None => terminal::run::config().map(|c| c.limits).map_err(|words| Failure::new(Exit::Usage, words)),
        Some(ms) => Limits::with_cell(ms).ok_or_else(|| {
            Failure::new(Exit::Usage, format!("--cell-limit is {ms}, allowed is a number from 20 to 1000 (ms)"))
        }),
    }
}

/// The indices of layers by name.
pub(super) fn layers(groove: &Groove, names: &[String]) -> Result<Vec<usize>, String> {
    names
        .iter()
        .map(|name| {
            groove.layers().iter().position(|l| l.name == *name).ok_or_else(|| {
                let allowed: Vec<&str> = groove.layers().iter().map(|l| l.name.as_str()).collect();
                format!("there is no layer '{name}', allowed are: {}", allowed.join(", "))
            })
        })
        .collect()
}
