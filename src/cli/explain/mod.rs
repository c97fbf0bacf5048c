//! `teeter explain`: explains one groove in full, many as a table or as lines of JSON.

mod condition;
mod facts;
mod json;
mod table;

use super::output::{map_parallel, report_error};
use super::{CliError, Exit, args, input};
use crate::analysis::{self, AnalysisOptions, Carry, Limits, Report, Scope};
use crate::describe::{self, visible, visible_json, visible_lines};
use crate::rhythm::Groove;
use condition::{Condition, Quantity};
use facts::Facts;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

pub(super) fn run(args: &args::ExplainArgs) -> Result<Exit, CliError> {
    let config = input::listener_limits()?;
    let mut limits = args.listener.cell_limit.unwrap_or(config);
    limits.carry = if args.listener.cold { Carry::Nothing } else { config.carry };
    let inputs = input::groove_files(&args.grooves.files)?;
    let several = inputs.len() > 1;
    if let Some(condition) = &args.condition {
        let condition = Condition::parse(condition).map_err(|error| CliError::usage(format!("--where: {error}")))?;
        return list(args, &inputs, &condition, limits);
    }
    let explain = |path: &Path| -> Result<(Groove, Report), CliError> {
        let (groove, ask) = read(args, path, limits)?;
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

/// A groove with what is asked about it.
fn read(args: &args::ExplainArgs, path: &Path, limits: Limits) -> Result<(Groove, AnalysisOptions), CliError> {
    let groove = input::read_groove(path)?;
    let layers = if args.all_layers {
        (0..groove.layers().len()).collect()
    } else {
        input::layer_indices(&groove, &args.layer).map_err(|error| error.in_file(path))?
    };
    Ok((groove, AnalysisOptions { scope: Scope { layers, region: None }, speed: args.speed.value, limits }))
}

/// A groove that fulfils a condition.
struct Match {
    title: String,
    /// The numbers that the condition is about.
    numbers: Vec<(Quantity, Vec<f64>)>,
    /// The explanation, if it is asked for.
    full: Option<String>,
}

/// Lists the grooves that fulfil a condition.
fn list(args: &args::ExplainArgs, inputs: &[PathBuf], condition: &Condition, limits: Limits) -> Result<Exit, CliError> {
    let mut quantities = Vec::new();
    condition.quantities(&mut quantities);
    let found = map_parallel(inputs, |path| -> Result<Option<Match>, CliError> {
        let (groove, ask) = read(args, path, limits)?;
        let facts = Facts::new(&groove, &ask);
        Ok(condition.holds(&facts).then(|| Match {
            title: groove.title().to_owned(),
            numbers: quantities.iter().map(|q| (*q, facts.numbers(*q))).collect(),
            full: args.full.then(|| describe::explain(&groove, &analysis::full_report(&groove, &ask))),
        }))
    });
    let mut exit = Exit::Success;
    let mut out = io::BufWriter::new(io::stdout().lock());
    let (mut count, all) = (0, inputs.len());
    for (path, result) in inputs.iter().zip(found) {
        match result {
            Err(error) => exit = report_error(&error, exit)?,
            Ok(None) => {}
            Ok(Some(found)) => {
                count += 1;
                if args.json {
                    writeln!(out, "{}", visible_json(&json::found(&path.display().to_string(), &found).to_string()))?;
                } else if let Some(full) = &found.full {
                    writeln!(out, "{}", visible_lines(full))?;
                } else {
                    let texts = found.numbers.iter().flat_map(|(q, all)| all.iter().map(|x| q.text(*x)));
                    let texts: Vec<String> = std::iter::once(found.title.clone()).chain(texts).collect();
                    writeln!(out, "{}", visible(&format!("{}: {}", path.display(), texts.join(", "))))?;
                }
            }
        }
    }
    out.flush()?;
    super::output::print_to_stderr(format_args!("{count} of {all} grooves match"))?;
    Ok(exit)
}
