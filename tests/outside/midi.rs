//! MIDI: our files before mido and `pretty_midi`, and files of others before us. They must not know how a file is written.

use super::{folder, grooves, python, run};
use crate::support::in_package;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use teeter::analysis::{AnalysisOptions, Clock, Report, report};
use teeter::export::{self, ExportInput};
use teeter::import;
use teeter::rhythm::{Fraction, Groove, Time};

/// A time in quarters, as a fraction.
fn quarters(t: Time) -> String {
    let q = t.repeated(4).expect("bounded").wholes();
    format!("{}/{}", q.numer(), q.denom())
}

/// Every time through: section, which time, start.
fn throughs(groove: &Groove) -> Vec<(usize, usize, Time)> {
    let mut at = Time::ZERO;
    let mut all = Vec::new();
    for (s, section) in groove.sections().iter().enumerate() {
        for pass in 0..usize::from(section.times) {
            all.push((s, pass, at));
            at = at.plus(section.length()).expect("bounded");
        }
    }
    all
}

/// Onset and end of every attack of a layer, in order.
fn attacks(groove: &Groove, layer: usize) -> Vec<(Time, Time)> {
    let through = throughs(groove);
    let start = |s, pass| through.iter().find(|t| (t.0, t.1) == (s, pass)).expect("a time through").2;
    let events = groove.events(layer).into_iter();
    events
        .map(|e| {
            let at = start(e.section, e.pass).plus(e.offset).expect("bounded");
            (at, at.plus(e.length).expect("bounded"))
        })
        .collect()
}

/// What must be read from a file, from the groove's own times.
fn exact(groove: &Groove, report: &Report, hearings: &[usize]) -> Value {
    let clock = Clock::new(groove);
    let layers = (0..groove.layers().len()).map(|l| {
        let notes = attacks(groove, l).into_iter().map(|(at, end)| json!([quarters(at), quarters(end)]));
        notes.collect::<Vec<_>>()
    });
    let seconds = (0..groove.layers().len()).map(|l| {
        let events = groove.events(l).into_iter();
        events.map(|e| clock.seconds(e.section, e.pass, e.offset).expect("a place")).collect::<Vec<_>>()
    });
    let through = throughs(groove);
    let meters = through.iter().map(|(s, _, start)| {
        let meter = &groove.sections()[*s].meter;
        json!([quarters(*start), meter.terms(), meter.lower()])
    });
    let tempos = through.iter().map(|(s, _, start)| {
        let wholes = groove.sections()[*s].tempo.wholes_per_minute();
        let per_minute = wholes.times(Fraction::whole(4)).expect("bounded");
        json!([quarters(*start), format!("{}/{}", per_minute.numer(), per_minute.denom())])
    });
    let end = clock.total();
    let clicks = hearings.iter().map(|h| {
        let pulses = report.hearings[*h].pulses.iter().copied();
        pulses.filter(|p| *p > -1e-9 && *p < end - 1e-9).collect::<Vec<_>>()
    });
    json!({
        "layers": layers.collect::<Vec<_>>(),
        "seconds": seconds.collect::<Vec<_>>(),
        "meters": meters.collect::<Vec<_>>(),
        "tempos": tempos.collect::<Vec<_>>(),
        "clicks": clicks.collect::<Vec<_>>(),
        "quarters": quarters(groove.length().expect("bounded")),
    })
}

#[test]
fn others_read_our_midi_files_as_they_are() {
    let Some(python) = python() else { return };
    let place = folder("midi");
    for (name, groove) in grooves::shipped().into_iter().chain(grooves::random(500)) {
        let report = report(&groove, &AnalysisOptions::default());
        let hearings: Vec<usize> = (0..report.hearings.len().min(2)).collect();
        let expected = exact(&groove, &report, &hearings);
        let piece = ExportInput { groove: &groove, report: &report, hearings, section: None };
        let bytes =
            export::midi::export(&piece, export::midi::Tracks::Layers).unwrap_or_else(|e| panic!("{name}: {e}"));
        fs::write(place.join(format!("{name}.mid")), bytes).expect("a file");
        fs::write(place.join(format!("{name}.json")), expected.to_string()).expect("a file");
    }
    run(&python, "midi.py", &["out", &place.to_string_lossy()]);
}

/// Every MIDI file that the libraries of the outside checks carry.
fn carried(folder: &Path, found: &mut Vec<PathBuf>) {
    for path in fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()) {
        if path.is_dir() {
            carried(&path, found);
        } else if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("mid") || e.eq_ignore_ascii_case("midi")) {
            found.push(path);
        }
    }
}

#[test]
fn we_read_the_midi_files_of_others_as_others_do() {
    let Some(python) = python() else { return };
    let mut paths = Vec::new();
    carried(&in_package("target/outside/venv/lib"), &mut paths);
    paths.sort();
    assert!(!paths.is_empty(), "the libraries carry MIDI files");
    let rows = paths.iter().map(|path| {
        let bytes = fs::read(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let made = import::midi::import(&bytes);
        let groove = made.as_ref().ok().map(|m| &m.groove);
        let onsets = groove.into_iter().flat_map(|g| (0..g.layers().len()).flat_map(|l| attacks(g, l)));
        let remarks = made.as_ref().ok().into_iter().flat_map(|m| &m.warnings);
        json!({
            "path": path,
            "refused": made.as_ref().err().map(ToString::to_string),
            "onsets": onsets.map(|(at, _)| quarters(at)).collect::<Vec<_>>(),
            "remarks": remarks.map(ToString::to_string).collect::<Vec<_>>(),
        })
    });
    let place = folder("midi-in");
    let file = place.join("read.json");
    fs::write(&file, Value::Array(rows.collect()).to_string()).expect("a file");
    run(&python, "midi.py", &["in", &file.to_string_lossy()]);
}
