//! `teeter explain`: explains one groove in full, many as a table or as lines of JSON.

mod json;
mod table;

use super::output::{map_parallel, report_error};
use super::{CliError, Exit, args, input};
use crate::analysis::{self, AnalysisOptions, Carry, Report, Scope};
use crate::describe::{self, visible_json, visible_lines};
use crate::rhythm::Groove;
use std::io::{self, Write};
use std::path::Path;

pub(super) fn run(args: &args::ExplainArgs) -> Result<Exit, CliError> {
    let config = input::listener_limits()?;
    let mut limits = args.listener.cell_limit.unwrap_or(config);
    limits.carry = if args.listener.cold { Carry::Nothing } else { config.carry };
    let inputs = input::groove_files(&args.grooves.files)?;
    let several = inputs.len() > 1;
    let explain = |path: &Path| -> Result<(Groove, Report), CliError> {
        let groove = input::read_groove(path)?;
        let layers = if args.all_layers {
            (0..groove.layers().len()).collect()
        } else {
            input::layer_indices(&groove, &args.layer).map_err(|error| error.in_file(path))?
        };
        let ask = AnalysisOptions { scope: Scope { layers, region: None }, speed: args.speed.value, limits };
        // The table has no column that needs the slower part.
        let short = several && !args.json && !args.full;
        let report = if short { analysis::report(&groove, &ask) } else { analysis::full_report(&groove, &ask) };
        Ok((groove, report))
    };
    let explained = map_parallel(&inputs, |path| explain(path));
    let mut exit = Exit::Success;
    let mut out = io::BufWriter::new(io::stdout().lock());
    let mut rows = Vec::new();
    for (path, result) in inputs.iter().zip(explained) {
        match result {
            Err(error) => exit = report_error(&error, exit)?,
            Ok((groove, report)) if args.json => {
                let value = json::explain(&path.display().to_string(), &groove, &report);
                let line = if several { serde_json::to_string(&value) } else { serde_json::to_string_pretty(&value) };
                writeln!(out, "{}", visible_json(&line.map_err(|e| CliError::new(Exit::Output, e))?))?;
            }
            Ok((groove, report)) if args.full || !several => {
                writeln!(out, "{}", visible_lines(&describe::explain(&groove, &report)))?;
            }
            Ok((groove, report)) => rows.push(table::row(path, &groove, &report)),
        }
    }
    if !rows.is_empty() {
        write!(out, "{}", visible_lines(&table::print(&rows)))?;
    }
    out.flush()?;
    Ok(exit)
}
