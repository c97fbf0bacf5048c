//! The ladder of the render command: what is said of each step. It must not know how sound is made.

use super::pulse::{self, Heard};
use super::{Exit, Failure, args};
use crate::rhythm::{Fraction, Groove, print_note_value};
use crate::sound::take::{CountIn, Take, ladder};
use crate::sound::{Click, FASTEST, Range, SLOWEST};

/// The takes of a ladder, with the hearings of full speed, one per step, named by speed and tempo; the notes say where another hearing becomes the first and
/// where the cells become too short to be felt.
pub(super) fn takes(groove: &Groove, ask: &args::Render, words: &str) -> Result<Vec<Take>, Failure> {
    let speeds = speeds(words)?;
    let silence = ask.silence.as_deref().map(silence).transpose()?;
    let heard = Heard::new(groove, Fraction::ONE)?;
    let lines = heard.lines("--hearing", &ask.hearing)?;
    let count_in = match ask.hearing.first() {
        Some(first) if ask.click.is_none() => Heard::count_in(heard.hearing("--hearing", first.number)?, 0),
        _ => CountIn::Bar,
    };
    let notes = notes(&heard, &speeds);
    let steps = speeds.iter().zip(notes).enumerate();
    let mut takes: Vec<Take> = steps
        .map(|(k, (&speed, note))| Take {
            name: format!("step {} of {}: {}", k + 1, speeds.len(), tempo(groove, speed)),
            note,
            layers: true,
            click: ask.click.unwrap_or(Click::Off),
            lines: lines.clone(),
            speed,
            range: Range::Whole,
            times: ask.loops,
            count_in,
            silences: Vec::new(),
        })
        .collect();
    if let Some(every) = silence {
        ladder::silence(&mut takes, every);
        for take in takes.iter_mut().filter(|t| !t.silences.is_empty()) {
            let numbers: Vec<String> = take.silences.iter().map(|t| (t + 1).to_string()).collect();
            let silent = format!("silent after the opening: time through {}", numbers.join(", "));
            take.note = if take.note.is_empty() { silent } else { format!("{}; {silent}", take.note) };
        }
    }
    Ok(takes)
}

/// `FROM-TO/STEP` in percent.
fn speeds(words: &str) -> Result<Vec<Fraction>, Failure> {
    let bound = |(n, d)| Fraction::new(n, d).unwrap_or(Fraction::ONE);
    let percent = |text: &str| Fraction::parse(text.trim_end_matches('%'))?.over(Fraction::whole(100));
    let read = || {
        let (range, step) = words.split_once('/')?;
        let (from, to) = range.split_once('-')?;
        let (from, to) = (percent(from)?, percent(to)?);
        (from >= bound(SLOWEST) && to <= bound(FASTEST)).then(|| ladder::speeds(from, to, percent(step)?))?
    };
    read().ok_or_else(|| {
        let words = format!(
            "--ladder is '{words}', allowed is FROM-TO/STEP as 50-100/10: percent from 20 to 200, rising, in at most {} steps",
            ladder::STEPS
        );
        Failure::new(Exit::Usage, words)
    })
}

/// `1/N`: every Nth time through is silent.
fn silence(words: &str) -> Result<u32, Failure> {
    let every = words.strip_prefix("1/").and_then(|n| n.parse().ok()).filter(|n| (2..=64).contains(n));
    every.ok_or_else(|| {
        Failure::new(Exit::Usage, format!("--silence is '{words}', allowed is one of so many, from 1/2 to 1/64"))
    })
}

/// Speed and tempo of the first section at that speed.
fn tempo(groove: &Groove, speed: Fraction) -> String {
    let percent = Fraction::whole(100).times(speed).unwrap_or(speed);
    let Some(section) = groove.sections().first() else { return format!("{percent}%") };
    let (bpm, unit) = (section.tempo.bpm(), print_note_value(section.tempo.unit()));
    match bpm.times(speed) {
        Some(bpm) => format!("{percent}%, {unit} = {bpm}"),
        None => format!("{percent}%"),
    }
}

/// What is said of each step.
fn notes(heard: &Heard, speeds: &[Fraction]) -> Vec<String> {
    let (report, limits) = (&heard.report, heard.limits);
    let (mut first, mut felt) = (None, true);
    let note = |speed: &Fraction| {
        let speed = speed.numer() as f64 / speed.denom() as f64;
        let mut said = Vec::new();
        let turn = report.turns.iter().rev().find(|t| f64::from(t.percent) <= speed * 100.0 + 1e-9);
        if let Some(hearing) = turn.and_then(|t| report.hearings.get(t.hearing)) {
            let number = turn.map_or(0, |t| t.hearing + 1);
            if first.is_none_or(|f| f != number) {
                let change = if first.is_none() { "first" } else { "from here on first" };
                said.push(format!("{change}: {}", pulse::words(hearing, speed)));
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
