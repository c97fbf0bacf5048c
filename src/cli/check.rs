//! `teeter check`: reads grooves and reports every error.

use super::{CliError, Exit, args, input, output};
use crate::describe::visible;
use std::io::{self, Write};

pub(super) fn run(args: &args::CheckArgs) -> Result<Exit, CliError> {
    let mut exit = Exit::Success;
    for path in input::groove_files(&args.grooves.files)? {
        match input::read_groove(&path) {
            Ok(groove) => {
                let (layers, sections) = (groove.layers().len(), groove.sections().len());
                let (path_shown, title) = (path.display(), groove.title());
                let line = format!("{path_shown}: ok: {title} (layers: {layers}, sections: {sections})");
                writeln!(io::stdout().lock(), "{}", visible(&line))?;
                // A missing sample is only a warning: the layer plays its voice.
                input::check_samples(&groove, &path, &args.outside)?;
            }
            Err(error) => exit = output::report_error(&error, exit)?,
        }
    }
    Ok(exit)
}
