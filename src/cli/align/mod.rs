//! `teeter align`: finds where and at what tempo a groove is played in a recording.

mod json;
mod words;

use super::args::AlignArgs;
use super::{CliError, Exit, input, output, recordings};
use crate::describe::visible_lines;
use crate::recording::fit::align::{AlignError, Alignment, ScoreLoop, adopt, align};
use crate::recording::score::{anchors, linear_onsets, score_loop};
use crate::rhythm::{Edit, Groove, Recording, count, expected};
use crate::store::{self, LoadedGroove};
use std::fs;
use std::io::{self, Write};
use std::path::Path;

pub(super) fn run(args: &AlignArgs) -> Result<Exit, CliError> {
    let loaded = load(&args.file, args.write)?;
    let groove = &loaded.groove;
    if let Some(old) = groove.recording().filter(|_| args.write && !args.overwrite) {
        let message = format!("the groove has the recording {}; use --overwrite to replace it", old.file);
        return Err(CliError::new(Exit::Output, message).in_file(&args.file));
    }
    let layers = match args.layer.as_slice() {
        [] => (0..groove.layers().len()).filter(|l| groove.is_audible(*l)).collect(),
        names => input::layer_indices(groove, names)?,
    };
    let score = score_loop(groove, &layers);
    let detected = recordings::detect_onsets(&args.recording, args.threshold.value)?;
    let onsets = linear_onsets(&detected.onsets);
    let hint = args.speed.value.denom() as f64 / args.speed.value.numer() as f64;
    let not_found = |e: AlignError| CliError::new(Exit::BadGroove, e).in_file(&args.recording);
    let mut alignment = align(&score, &onsets, hint).map_err(not_found)?;
    if let Some(number) = args.take {
        let count = alignment.alternatives.len();
        if number > count {
            let wanted = if count == 0 { "no --take".to_owned() } else { format!("a reading from 1 to {count}") };
            return Err(CliError::usage(expected(wanted, number)));
        }
        alignment = adopt(&score, &onsets, &alignment, number - 1).map_err(not_found)?;
    }
    let found = Found { groove, score: &score, alignment: &alignment, detected: &detected };
    let text = if args.json {
        json::alignment(&args.file.to_string_lossy(), &args.recording.to_string_lossy(), &found)
    } else {
        words::alignment(&found)
    };
    io::stdout().lock().write_all(visible_lines(&text).as_bytes())?;
    if args.write {
        let written = write(args, &loaded, &alignment)?;
        output::print_to_stderr(format_args!("{}: {} written", args.file.display(), count(written, "anchor")))?;
    }
    Ok(Exit::Success)
}

/// What was found, with all that its words need.
struct Found<'a> {
    groove: &'a Groove,
    score: &'a ScoreLoop,
    alignment: &'a Alignment,
    detected: &'a crate::recording::detect::DetectedOnsets,
}

impl Found<'_> {
    /// The tempo as played from a bar line on, in the written unit, at so many seconds per score second.
    fn bpm(&self, bar: usize, rate: f64) -> f64 {
        let mut left = bar;
        for s in self.groove.sections() {
            let bars = usize::from(s.bars) * usize::from(s.times);
            if left < bars {
                return s.tempo.bpm().numer() as f64 / s.tempo.bpm().denom() as f64 / rate;
            }
            left -= bars;
        }
        0.0
    }

    /// Mean length of a written beat in score seconds.
    fn beat(&self) -> f64 {
        self.score.length / self.score.beats.len().max(1) as f64
    }
}

fn load(path: &Path, is_written: bool) -> Result<LoadedGroove, CliError> {
    if !input::is_stdin(path) {
        return store::load(path).map_err(|e| CliError::new(Exit::BadGroove, e));
    }
    if is_written {
        return Err(CliError::usage(expected("the name of a groove's file with --write", "standard input")));
    }
    store::parse_bytes(input::read_bytes(path)?, &input::name(path)).map_err(|e| CliError::new(Exit::BadGroove, e))
}

/// Writes the recording and its anchors into the groove's file, and returns the number of anchors.
fn write(args: &AlignArgs, loaded: &LoadedGroove, alignment: &Alignment) -> Result<usize, CliError> {
    let anchors = anchors(alignment);
    let count = anchors.len();
    let file = path_from(&args.file, &args.recording);
    let edit = match loaded.groove.recording() {
        // What else is known of the recording stays.
        Some(old) if old.file == file => Edit::Anchors(anchors),
        _ => Edit::Recording(Some(Recording::new(&file, None).with_anchors(anchors))),
    };
    let failed = |e: &dyn std::fmt::Display| CliError::new(Exit::Output, e).in_file(&args.file);
    let groove = loaded.groove.edited(&edit).map_err(|e| failed(&e))?;
    let text = store::update(&loaded.text, &groove);
    store::save(&args.file, &text, Some(loaded.stamp)).map_err(|e| CliError::new(Exit::Output, e))?;
    Ok(count)
}

/// The path of a recording as a groove's file names it: from the groove's folder if it is in it, otherwise absolute.
fn path_from(groove: &Path, recording: &Path) -> String {
    let absolute = |path: &Path| fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let recording = absolute(recording);
    let groove = absolute(groove);
    let inside = groove.parent().and_then(|folder| recording.strip_prefix(folder).ok());
    inside.unwrap_or(&recording).to_string_lossy().into_owned()
}
