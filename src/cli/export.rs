//! `teeter export`: exports grooves to other formats, many at once.

use super::{CliError, Exit, args, input, output};
use crate::analysis::Limits;
use crate::export::formats;
use crate::export::picture::PictureKind;
use crate::jobs::{self, Job, JobControl, JobKind, JobReport, PictureStyle, Target};
use std::path::{Path, PathBuf};

/// The format that is printed unless a file is named.
const TEXT: &str = "txt";

const DEFAULT_PICTURE: args::Picture = Some(PictureKind::Grid);

pub(super) fn run(args: &args::ExportArgs) -> Result<Exit, CliError> {
    check_options(args)?;
    let inputs = input::groove_files(&args.grooves.files)?;
    let default = |path: &Path| {
        if input::is_stdin(path) || args.format.extension == TEXT {
            PathBuf::from("-")
        } else {
            path.with_extension(args.format.extension)
        }
    };
    let targets = output::targets(&inputs, args.output.as_ref(), args.into.as_ref(), default, args.format.extension)?;
    let targets: Vec<Target> = targets.iter().map(|path| Target::from_arg(path)).collect();
    if args.format.extension != TEXT {
        targets.iter().try_for_each(output::check_not_terminal)?;
    }
    let limits = input::listener_limits()?;
    let pairs: Vec<(&PathBuf, &Target)> = inputs.iter().zip(&targets).collect();
    let results = output::map_parallel(&pairs, |(path, target)| export(args, path, (*target).clone(), limits));
    output::print_results(inputs.iter().zip(results), Exit::Success)
}

/// Checks that every option given applies to the format.
fn check_options(args: &args::ExportArgs) -> Result<(), CliError> {
    let format = args.format;
    let is_notation = format.is_notation(args.picture.unwrap_or(DEFAULT_PICTURE)) || format.name == "html";
    let pictures = "svg, png and pdf";
    let notation = "notation (musicxml, mxl, html, and svg, png and pdf with --picture notation)";
    let options = [
        ("--picture", args.picture.is_some(), format.is_picture, pictures),
        ("--theme", args.theme.is_some(), format.is_picture, pictures),
        ("--width", args.width.is_some(), format.is_picture, pictures),
        ("--scale", args.scale.is_some(), format.name == "png", "png"),
        ("--hearing", !args.hearings.numbers.is_empty(), format.extension != TEXT, "formats other than txt"),
    ];
    let notation = args.notation.set_options().map(|option| (option, true, is_notation, notation));
    if let Some((option, _, _, formats)) = options.into_iter().chain(notation).find(|o| o.1 && !o.2) {
        return Err(CliError::usage(format!("{option} applies only to {formats}, not to --as {}", format.name)));
    }
    let name = args.output.as_deref().and_then(Path::to_str);
    name.map_or(Ok(()), |name| formats::check_extension(name, format.extension).map_err(CliError::usage))
}

fn export(args: &args::ExportArgs, path: &Path, target: Target, limits: Limits) -> Result<JobReport, CliError> {
    let groove = input::read_groove(path)?;
    let section_index = |name: &String| {
        let names = groove.sections().iter().map(|s| s.name.as_str());
        input::index_of("section", name, names).map_err(|error| error.in_file(path))
    };
    let default = PictureStyle::default();
    let kind = JobKind::Export {
        format: args.format.name,
        picture: args.picture.unwrap_or(DEFAULT_PICTURE),
        section: args.section.as_ref().map(section_index).transpose()?,
        style: PictureStyle {
            theme: args.theme.unwrap_or(default.theme),
            width: args.width.unwrap_or(default.width),
            scale: args.scale,
            notation: args.notation.options(),
        },
    };
    let hearings = args.hearings.selection();
    let job = Job { hearings, ..super::job(groove, path, target, &args.overwrite, limits, kind) };
    jobs::run(&job, &JobControl::detached()).map_err(|e| CliError::of_job(e, path))
}
