//! Scores: our exports before the schema and music21. They must not know how a score is written.

use super::{folder, grooves, print_totals, python, run};
use crate::support::in_package;
use serde_json::{Value, json};
use std::fs;
use std::path::PathBuf;
use teeter::analysis::{AnalysisOptions, Report, report};
use teeter::export::ExportInput;
use teeter::export::annotations::{KitStaves, NotationOptions, Text};
use teeter::export::musicxml::write;
use teeter::import::musicxml;
use teeter::notation::{Beaming, Score};
use teeter::rhythm::{Edit, Fraction, Groove, PartContext, Time, Voice};

/// A time in quarters, as a fraction.
fn quarters(t: Time) -> String {
    let q = t.repeated(4).expect("bounded").wholes();
    format!("{}/{}", q.numer(), q.denom())
}

fn less(a: Time, b: Time) -> Time {
    a.minus(b).expect("bounded")
}

/// What must be read from a score: from the groove's own times, and the values it is spelled in.
fn exact(groove: &Groove) -> Value {
    let score = Score::spell(groove, None, Beaming::Meter).expect("a score");
    let mut starts = Vec::new();
    let mut at = Time::ZERO;
    for section in groove.sections() {
        starts.push(at);
        at = at.plus(section.length()).expect("bounded");
    }
    let parts = score.staves.iter().map(|staff| {
        let bars = staff.bars.iter().map(|bar| {
            let section = &groove.sections()[bar.section];
            let start = section.meter.bar().repeated(bar.number).and_then(|t| t.plus(starts[bar.section]));
            let written = bar.notes.iter().map(|n| {
                let ratio = n.tuplet.map(|t| json!([bar.tuplets[t].actual, bar.tuplets[t].normal]));
                json!([quarters(n.start), quarters(n.length), n.sound.is_none(), ratio.into_iter().collect::<Vec<_>>()])
            });
            json!({
                "start": quarters(start.expect("bounded")),
                "terms": section.meter.terms(),
                "lower": section.meter.lower(),
                "written": written.collect::<Vec<_>>(),
            })
        });
        let attacks = (0..groove.sections().len()).flat_map(|s| {
            let context = PartContext { swing: None, ..groove.context(staff.layer, s) };
            let sounds = groove.part(staff.layer, s).attacks(context);
            let start = starts[s];
            sounds
                .into_iter()
                .map(move |x| json!([quarters(x.start.plus(start).expect("bounded")), quarters(less(x.end, x.start))]))
        });
        json!({ "bars": bars.collect::<Vec<_>>(), "attacks": attacks.collect::<Vec<_>>() })
    });
    let mut tempos = Vec::new();
    for (s, section) in groove.sections().iter().enumerate() {
        if s == 0 || groove.sections()[s - 1].tempo != section.tempo {
            let q = section.tempo.wholes_per_minute().times(Fraction::whole(4)).expect("bounded");
            tempos.push(q.numer() as f64 / q.denom() as f64);
        }
    }
    json!({ "parts": parts.collect::<Vec<_>>(), "quarters_per_minute": tempos })
}

#[test]
fn others_read_our_scores_as_they_are() {
    let Some(python) = python() else { return };
    let place = folder("musicxml");
    for (name, groove) in grooves::shipped().into_iter().chain(grooves::random(500)) {
        let report = report(&groove, &AnalysisOptions::default());
        let piece = ExportInput { groove: &groove, report: &report, hearings: Vec::new(), section: None };
        let under = Text::parse("landings").expect("a text");
        let mut bytes = Vec::new();
        let options = NotationOptions { under, kit: KitStaves::Separate, ..NotationOptions::default() };
        write(&piece, &options, &mut bytes).unwrap_or_else(|e| panic!("{name}: {e:?}"));
        fs::write(place.join(format!("{name}.musicxml")), bytes).expect("a file");
        fs::write(place.join(format!("{name}.json")), exact(&groove).to_string()).expect("a file");
    }
    run(&python, "musicxml.py", &[&place.to_string_lossy()]);
}

/// The onset of every attack in the order of the document, in quarters, with the name of its layer.
fn onsets(groove: &Groove) -> Value {
    let mut all = Vec::new();
    for (l, layer) in groove.layers().iter().enumerate() {
        let mut start = Time::ZERO;
        for (s, section) in groove.sections().iter().enumerate() {
            let context = PartContext { swing: None, ..groove.context(l, s) };
            let attacks = groove.part(l, s).attacks(context);
            all.extend(attacks.iter().map(|x| json!([quarters(x.start.plus(start).expect("bounded")), layer.name])));
            start = start.plus(section.length()).expect("bounded");
        }
    }
    Value::from(all)
}

#[test]
fn others_hear_every_drum_of_a_shared_staff() {
    let Some(python) = python() else { return };
    let place = folder("musicxml-shared");
    let drums = [Voice::Hat, Voice::Kick, Voice::Snare];
    let as_drums = |(name, groove): (String, Groove)| {
        let voices = drums.iter().enumerate().take(groove.layers().len());
        let edit = |g: Groove, (l, v): (usize, &Voice)| g.edited(&Edit::Voice(l, *v)).unwrap_or(g);
        (name, voices.fold(groove, edit))
    };
    let mut shared = 0;
    for (name, groove) in grooves::shipped().into_iter().chain(grooves::random(200).into_iter().map(as_drums)) {
        let report = Report::default();
        let piece = ExportInput { groove: &groove, report: &report, hearings: Vec::new(), section: None };
        let mut bytes = Vec::new();
        write(&piece, &NotationOptions::default(), &mut bytes).unwrap_or_else(|e| panic!("{name}: {e:?}"));
        let text = String::from_utf8(bytes).expect("text");
        if !text.contains("<instrument id") {
            continue;
        }
        shared += 1;
        fs::write(place.join(format!("{name}.musicxml")), text).expect("a file");
        fs::write(place.join(format!("{name}.json")), json!({ "onsets": onsets(&groove) }).to_string())
            .expect("a file");
    }
    assert!(shared > 50, "{shared} scores have a shared staff");
    run(&python, "musicxml.py", &[&place.to_string_lossy()]);
}

