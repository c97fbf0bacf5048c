//! `teeter handout`: makes handouts, a page per groove.

use super::{CliError, Exit, args, input, output};
use crate::analysis::Limits;
use crate::export::handout::stem;
use crate::jobs::{self, HandoutFormat, Job, JobKind, JobReport, OutsideSounds, TakeSound, Target};
use std::path::{Path, PathBuf};

pub(super) fn run(args: &args::HandoutArgs) -> Result<Exit, CliError> {
    let inputs = input::groove_files(&args.grooves.files)?;
    let format = match (args.format, args.paper) {
        (HandoutFormat::Pdf(_), Some(paper)) => HandoutFormat::Pdf(paper),
        (format, None) => format,
        (format, Some(_)) => {
            let message = format!("--paper applies only to pdf, not to --as {}", format.extension());
            return Err(CliError::usage(message));
        }
    };
    // The files of a page begin with the page's name, so pages of different names share no file.
    let page = |path: &PathBuf| {
        let name = if input::is_stdin(path) { Path::new("groove") } else { path };
        let stem = stem(&name.file_stem().unwrap_or_default().to_string_lossy());
        args.into.join(format!("{stem}.{}", format.extension()))
    };
    let pages: Vec<PathBuf> = inputs.iter().map(page).collect();
    output::check_distinct(&inputs, &pages)?;
    output::create_folder(&args.into)?;
    let limits = input::listener_limits()?;
    let results = inputs.iter().zip(pages).map(|(path, page)| (path, handout(args, format, path, page, limits)));
    output::print_results(results, Exit::Success)
}

fn handout(
    args: &args::HandoutArgs,
    format: HandoutFormat,
    path: &Path,
    page: PathBuf,
    limits: Limits,
) -> Result<JobReport, CliError> {
    let groove = input::read_groove(path)?;
    let outside = match args.sound {
        TakeSound::None => OutsideSounds::default(),
        _ => input::outside_sounds(&groove, path, &args.outside)?,
    };
    let kind = JobKind::Handout { format, sound: args.sound, notation: args.notation.options() };
    let (hearings, rate) = (args.hearings.selection(), args.rate);
    let job = super::job(groove, path, Target::File(page), &args.overwrite, limits, kind);
    let job = Job { outside, hearings, rate, ..job };
    jobs::run(&job, &output::progress_control()).map_err(|e| CliError::of_job(e, path))
}
