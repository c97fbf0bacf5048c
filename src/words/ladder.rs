//! What is said of the steps of a ladder: which hearing is the first at each, and where cells get too short to be felt. It must not
//! know how a step sounds.

use super::tempos;
use crate::analysis::{Limits, Report};
use crate::rhythm::{Fraction, Groove, print_note_value};

/// A playing speed in percent with the tempo of the first section at that speed.
pub fn tempo(groove: &Groove, speed: Fraction) -> String {
    let percent = Fraction::whole(100).times(speed).unwrap_or(speed);
    let Some(section) = groove.sections().first() else { return format!("{percent}%") };
    let (bpm, unit) = (section.tempo.bpm(), print_note_value(section.tempo.unit()));
    match bpm.times(speed) {
        Some(bpm) => format!("{percent}%, {unit} = {bpm}"),
        None => format!("{percent}%"),
    }
}

/// What is said of each of some rising speeds, by a report at full speed; empty where a step brings nothing new.
pub fn notes(report: &Report, limits: Limits, speeds: &[Fraction]) -> Vec<String> {
    let (mut first, mut felt) = (None, true);
    let note = |speed: &Fraction| {
        let speed = speed.numer() as f64 / speed.denom() as f64;
        let mut said = Vec::new();
        let turn = report.turns.iter().rev().find(|t| f64::from(t.percent) <= speed * 100.0 + 1e-9);
        if let Some(hearing) = turn.and_then(|t| report.hearings.get(t.hearing)) {
            let number = turn.map_or(0, |t| t.hearing + 1);
            if first.is_none_or(|f| f != number) {
                let change = if first.is_none() { "first" } else { "from here on first" };
                said.push(format!("{change}: {} {} BPM", hearing.kind, tempos(hearing, speed)));
            }
            first = Some(number);
        }
        if let Some(cell) = report.cell_ms.map(|ms| ms / speed).filter(|ms| felt && limits.feel(*ms) <= 0.0) {
            felt = false;
            said.push(format!("cells of {cell:.0} ms are too fast to be felt, the limit is {:.0} ms", limits.cell_ms));
        }
        said.join("; ")
    };
    speeds.iter().map(note).collect()
}
