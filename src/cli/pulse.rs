//! Pulses that click, as words name them: the written beat and the hearings of a report. It must not know how a click sounds.

use crate::sound::Click;
use crate::terminal::run::takes::Pulse;

/// How a pulse clicks: `beat`, `off-beat`, or 2 to 4 clicks.
pub(super) fn click(word: &str) -> Result<Click, String> {
    match word {
        "beat" => Ok(Click::Written),
        "off-beat" => Ok(Click::OffBeat),
        "2" | "3" | "4" => Ok(Click::Divided(word.as_bytes()[0] - b'0')),
        _ => Err("allowed are: beat, off-beat, 2, 3, 4".into()),
    }
}

/// A hearing by its number, with how it clicks: `1`, `1/2`, `1/off-beat`.
pub(super) fn hearing(word: &str) -> Result<Pulse, String> {
    let (number, click) = match word.split_once('/') {
        Some((number, how)) => (number, click(how).ok().filter(|c| *c != Click::Written)),
        None => (word, Some(Click::Written)),
    };
    match (number.parse(), click) {
        (Ok(number @ 1..), Some(click)) => Ok(Pulse { number, click }),
        _ => Err("allowed is a number from 1, or one cut as 1/2, 1/3, 1/4 or 1/off-beat".into()),
    }
}

/// A pulse: the written beat, also cut as `beat/2` or `beat/off-beat`, or a hearing.
pub(super) fn pulse(word: &str) -> Result<Pulse, String> {
    let beat = match word.strip_prefix("beat") {
        Some("") => Some(Click::Written),
        Some(how) => how.strip_prefix('/').and_then(|h| click(h).ok()).filter(|c| *c != Click::Written),
        None => return hearing(word).map_err(|words| format!("{words}, or beat, beat/2 and so on")),
    };
    beat.map(|click| Pulse { number: 0, click }).ok_or_else(|| "allowed are: beat, beat/2 to 4, beat/off-beat".into())
}
