//! The command that makes handouts: pages, their pictures, and the takes rendered for them, all files of a page or none. It must not
//! know what a handout says.

use super::{Exit, Failure, args, export, input, output};
use crate::export::{formats, handout as sheets};
use crate::rhythm::Fraction;
use crate::sound::{SampleRate, UserSamples};
use crate::store::{self, Making};
use crate::terminal::run::handout::{self, Made, Sheet, Where};
use crate::terminal::run::takes::Heard;
use crate::terminal::run::watch::Watch;
use std::collections::HashMap;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// Makes a handout of every groove named; those that cannot be are reported, and the others still written.
pub(super) fn run(ask: &args::Sheets) -> Result<Exit, Failure> {
    let rate = output::rate(ask.rate)?;
    let named = input::named(&ask.files);
    if named.is_empty() {
        return Err(Failure::new(Exit::BadGroove, "there is no groove (no .toml file) in what was named"));
    }
    let unused = |_: &Path| ask.into.clone();
    let targets = pages(&named, export::targets(&named, None, Some(&ask.into), unused, &ask.format)?)?;
    let mut exit = Exit::Good;
    for (from, target) in named.iter().zip(&targets) {
        match one(ask, &from.path, target, rate) {
            Err(failure) => exit = export::report(&failure, exit)?,
            Ok(()) => writeln!(io::stderr().lock(), "{}: written", target.display())?,
        }
    }
    Ok(exit)
}

/// The pages of the grooves. Whatever stands beside a page begins with the page's own name, so that two pages of different names share
/// no file.
fn pages(named: &[input::Named], targets: Vec<PathBuf>) -> Result<Vec<PathBuf>, Failure> {
    let mut taken: HashMap<String, &Path> = HashMap::new();
    let mut pages = Vec::with_capacity(targets.len());
    for (target, from) in targets.into_iter().zip(named.iter().map(|n| n.path.as_path())) {
        let stem = sheets::stem(&target.file_stem().unwrap_or_default().to_string_lossy());
        let ending = target.extension().unwrap_or_default().to_string_lossy();
        let page = target.with_file_name(format!("{stem}.{ending}"));
        if let Some(before) = taken.insert(stem, from) {
            let words = format!(
                "{} and {} would both be written to {} and files beside it; allowed are files of different names",
                before.display(),
                from.display(),
                page.display()
            );
            return Err(Failure::new(Exit::Usage, words));
        }
        pages.push(page);
    }
    Ok(pages)
}

fn one(ask: &args::Sheets, path: &Path, target: &Path, rate: SampleRate) -> Result<(), Failure> {
    let groove = input::read(path).map_err(|words| Failure::new(Exit::BadGroove, words))?;
    let heard = Heard::new(&groove, Fraction::ONE, input::limits(None)?);
    for number in &ask.hearing {
        heard.hearing("--hearing", *number).map_err(|words| Failure::new(Exit::Usage, words))?;
    }
    let hearings = match &ask.hearing[..] {
        [] => formats::default_hearings(&heard.report),
        numbers => numbers.iter().map(|n| n - 1).collect(),
    };
    let sound = match ask.sound.as_str() {
        "none" => Where::Nowhere,
        "within" => Where::Within,
        _ => Where::Beside,
    };
    let own = if sound == Where::Nowhere { UserSamples::none() } else { input::sounds(&groove, path, rate) };
    let sheet = Sheet { hearings, writing: ask.notes.writing(), markdown: ask.format == "md", sound, rate, own: &own };
    let page = target.file_name().unwrap_or_default().to_string_lossy();
    let files = handout::files(&groove, &heard, &page, &sheet, &Watch::none())?;
    put(files.iter().map(|f| (target.with_file_name(&f.name), f)).collect(), ask.overwrite)
}

/// Writes files, all of them or none.
fn put(files: Vec<(PathBuf, &Made)>, overwrite: bool) -> Result<(), Failure> {
    files.iter().try_for_each(|(path, file)| free(path, &file.begins, overwrite))?;
    let wrong = |path: &Path, e: &io::Error| {
        Failure::new(Exit::Output, format!("{}: cannot write: {}", path.display(), store::reason(e)))
    };
    let mut made = Vec::with_capacity(files.len());
    for (path, file) in files {
        let making = Making::new(&path).and_then(|mut making| {
            making.write_all(&file.bytes)?;
            making.settle()?;
            Ok(making)
        });
        made.push((making.map_err(|e| wrong(&path, &e))?, path));
    }
    made.into_iter().try_for_each(|(making, path)| making.put(true).map_err(|e| wrong(&path, &e)))
}

/// Refuses a place where something else stands than what this command made before.
fn free(path: &Path, begins: &[u8], overwrite: bool) -> Result<(), Failure> {
    let refused = |words: &str| Err(Failure::new(Exit::Output, format!("{}: {words}", path.display())));
    if path.is_dir() {
        return refused("found a folder, allowed is a file");
    }
    if path.exists() && !path.is_file() {
        return refused("this is not a plain file");
    }
    if overwrite || !path.exists() {
        return Ok(());
    }
    let mut start = Vec::new();
    let read = std::fs::File::open(path).and_then(|f| f.take(begins.len() as u64).read_to_end(&mut start));
    if read.is_err() || !start.is_empty() && start != begins {
        return refused("found a file; it is written over only with --overwrite");
    }
    Ok(())
}
