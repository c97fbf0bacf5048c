//! `teeter import`: makes grooves from files of other programs, many at once.

use super::{Exit, Failure, args, input, output};
use crate::import::formats;
use crate::jobs::{self, JobControl, JobReport, Target};
use crate::rhythm::expected;
use crate::store;
use std::collections::HashSet;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Imports every file; those that fail are reported, and the others still written.
pub(super) fn run(args: &args::ImportArgs) -> Result<Exit, Failure> {
    let extensions: Vec<&str> = formats::SOURCES.iter().flat_map(|f| f.endings.iter().copied()).collect();
    let mut exit = Exit::Good;
    let mut inputs = Vec::new();
    let mut seen = HashSet::new();
    for path in &args.files {
        let found = input::files(std::slice::from_ref(path), &extensions);
        if found.is_empty() {
            let words =
                format!("{}: nothing to import in this folder; expected {}", path.display(), formats::sources());
            exit = output::report_failure(&Failure::new(Exit::BadGroove, words), exit)?;
        }
        // A file named twice, itself and with its folder, is imported once.
        let is_new = |p: &PathBuf| seen.insert(p.canonicalize().unwrap_or_else(|_| p.clone()));
        inputs.extend(found.into_iter().filter(is_new));
    }
    if inputs.is_empty() {
        return Ok(exit);
    }
    args.output.as_deref().map_or(Ok(()), check_name)?;
    if inputs.len() > 1 && args.into.is_none() && args.output.is_none() {
        return Err(Failure::usage(format!("there are {} inputs; use --into FOLDER", inputs.len())));
    }
    let stdout = |_: &Path| PathBuf::from("-");
    let targets = output::targets(&inputs, args.output.as_ref(), args.into.as_ref(), stdout, "toml")?;
    let pairs: Vec<(&PathBuf, &PathBuf)> = inputs.iter().zip(&targets).collect();
    let results = output::on_all_cores(&pairs, |(path, target)| -> Result<JobReport, Failure> {
        let control = JobControl::detached();
        let imported = jobs::import(path, args.tolerance, &control)?;
        let text = store::print(&imported.groove).into_bytes();
        let inputs = [(*path).clone()];
        let report = jobs::deliver(&Target::from_arg(target), text, &inputs, args.overwrite.policy(), &control)?;
        Ok(JobReport { notes: imported.warnings, ..report })
    });
    for (result, (path, _)) in results.iter().zip(&pairs) {
        match result {
            Err(failure) => exit = output::report_failure(failure, exit)?,
            Ok(report) => output::print(report, Some(path))?,
        }
    }
    io::stdout().flush()?;
    Ok(exit)
}

/// Refuses a name for a groove that is one of another format.
fn check_name(path: &Path) -> Result<(), Failure> {
    let sources = formats::SOURCES.iter().flat_map(|f| f.endings.iter().copied());
    let others: Vec<&str> = crate::export::formats::FORMATS.iter().map(|f| f.ending).chain(sources).collect();
    if input::has_extension(path, &others) {
        let wanted = "a name that ends in .toml, or - for standard output";
        return Err(Failure::usage(format!("-o: {}", expected(wanted, path.display()))));
    }
    Ok(())
}
