//! The ladder of the render command: what is said of each step. It must not know how sound is made.

use super::{Exit, Failure, args, input};
use crate::describe::ladder as climb;
use crate::rhythm::{Fraction, Groove};
use crate::sound::take::{CountIn, Take};
use crate::sound::{Click, Range};
use crate::terminal::run::takes::{self as shared, Heard};

/// The takes of a ladder, with the hearings of full speed, one per step, named by speed and tempo; the notes say where another hearing becomes the first and
/// where the cells become too short to be felt.
pub(super) fn takes(groove: &Groove, ask: &args::Render, asked: &str) -> Result<Vec<Take>, Failure> {
    let usage = |words: String| Failure::new(Exit::Usage, words);
    let speeds = speeds(asked)?;
    let silence = ask.silence.as_deref().map(silence).transpose()?;
    let heard = Heard::new(groove, Fraction::ONE, input::limits(None)?);
    let lines = heard.lines("--hearing", &ask.hearing).map_err(usage)?;
    let count_in = match ask.hearing.first() {
        Some(first) if ask.click.is_none() => {
            Heard::count_in(heard.hearing("--hearing", first.number).map_err(usage)?, 0)
        }
        _ => CountIn::Bar,
    };
    let like = Take {
        name: String::new(),
        note: String::new(),
        layers: true,
        click: ask.click.unwrap_or(Click::Off),
        lines,
        speed: Fraction::ONE,
        range: Range::Whole,
        times: ask.loops,
        count_in,
        muted_passes: Vec::new(),
    };
    Ok(shared::ladder(groove, &heard, &speeds, silence, &like))
}

/// `FROM-TO/STEP` in percent.
fn speeds(words: &str) -> Result<Vec<Fraction>, Failure> {
    climb::speeds(words).ok_or_else(|| {
        let words = format!(
            "--ladder is '{words}', allowed is FROM-TO/STEP as 50-100/10: percent from 20 to 200, rising, in at most {} steps",
            climb::MAX_STEPS
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
