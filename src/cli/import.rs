//! `teeter import`: imports grooves from files of other programs, many at once.

use super::{CliError, Exit, args, input, output};
use crate::import::formats;
use crate::jobs::{self, JobControl, JobReport, Target};
use crate::rhythm::expected;
use crate::store;
use std::collections::HashSet;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

pub(super) fn run(args: &args::ImportArgs) -> Result<Exit, CliError> {
    let extensions: Vec<&str> = formats::extensions().collect();
    let mut exit = Exit::Success;
    let mut inputs = Vec::new();
    let mut seen = HashSet::new();
    for path in &args.files {
        let found = input::find_files(std::slice::from_ref(path), &extensions);
        if found.is_empty() {
            let (path, formats) = (path.display(), formats::descriptions());
            let message = format!("{path}: nothing to import in this folder; expected {formats}");
            exit = output::report_error(&CliError::new(Exit::BadGroove, message), exit)?;
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
        return Err(CliError::usage(format!("there are {} inputs; use --into FOLDER", inputs.len())));
    }
    let stdout = |_: &Path| PathBuf::from("-");
    let targets = output::targets(&inputs, args.output.as_ref(), args.into.as_ref(), stdout, "toml")?;
    let pairs: Vec<(&PathBuf, &PathBuf)> = inputs.iter().zip(&targets).collect();
    let results = output::map_parallel(&pairs, |(path, target)| -> Result<JobReport, CliError> {
        let control = JobControl::detached();
        let imported = jobs::import(path, args.tolerance, &control)?;
        let text = store::print(&imported.groove).into_bytes();
        let inputs = [(*path).clone()];
        let report = jobs::deliver(&Target::from_arg(target), text, &inputs, args.overwrite.policy(), &control)?;
        Ok(JobReport { notes: imported.warnings, ..report })
    });
    let exit = output::print_results(inputs.iter().zip(results), exit)?;
    io::stdout().flush()?;
    Ok(exit)
}

/// Checks that a groove's file name does not have the extension of another format.
fn check_name(path: &Path) -> Result<(), CliError> {
    let exports = crate::export::formats::FORMATS.iter().map(|f| f.extension);
    let others: Vec<&str> = exports.chain(formats::extensions()).collect();
    if input::has_extension(path, &others) {
        let wanted = "a name that ends in .toml, or - for standard output";
        return Err(CliError::usage(format!("-o: {}", expected(wanted, path.display()))));
    }
    Ok(())
}