/// The scores that music21 carries: its test suite, and pieces with tuplets and changing meters.
fn carried() -> Vec<PathBuf> {
    let place = in_package("target/outside/venv/lib");
    let library =
        fs::read_dir(&place).expect("the environment").flatten().map(|e| e.path().join("site-packages/music21"));
    let library = library.into_iter().find(|p| p.is_dir()).expect("music21");
    let list = |folder: &str, wanted: &dyn Fn(&str) -> bool| -> Vec<PathBuf> {
        let entries = fs::read_dir(library.join(folder)).unwrap_or_else(|e| panic!("{folder}: {e}"));
        let paths = entries.flatten().map(|e| e.path());
        paths.filter(|p| wanted(&p.file_name().unwrap_or_default().to_string_lossy())).collect()
    };
    let is_score = |n: &str| [".xml", ".mxl", ".musicxml"].iter().any(|e| n.ends_with(e));
    let mut all = list("musicxml/lilypondTestSuite", &is_score);
    all.extend(list("corpus/demos", &is_score));
    all.extend(list("corpus/trecento", &|n| {
        ["PMFC_12_11a", "PMFC_12_11b", "PMFC_12_10b"].iter().any(|w| n.starts_with(w))
    }));
    for path in [
        "cpebach/h186.mxl",
        "weber/concertino_clarinet.mxl",
        "beethoven/opus18no1/movement4.mxl",
        "beethoven/opus59no1/movement3.mxl",
    ] {
        all.push(library.join("corpus").join(path));
    }
    all.sort();
    all
}

/// Every attack of a groove, from its start, in quarters.
fn attacks(groove: &Groove) -> Vec<(Time, Time)> {
    let mut starts = vec![Time::ZERO];
    for s in groove.sections() {
        let whole = s.length().repeated(usize::from(s.times)).expect("bounded");
        starts.push(starts.last().and_then(|t| t.plus(whole)).expect("bounded"));
    }
    let events = (0..groove.layers().len()).flat_map(|l| groove.events(l));
    let times = events.map(|e| {
        let pass = groove.sections()[e.section].length().repeated(e.pass);
        let start = pass.and_then(|t| t.plus(starts[e.section])).and_then(|t| t.plus(e.offset));
        (start.expect("bounded"), e.length)
    });
    let mut all: Vec<(Time, Time)> = times.collect();
    all.sort();
    all
}

#[test]
fn we_read_the_scores_of_others_as_others_do() {
    let Some(python) = python() else { return };
    let (mut rows, mut grooves, mut moved, mut repeated) = (Vec::new(), 0, Vec::new(), 0);
    for path in carried() {
        let bytes = fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let (written, imported) = (musicxml::read_document(&bytes), musicxml::read(&bytes));
        let mut refused = None;
        match (&written, &imported) {
            (Ok(written), Ok(imported)) => {
                grooves += 1;
                // Where no repeat is written out, the groove has the attacks as they are written.
                if written.measures.iter().any(|m| m.repeat_count.is_some() || !m.endings.is_empty()) {
                    repeated += 1;
                } else {
                    let mut starts = vec![Time::ZERO];
                    for m in &written.measures {
                        starts.push(starts.last().and_then(|t| t.plus(m.length)).expect("bounded"));
                    }
                    let notes = written.parts.iter().flat_map(|p| &p.notes);
                    let mut expected: Vec<(Time, Time)> = notes
                        .filter(|n| n.length > Time::ZERO)
                        .map(|n| (starts[n.measure].plus(n.start).expect("bounded"), n.length))
                        .collect();
                    expected.sort();
                    let found = attacks(&imported.groove);
                    if found != expected {
                        let onsets = |all: &[(Time, Time)]| all.iter().map(|a| a.0).collect::<Vec<_>>();
                        let what = if onsets(&found) == onsets(&expected) { "lengths" } else { "onsets" };
                        // What was left out of the notes (grace notes) is in neither; only a cut or a move explains this.
                        let said = imported.warnings.iter().find(|r| r.contains("cut ") || r.contains("moved by"));
                        moved.push(format!(
                            "{name}: {what}: {}",
                            said.map_or("WITHOUT A REMARK".into(), ToString::to_string)
                        ));
                    }
                }
            }
            (_, Err(e)) | (Err(e), _) => refused = Some(e.to_string()),
        }
        let notes = written.iter().flat_map(|w| &w.parts).flat_map(|p| &p.notes).filter(|n| n.length > Time::ZERO);
        let attacks =
            notes.map(|n| json!([n.measure, quarters(n.start), quarters(n.length), n.key])).collect::<Vec<_>>();
        rows.push(json!({ "path": path, "refused": refused, "attacks": attacks }));
    }
    print_totals(&format!(
        "of {grooves} grooves made, {repeated} have repeats written out, {} hold something otherwise than written:\n{}",
        moved.len(),
        moved.join("\n")
    ));
    assert!(moved.iter().all(|m| !m.contains("WITHOUT")), "something was changed in silence");
    let list = folder("musicxml-in").join("scores.json");
    fs::write(&list, Value::from(rows).to_string()).expect("a file");
    run(&python, "musicxml_in.py", &[&list.to_string_lossy()]);
}
