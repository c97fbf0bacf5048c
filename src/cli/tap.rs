//! `teeter tap`: analyzes tap times against a groove, as the editor does.

use super::args::TapArgs;
use super::{CliError, Exit, input, output, tap_times};
use crate::analysis::tap::{TapOptions, tap_report};
use crate::analysis::{self, Scope};
use crate::describe::tap::{LineStyle, TapContext, TapOffset, report_lines};
use crate::describe::visible_lines;
use std::fmt::Write as _;
use std::io::{self, Write};

const CALIBRATE: &str = "the editor's command tap-calibrate";

pub(super) fn run(args: &TapArgs) -> Result<Exit, CliError> {
    if input::is_stdin(&args.file) && input::is_stdin(&args.times) {
        return Err(CliError::usage("only one of the two files can be standard input"));
    }
    let limits = input::listener_limits()?;
    let groove = input::read_groove(&args.file).map_err(|error| swapped_arguments(args).unwrap_or(error))?;
    let layers = input::layer_indices(&groove, &args.layer)?;
    let (times, heading) = tap_times::read(&args.times)?;
    if let Some(note) = heading {
        output::print_to_stderr(note)?;
    }
    let scope = Scope { layers, region: None };
    let report = analysis::report(&groove, &analysis::AnalysisOptions { scope, speed: args.speed.value, limits });
    let options = TapOptions {
        speed: report.speed,
        range: (0.0, report.clock.total()),
        offset: args.offset_ms.unwrap_or(0.0) / 1000.0,
    };
    let taps: Vec<f64> = times.iter().map(|t| t * report.speed).collect();
    let offset = args.offset_ms.map_or(TapOffset::Unknown, TapOffset::Set);
    let context = TapContext { options, offset, buffer_ms: None, calibrate: CALIBRATE, over_ssh: false };
    let mut text = String::new();
    for (i, line) in report_lines(&groove, &report, &tap_report(&report, &options, &taps), &context).iter().enumerate()
    {
        if i > 0 && line.style == LineStyle::Heading {
            text.push('\n');
        }
        let _ = writeln!(text, "{:by$}{}", "", line.text, by = line.indent);
    }
    io::stdout().lock().write_all(visible_lines(&text).as_bytes())?;
    Ok(Exit::Success)
}

/// The error for arguments in the wrong order.
fn swapped_arguments(args: &TapArgs) -> Option<CliError> {
    let is_swapped = !input::is_stdin(&args.times) && input::read_groove(&args.times).is_ok();
    let (file, times) = (args.file.display(), args.times.display());
    is_swapped.then(|| CliError::usage(format!("arguments are swapped; try: teeter tap {times} {file}")))
}
