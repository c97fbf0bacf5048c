//! Scores: our exports before the schema and music21. They must not know how a score is written.

use super::{folder, grooves, python, run};
use serde_json::{Value, json};
use std::fs;
use teeter::analysis::{Ask, report};
use teeter::exchange::Piece;
use teeter::exchange::musicxml::{self, Notation};
use teeter::exchange::score::{Beaming, Score};
use teeter::rhythm::{Fraction, Frame, Groove, Time};

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
    let score = Score::of(groove, None, Beaming::Meter).expect("a score");
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
                json!([quarters(n.at), quarters(n.length), n.sound.is_none(), ratio.into_iter().collect::<Vec<_>>()])
            });
            json!({
                "start": quarters(start.expect("bounded")),
                "terms": section.meter.terms(),
                "lower": section.meter.lower(),
                "written": written.collect::<Vec<_>>(),
            })
        });
        let attacks = (0..groove.sections().len()).flat_map(|s| {
            let frame = Frame { swing: None, ..groove.frame(staff.layer, s) };
            let sounds = groove.part(staff.layer, s).sounds(frame);
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
        let report = report(&groove, &Ask::default());
        let piece = Piece { groove: &groove, report: &report, hearings: Vec::new(), section: None };
        let notation = Notation { landings: vec![0], ..Notation::of(&piece) };
        let bytes = musicxml::write(&piece, &notation).unwrap_or_else(|e| panic!("{name}: {e}"));
        fs::write(place.join(format!("{name}.musicxml")), bytes).expect("a file");
        fs::write(place.join(format!("{name}.json")), exact(&groove).to_string()).expect("a file");
    }
    run(&python, "musicxml.py", &[&place.to_string_lossy()]);
}
