//! The ladder of the render command: what is said of each step. It must not know how sound is made.

use super::pulse::Heard;
use super::{Exit, Failure, args};
use crate::rhythm::{Fraction, Groove};
use crate::sound::take::{CountIn, Take, ladder};
use crate::sound::{Click, Range};
use crate::words::ladder as climb;

/// The takes of a ladder, with the hearings of full speed, one per step, named by speed and tempo; the notes say where another hearing becomes the first and
/// where the cells become too short to be felt.
pub(super) fn takes(groove: &Groove, ask: &args::Render, asked: &str) -> Result<Vec<Take>, Failure> {
    let speeds = speeds(asked)?;
    let silence = ask.silence.as_deref().map(silence).transpose()?;
    let heard = Heard::new(groove, Fraction::ONE)?;
    let lines = heard.lines("--hearing", &ask.hearing)?;
    let count_in = match ask.hearing.first() {
        Some(first) if ask.click.is_none() => Heard::count_in(heard.hearing("--hearing", first.number)?, 0),
        _ => CountIn::Bar,
    };
    let notes = climb::notes(&heard.report, heard.limits, &speeds);
    let steps = speeds.iter().zip(notes).enumerate();
    let mut takes: Vec<Take> = steps
        .map(|(k, (&speed, note))| Take {
            name: format!("step {} of {}: {}", k + 1, speeds.len(), climb::tempo(groove, speed)),
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
    climb::speeds(words).ok_or_else(|| {
        let words = format!(
            "--ladder is '{words}', allowed is FROM-TO/STEP as 50-100/10: percent from 20 to 200, rising, in at most {} steps",
            climb::STEPS
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
