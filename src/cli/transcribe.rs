//! `teeter transcribe`: writes the attacks of a recording as a groove.

use super::align::path_from;
use super::args::TranscribeArgs;
use super::{CliError, Exit, output, propose, recordings};
use crate::jobs::grid::words;
use crate::jobs::{self, JobControl, Target, file_fingerprint};
use crate::recording::fit;
use crate::recording::fit::follow::follow_beats;
use crate::recording::fit::propose::propose;
use crate::recording::fit::transcribe::Accent;
use crate::recording::grid::Grid;
use crate::recording::grid::beats::divisions;
use crate::recording::grid::transcription::{self, Accents, Reading, Transcribed};
use crate::recording::score::linear_onsets;
use crate::rhythm::{Edit, Groove, Meter, Recording, Tempo, expected};
use crate::store;
use serde_json::json;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Version of the JSON: raised when a key goes or changes its meaning.
const SCHEMA: u32 = 1;

pub(super) fn run(args: &TranscribeArgs) -> Result<Exit, CliError> {
    let detected = recordings::detect_onsets(&args.recording, args.threshold.value, true)?;
    let onsets = linear_onsets(&detected.onsets);
    let failed = |e: &dyn std::fmt::Display| CliError::new(Exit::BadGroove, e).in_file(&args.recording);
    let grid = grid(args, &onsets)?;
    let groove = Groove::blank(grid.meter.clone(), grid.tempo, 1).map_err(|e| failed(&e))?;
    let target = args.output.clone().or_else(|| (!args.json).then(|| PathBuf::from("-")));
    let named = target.clone().filter(|t| t.as_os_str() != "-").unwrap_or_else(|| PathBuf::from("groove.toml"));
    let recording = Recording::new(&path_from(&named, &args.recording), file_fingerprint(&args.recording));
    let titled = Edit::Title(store::title_of(&args.recording));
    let groove = groove.edited(&titled).and_then(|g| g.edited(&Edit::Recording(Some(recording))));
    let groove = groove.and_then(|groove| grid.laid(&groove)).map_err(|e| failed(&e))?;
    let layers = if args.one_layer { transcription::Target::Layer(0) } else { transcription::Target::NewLayers };
    let accents = if args.accents { Accents::Suggested } else { Accents::Plain };
    let reading = Reading::new(&groove, &onsets, layers)
        .ok_or_else(|| failed(&"expected a beat within the recording, found none"))?;
    let transcribed = reading.written(&groove, layers, accents).map_err(|e| failed(&e))?;
    if args.json {
        io::stdout().lock().write_all(json(&args.recording.to_string_lossy(), &transcribed, &onsets).as_bytes())?;
    } else {
        words::transcription(&transcribed).iter().try_for_each(output::print_to_stderr)?;
    }
    if let Some(path) = target {
        write(args, &path, &transcribed.groove)?;
    }
    Ok(Exit::Success)
}

/// The grid of a proposal, or of the tempo and the first beat.
fn grid(args: &TranscribeArgs, onsets: &[fit::Onset]) -> Result<Grid, CliError> {
    let none = |what: &str| CliError::new(Exit::BadGroove, what).in_file(&args.recording);
    let (Some(first_onset), Some(last)) = (onsets.first(), onsets.last()) else {
        return Err(none("expected onsets, found none"));
    };
    if let Some(number) = args.proposal {
        let list = propose(onsets, propose::excerpt(args.excerpt.is_excerpt)).list;
        let Some(proposal) = list.get(number - 1) else {
            let wanted = if list.is_empty() {
                "no --proposal".to_owned()
            } else {
                format!("a proposal from 1 to {}", list.len())
            };
            return Err(CliError::usage(expected(wanted, number)));
        };
        return Grid::of_proposal(proposal, first_onset.seconds).ok_or_else(|| none("this proposal has no bar line"));
    }
    let four = || Meter::parse("4/4").ok();
    let given = args.tempo.zip(args.first).zip(args.meter.clone().or_else(four));
    let ((tempo, first), meter) =
        given.ok_or_else(|| CliError::usage("expected --tempo and --first, or --proposal"))?;
    let beats = followed(onsets, &meter, tempo, first, last.seconds);
    Ok(Grid::of_beats(meter, tempo, &beats))
}

/// The beats of a tempo from the first bar line on through all onsets, as these keep to it.
fn followed(onsets: &[fit::Onset], meter: &Meter, tempo: Tempo, first: f64, last: f64) -> Vec<f64> {
    let wholes = meter.beat().wholes();
    let per_minute = tempo.wholes_per_minute();
    let period =
        60.0 * wholes.numer() as f64 / wholes.denom() as f64 * per_minute.denom() as f64 / per_minute.numer() as f64;
    let count = ((last - first) / period).max(0.0).floor() as usize + 1;
    let whole_bars = count.div_ceil(meter.beats()) * meter.beats();
    follow_beats(onsets, first, period, whole_bars, divisions(meter.kind()))
}

fn write(args: &TranscribeArgs, path: &Path, groove: &Groove) -> Result<(), CliError> {
    if !(path.as_os_str() == "-" || path.extension().is_some_and(|e| e == "toml")) {
        let wanted = "a name that ends in .toml, or - for standard output";
        return Err(CliError::usage(format!("-o: {}", expected(wanted, path.display()))));
    }
    let inputs = [args.recording.clone()];
    let (text, control) = (store::print(groove).into_bytes(), JobControl::detached());
    let report = jobs::deliver(&Target::from_arg(path), text, &inputs, args.overwrite.policy(), &control)?;
    Ok(output::print(&report, None)?)
}

fn accent_name(accent: Accent) -> &'static str {
    match accent {
        Accent::Ghost => "ghost",
        Accent::Plain => "plain",
        Accent::Accent => "accent",
    }
}

fn json(recording: &str, transcribed: &Transcribed, onsets: &[fit::Onset]) -> String {
    let round = |x: f64| (x * 1e6).round() / 1e6;
    let layers = transcribed.layers.iter().map(|layer| {
        let attacks = layer.attacks.iter().map(|a| {
            json!({
                "seconds": round(onsets[a.onset].seconds),
                "beat": round(a.beat + 1.0),
                "deviation_ms": round(1000.0 * a.deviation),
                "accent": accent_name(a.accent),
            })
        });
        json!({ "name": layer.name, "attacks": attacks.collect::<Vec<_>>() })
    });
    let anchors = transcribed.groove.recording().map_or(&[][..], |r| r.anchors());
    let value = json!({
        "schema": SCHEMA,
        "recording": recording,
        "deviation_ms": round(1000.0 * transcribed.sigma),
        "outside": transcribed.outside,
        "layers": layers.collect::<Vec<_>>(),
        "bar_lines": anchors.iter().map(|a| a.at.0 as f64 * 1e-6).collect::<Vec<_>>(),
    });
    format!("{value}\n")
}
