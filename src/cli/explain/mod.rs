//! The command that explains grooves: one in full, many as a table or as lines of JSON. It must not know how a report is made.

mod json;
mod table;

use super::export::report;
use super::{Exit, Failure, args, input};
use crate::analysis::{self, Ask, Report, Scope};
use crate::rhythm::Groove;
use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// One groove explained, or why not.
type Explained = Result<(Groove, Report), Failure>;

pub(super) fn run(ask: &args::Explain) -> Result<Exit, Failure> {
    let speed = input::speed(&ask.speed)?;
    let limits = input::limits(ask.cell_limit)?;
    let named = input::named(&ask.files);
    if named.is_empty() {
        return Err(Failure::new(Exit::BadGroove, "there is no groove (no .toml file) in what was named"));
    }
    let explain = |path: &Path| -> Explained {
        let groove = input::read(path).map_err(|words| Failure::new(Exit::BadGroove, words))?;
        let layers = if ask.all_layers {
            (0..groove.layers().len()).filter(|l| groove.heard(*l)).collect()
        } else {
            let wrong = |words| Failure::new(Exit::Usage, format!("{}: {words}", path.display()));
            input::layers(&groove, &ask.layer).map_err(wrong)?
        };
        let ask = Ask { scope: Scope { layers, region: None }, speed, limits };
        let report = analysis::report(&groove, &ask);
        Ok((groove, report))
    };
    let several = named.len() > 1;
    let explained = on_all_cores(&named, |file| explain(&file.path));
    let mut exit = Exit::Good;
    let mut out = io::BufWriter::new(io::stdout().lock());
    let mut rows = Vec::new();
    for (file, result) in named.iter().zip(explained) {
        match result {
            Err(failure) => exit = report(&failure, exit)?,
            Ok((groove, report)) if ask.json => {
                let value = json::explain(&file.path.display().to_string(), &groove, &report);
                let line = if several { serde_json::to_string(&value) } else { serde_json::to_string_pretty(&value) };
                writeln!(out, "{}", line.map_err(|e| Failure::new(Exit::Output, e))?)?;
            }
            Ok((groove, report)) if ask.full || !several => {
                writeln!(out, "{}", crate::describe::explain(&groove, &report))?;
            }
            Ok((groove, report)) => rows.push(table::row(&file.path, &groove, &report)),
        }
    }
    if !rows.is_empty() {
        write!(out, "{}", table::print(&rows))?;
    }
    out.flush()?;
    Ok(exit)
}

/// Does the work for every item on all cores, results in the items' order; a bar on standard error shows how far it is when
/// that is a terminal and there is more than a handful.
pub(in crate::cli) fn on_all_cores<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from).min(items.len());
    if cores < 2 {
        return items.iter().map(work).collect();
    }
    let bar = if items.len() > 8 && io::stderr().is_terminal() {
        indicatif::ProgressBar::new(items.len() as u64)
    } else {
        indicatif::ProgressBar::hidden()
    };
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<(usize, R)>> = Mutex::new(Vec::with_capacity(items.len()));
    std::thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                while let Some((i, item)) =
                    Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|i| Some((i, items.get(i)?)))
                {
                    let result = work(item);
                    bar.inc(1);
                    done.lock().unwrap_or_else(std::sync::PoisonError::into_inner).push((i, result));
                }
            });
        }
    });
    bar.finish_and_clear();
    let mut done = done.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    done.sort_by_key(|(i, _)| *i);
    done.into_iter().map(|(_, r)| r).collect()
}
