//! The command that makes grooves of what others wrote. It must not know what the formats are made of.

use super::explain::on_all_cores;
use super::export::{report, targets};
use super::{Exit, Failure, args, input, output};
use crate::import::{Imported, formats};
use crate::rhythm::Fraction;
use crate::store;
use std::collections::HashSet;
use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// Imports every file named; those that cannot be are reported, and the others still written.
pub(super) fn run(ask: &args::Import) -> Result<Exit, Failure> {
    let tolerance = tolerance(&ask.tolerance)?;
    let endings: Vec<&str> = formats::SOURCES.iter().flat_map(|f| f.endings.iter().copied()).collect();
    let mut exit = Exit::Good;
    let mut named = Vec::new();
    let mut seen = HashSet::new();
    for path in &ask.files {
        let found = input::named_with(std::slice::from_ref(path), &endings);
        if found.is_empty() {
            let words = format!(
                "{}: there is nothing to import in this folder, allowed are {}",
                path.display(),
                formats::sources()
            );
            exit = report(&Failure::new(Exit::BadGroove, words), exit)?;
        }
        // What was named twice, itself and with its folder, is made once.
        let once = |n: &input::Named| seen.insert(std::fs::canonicalize(&n.path).unwrap_or_else(|_| n.path.clone()));
        named.extend(found.into_iter().filter(once));
    }
    if named.is_empty() {
        return Ok(exit);
    }
    if let Some(output) = &ask.output {
        groove_to(output)?;
    }
    if named.len() > 1 && ask.into.is_none() && ask.output.is_none() {
        let words = format!("found {} files to read, allowed is one without --into FOLDER", named.len());
        return Err(Failure::new(Exit::Usage, words));
    }
    let pipe = |_: &Path| PathBuf::from("-");
    let targets = targets(&named, ask.output.as_ref(), ask.into.as_ref(), pipe, "toml")?;
    let pairs: Vec<(&Path, &PathBuf)> = named.iter().map(|n| n.path.as_path()).zip(&targets).collect();
    let results = on_all_cores(&pairs, |(path, target)| -> Result<Vec<String>, Failure> {
        let made = made(path, tolerance)?;
        let text = store::print(&made.groove);
        if text.len() as u64 > store::LIMIT {
            let words = format!("{}: the groove's file would have {} bytes", path.display(), text.len());
            return Err(Failure::new(Exit::BadGroove, format!("{words}, allowed are at most {}", store::LIMIT)));
        }
        output::result(target, text.as_bytes(), ask.overwrite)?;
        Ok(made.warnings.iter().map(|r| format!("{}: {r}", path.display())).collect())
    });
    for (result, (path, target)) in results.iter().zip(&pairs) {
        match result {
            Err(failure) => exit = report(failure, exit)?,
            Ok(remarks) => {
                let mut errors = io::stderr().lock();
                for remark in remarks {
                    writeln!(errors, "{remark}")?;
                }
                if target.as_os_str() != "-" {
                    writeln!(errors, "{}: made from {}", target.display(), path.display())?;
                }
            }
        }
    }
    Ok(exit)
}

/// Refuses a name for a groove that says it is of another format.
fn groove_to(path: &Path) -> Result<(), Failure> {
    let read = formats::SOURCES.iter().flat_map(|f| f.endings.iter().copied());
    let others: Vec<&str> = crate::export::formats::FORMATS.iter().map(|f| f.ending).chain(read).collect();
    if input::has_ending(path, &others) {
        let words =
            format!("-o is '{}', allowed is a name that ends in .toml, or - for standard output", path.display());
        return Err(Failure::new(Exit::Usage, words));
    }
    Ok(())
}

/// A tolerance in ms, 0 to 100.
fn tolerance(words: &str) -> Result<Fraction, Failure> {
    let value = Fraction::parse(words).filter(|t| *t >= Fraction::ZERO && *t <= Fraction::whole(100));
    let wrong = || format!("--tolerance is '{words}', allowed is a number from 0 to 100 (ms)");
    value.ok_or_else(|| Failure::new(Exit::Usage, wrong()))
}

/// The groove of one file; without a title of its own it has the file's name.
fn made(path: &Path, tolerance: Fraction) -> Result<Imported, Failure> {
    let name = if path.as_os_str() == "-" { "standard input".into() } else { path.display().to_string() };
    let bad = |words: String| Failure::new(Exit::BadGroove, format!("{name}: {words}"));
    let most = formats::longest();
    let mut bytes = Vec::new();
    let read = if path.as_os_str() == "-" {
        io::stdin().lock().take(most + 1).read_to_end(&mut bytes)
    } else if std::fs::metadata(path).is_ok_and(|m| !m.is_file()) {
        return Err(bad("found no plain file, allowed is a file".into()));
    } else {
        File::open(path).and_then(|f| f.take(most + 1).read_to_end(&mut bytes))
    };
    read.map_err(|e| bad(format!("cannot read: {e}")))?;
    let ending = path.extension().and_then(|e| e.to_str());
    let stem = path.file_stem().map_or_else(String::new, |s| s.to_string_lossy().into_owned());
    formats::bring(&bytes, ending, &stem, tolerance).map_err(|e| bad(e.to_string()))
}
