//! `teeter search`: lines of groups that are heard with a wanted pulse.

mod print;
mod request;

use super::args::SearchArgs;
use super::{CliError, Exit, input, output};
use crate::analysis::listener::PulseKind;
use crate::analysis::{AnalysisOptions, Carry, Scope, listening};
use crate::describe::{visible_json, visible_lines};
use crate::jobs::{JobControl, OutputFile, write_files};
use crate::rhythm::{Fraction, Groove};
use crate::store;
use crate::variation::probability_of;
use crate::variation::search::figure::Budget;
use crate::variation::search::request::Line;
use print::{Heard, Likeliest, Results};
use request::{Asked, Setting};
use std::io::{self, Write};
use std::path::Path;

pub(super) fn run(args: &SearchArgs) -> Result<Exit, CliError> {
    let setting = Setting::new(args)?;
    let asked = setting.asked(args)?;
    let config = input::listener_limits()?;
    let mut limits = args.listener.cell_limit.unwrap_or(config);
    limits.carry = if args.listener.cold { Carry::Nothing } else { config.carry };
    let layers = if args.all_layers { (0..setting.groove.layers().len()).collect() } else { vec![setting.layer] };
    let scope = Scope { layers, region: setting.region(asked.request.cells()) };
    let options = AnalysisOptions { scope, speed: Fraction::ONE, limits };
    let lines = asked.request.search(args.listen.max(args.top), Budget::default());
    let relaxations = if lines.found.is_empty() { asked.request.relaxations(Budget::default()) } else { Vec::new() };
    let heard = listen(&setting, &asked, &lines.found, &options)?;
    let mut nearest = Vec::new();
    for relaxed in &relaxations {
        let asked = asked.with(&relaxed.request);
        nearest.push(listen(&setting, &asked, &relaxed.found, &options)?);
    }
    let results = Results {
        setting: &setting,
        asked: &asked,
        lines: &lines,
        heard,
        relaxations: relaxations.iter().zip(nearest).collect(),
    };
    let mut out = io::stdout().lock();
    if args.results.json {
        writeln!(out, "{}", visible_json(&results.json(args.top).to_string()))?;
    } else {
        write!(out, "{}", visible_lines(&results.text(args.top)))?;
    }
    out.flush()?;
    if let Some(folder) = &args.results.into {
        let best: Vec<&Heard> = results.heard.iter().take(args.top).collect();
        write(args, folder, &best, asked.request.cells())?;
    }
    if lines.found.is_empty() {
        return Err(CliError::usage(results.no_line()));
    }
    Ok(Exit::Success)
}

/// The lines with what a listener hears, the likeliest for the wanted pulse first.
fn listen(setting: &Setting, asked: &Asked, lines: &[Line], options: &AnalysisOptions) -> Result<Vec<Heard>, CliError> {
    let wanted = setting.wanted(asked);
    let cells = asked.request.cells();
    let ask = |line: &Line| -> Result<Heard, CliError> {
        let groove = setting.with_line(line, cells)?;
        let heard = listening(&groove, options);
        let first = heard.as_ref().and_then(|h| h.hearings.first()).map(|h| {
            let is_unequal = h.main_kind() == PulseKind::Unequal;
            Likeliest { bpm: h.bpm, keeps_written: h.keeps_written(), is_unequal }
        });
        Ok(Heard {
            line: line.clone(),
            groove,
            wanted: heard.as_ref().map_or(0.0, |h| probability_of(h, &wanted)),
            written: heard.as_ref().map(|h| h.written),
            first,
        })
    };
    let mut all = output::map_parallel(lines, ask).into_iter().collect::<Result<Vec<Heard>, _>>()?;
    // Of lines that are equally likely to two decimals the nearer one is first: the sort keeps their order.
    let percent = |h: &Heard| (h.wanted * 100.0).round();
    all.sort_by(|a, b| percent(b).total_cmp(&percent(a)));
    Ok(all)
}

/// Writes lines as grooves into a folder.
fn write(args: &SearchArgs, folder: &Path, heard: &[&Heard], cells: usize) -> Result<(), CliError> {
    let file = |(i, heard): (usize, &&Heard)| {
        let name = format!("search-{:02}.toml", i + 1);
        OutputFile { path: folder.join(name), bytes: store::print(&named(heard, args, cells)).into_bytes() }
    };
    let files: Vec<OutputFile> = heard.iter().enumerate().map(file).collect();
    let count = files.len();
    output::create_folder(folder)?;
    let inputs: Vec<_> = args.file.iter().cloned().collect();
    write_files(files, &inputs, args.results.overwrite.policy(), &JobControl::detached())?;
    output::print_to_stderr(format_args!("written: {count} grooves in {}", folder.display()))?;
    Ok(())
}

/// A groove whose note says what was searched for.
fn named(heard: &Heard, args: &SearchArgs, cells: usize) -> Groove {
    let (groove, pulse) = (&heard.groove, args.pulse.join(", then "));
    let title = if args.file.is_some() { groove.title().to_owned() } else { format!("line for {pulse}") };
    let note = format!("Found by teeter search for the pulse {pulse}: {}.", print::line_text(&heard.line, cells));
    let note = if groove.note().is_empty() { note } else { format!("{}\n{note}", groove.note()) };
    groove.titled(&title, &note)
}
