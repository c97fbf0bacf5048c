//! `teeter handout`: makes handouts, a page per groove.

use super::{Exit, Failure, args, input, output};
use crate::export::handout::stem;
use crate::jobs::{self, HandoutFormat, Job, JobControl, JobKind, JobReport, TakeSound, Target};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Makes a handout of every groove; those that fail are reported, and the others still written.
pub(super) fn run(args: &args::HandoutArgs) -> Result<Exit, Failure> {
    let inputs = input::grooves(&args.files)?;
    // The files of a page begin with the page's name, so pages of different names share no file.
    let page = |path: &PathBuf| {
        let name = if path.as_os_str() == "-" { Path::new("groove") } else { path };
        args.into.join(format!("{}.{}", stem(&name.file_stem().unwrap_or_default().to_string_lossy()), args.format))
    };
    let pages: Vec<PathBuf> = inputs.iter().map(page).collect();
    output::distinct(&inputs, &pages)?;
    output::create_folder(&args.into)?;
    let control = output::with_progress();
    let mut exit = Exit::Good;
    for (path, page) in inputs.iter().zip(pages) {
        match make(args, path, page, &control) {
            Err(failure) => exit = output::report_failure(&failure, exit)?,
            Ok(report) => output::print(&report, Some(path))?,
        }
    }
    Ok(exit)
}

fn make(args: &args::HandoutArgs, path: &Path, page: PathBuf, control: &JobControl) -> Result<JobReport, Failure> {
    let job = Job {
        groove: Arc::new(input::read(path)?),
        file: input::file_of(path),
        target: Target::File(page),
        overwrite: args.overwrite.policy(),
        limits: input::limits(None)?,
        layers: Vec::new(),
        hearings: args.hearings.selection(),
        rate: args.rate,
        kind: JobKind::Handout {
            format: if args.format == "md" { HandoutFormat::Markdown } else { HandoutFormat::Html },
            sound: match args.sound.as_str() {
                "none" => TakeSound::None,
                "within" => TakeSound::Embedded,
                _ => TakeSound::Files,
            },
            notation: args.notation.options(),
        },
    };
    jobs::run(&job, control).map_err(|e| Failure::of_job(e, path))
}
