//! The command that puts grooves into other formats. It must not know what the formats are made of.

use super::explain::on_all_cores;
use super::{Exit, Failure, args, input, output};
use crate::analysis::{self, Ask};
use crate::exchange::formats::{self, Wish};
use crate::exchange::{Piece, left_out};
use std::collections::HashMap;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// The ending of the format that is read where it is printed: it goes to standard output unless a file is named.
const TEXT: &str = "txt";

/// Where the results of several files go.
pub(super) fn targets(
    named: &[input::Named],
    output: Option<&PathBuf>,
    into: Option<&PathBuf>,
    otherwise: impl Fn(&Path) -> PathBuf,
    ending: &str,
) -> Result<Vec<PathBuf>, Failure> {
    if let Some(output) = output {
        if named.len() > 1 {
            let words = format!("-o names one file, found {} to read; allowed is --into FOLDER", named.len());
            return Err(Failure::new(Exit::Usage, words));
        }
        return Ok(vec![output.clone(); named.len()]);
    }
    let place = |path: &Path| match into {
        Some(folder) if path.as_os_str() == "-" => folder.join("groove").with_extension(ending),
        Some(folder) => folder.join(path.file_name().unwrap_or_default()).with_extension(ending),
        None => otherwise(path),
    };
    let targets: Vec<PathBuf> = named.iter().map(|n| place(&n.path)).collect();
    let mut taken: HashMap<&Path, &Path> = HashMap::new();
    for (target, from) in targets.iter().zip(named).filter(|t| t.0.as_os_str() != "-") {
        if let Some(before) = taken.insert(target, &from.path) {
            let words = format!(
                "{} and {} would both be written to {}; allowed are files of different names",
                before.display(),
                from.path.display(),
                target.display()
            );
            return Err(Failure::new(Exit::Usage, words));
        }
    }
    if let Some(folder) = into {
        std::fs::create_dir_all(folder)
            .map_err(|e| Failure::new(Exit::Output, format!("{}: cannot make the folder: {e}", folder.display())))?;
    }
    Ok(targets)
}

/// Says what failed, and gives the graver of two exit codes.
pub(super) fn report(failure: &Failure, so_far: Exit) -> io::Result<Exit> {
    if let Some(error) = &failure.error {
        writeln!(io::stderr().lock(), "{error:#}")?;
    }
    let rank = |e: Exit| match e {
        Exit::Good => 0,
        Exit::BadGroove => 1,
        Exit::Usage => 2,
        Exit::Output => 3,
    };
    Ok(if rank(failure.exit) > rank(so_far) { failure.exit } else { so_far })
}

/// Exports every groove named; those that cannot be are reported, and the others still written.
pub(super) fn run(ask: &args::Export) -> Result<Exit, Failure> {
    let named = input::named(&ask.files);
    if named.is_empty() {
        return Err(Failure::new(Exit::BadGroove, "there is no groove (no .toml file) in what was named"));
    }
    let beside = |path: &Path| {
        if path.as_os_str() == "-" || ask.format.ending == TEXT {
            PathBuf::from("-")
        } else {
            path.with_extension(ask.format.ending)
        }
    };
    let targets = targets(&named, ask.output.as_ref(), ask.into.as_ref(), beside, ask.format.ending)?;
    if ask.format.ending != TEXT && targets.iter().any(|t| t.as_os_str() == "-") {
        output::not_a_terminal(Path::new("-"))?;
    }
    let limits = input::limits(None)?;
    let pairs: Vec<(&Path, &PathBuf)> = named.iter().map(|n| n.path.as_path()).zip(&targets).collect();
    let results = on_all_cores(&pairs, |(path, target)| -> Result<Option<Vec<u8>>, Failure> {
        let bytes = made(ask, path, limits)?;
        if target.as_os_str() == "-" {
            return Ok(Some(bytes));
        }
        output::result(target, &bytes, ask.format.begins, ask.overwrite).map(|()| None)
    });
    let mut exit = Exit::Good;
    for (result, (_, target)) in results.iter().zip(&pairs) {
        match result {
            Err(failure) => exit = report(failure, exit)?,
            // In the order of the files.
            Ok(Some(bytes)) => io::stdout().lock().write_all(bytes)?,
            Ok(None) => writeln!(io::stderr().lock(), "{}: written", target.display())?,
        }
    }
    Ok(exit)
}

/// The bytes of one groove.
fn made(ask: &args::Export, path: &Path, limits: analysis::Limits) -> Result<Vec<u8>, Failure> {
    let groove = input::read(path).map_err(|words| Failure::new(Exit::BadGroove, words))?;
    let usage = |words: String| Failure::new(Exit::Usage, format!("{}: {words}", path.display()));
    let section = match &ask.section {
        None => None,
        Some(name) => Some(groove.sections().iter().position(|s| s.name == *name).ok_or_else(|| {
            let allowed: Vec<&str> = groove.sections().iter().map(|s| s.name.as_str()).collect();
            usage(format!("there is no section '{name}', allowed are: {}", allowed.join(", ")))
        })?),
    };
    let report = analysis::report(&groove, &Ask { limits, ..Ask::default() });
    let found = report.hearings.len();
    let hearing = |n: &usize| {
        let index = n.checked_sub(1).filter(|i| *i < found);
        index.ok_or_else(|| usage(format!("--hearing is {n}, allowed are the numbers from 1 to {found}")))
    };
    let mut hearings = ask.hearing.iter().map(hearing).collect::<Result<Vec<usize>, Failure>>()?;
    let notes = ask.format.is_notes(ask.picture);
    if hearings.is_empty() && !notes && ask.format.name != "midi" {
        hearings = formats::usual(&report);
    }
    let (writing, picture) = (ask.notes.writing(), ask.picture);
    let wish = Wish { picture, theme: ask.theme, width: ask.width, scale: ask.scale, writing, limits };
    let piece = Piece { groove: &groove, report: &report, hearings, section };
    for words in if notes { left_out(&piece) } else { Vec::new() } {
        writeln!(io::stderr().lock(), "{}: {words}", path.display())?;
    }
    (ask.format.make)(&piece, &wish).map_err(|e| Failure::new(Exit::BadGroove, format!("{}: {e}", path.display())))
}
