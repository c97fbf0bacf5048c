//! Parses the arguments that name pulses, takes and ladders.

use super::args::Speeds;
use crate::describe::ladder as describe_ladder;
use crate::jobs::{PulseSpec, TakeSpec};
use crate::sound::Click;

/// How the written beat clicks: `beat`, `strong`, `off-beat`, or 2 to 4 clicks per beat.
pub(super) fn click(word: &str) -> Result<Click, String> {
    match word {
        "beat" => Ok(Click::Written),
        "strong" => Ok(Click::Strong),
        "off-beat" => Ok(Click::OffBeat),
        "2" | "3" | "4" => Ok(Click::Divided(word.as_bytes()[0] - b'0')),
        _ => Err("expected beat, strong, off-beat, 2, 3 or 4".into()),
    }
}

/// Splits a pulse from how it clicks: `1`, `1/2`, `1/off-beat`.
fn split_click(word: &str) -> Option<(&str, Click)> {
    let Some((name, how)) = word.split_once('/') else { return Some((word, Click::Written)) };
    Some((name, click(how).ok().filter(|c| *c != Click::Written)?))
}

/// A hearing by its number, with how it clicks.
pub(super) fn hearing(word: &str) -> Result<PulseSpec, String> {
    let spec = split_click(word).and_then(|(name, click)| Some(PulseSpec { number: name.parse().ok()?, click }));
    let error = || "expected the number of a hearing, like 1, 1/2, 1/3, 1/4 or 1/off-beat".into();
    spec.filter(|s| s.number > 0 && s.click != Click::Strong).ok_or_else(error)
}

/// A pulse: a hearing, or the written beat, also as `beat/2`, `beat/strong` or `beat/off-beat`.
fn pulse(word: &str) -> Result<PulseSpec, String> {
    if !word.starts_with("beat") {
        return hearing(word)
            .map_err(|error| format!("{error}, or beat, beat/2, beat/3, beat/4, beat/strong or beat/off-beat"));
    }
    let beat = split_click(word).filter(|(name, _)| *name == "beat");
    beat.map(|(_, click)| PulseSpec { number: 0, click })
        .ok_or_else(|| "expected beat, beat/2, beat/3, beat/4, beat/strong or beat/off-beat".into())
}

/// A take: `groove`, `beat`, `hearing:1`, `pulses:beat,1`, `with:beat,1`.
pub(super) fn take(words: &str) -> Result<TakeSpec, String> {
    let list = |text: &str| text.split(',').map(pulse).collect::<Result<Vec<_>, _>>();
    let (layers, pulses) = match words.split_once(':') {
        None if words == "groove" => (true, Vec::new()),
        None if words.starts_with("beat") => (true, vec![pulse(words)?]),
        Some(("hearing", number)) => (true, vec![hearing(number)?]),
        Some(("pulses", names)) => (false, list(names)?),
        Some(("with", names)) => (true, list(names)?),
        _ => return Err("expected groove, beat, hearing:1, pulses:beat,1 or with:beat,1".into()),
    };
    for (k, pulse) in pulses.iter().enumerate() {
        if pulses[..k].iter().any(|p| p.number == pulse.number) {
            return Err("a take can contain each pulse only once".into());
        }
    }
    Ok(TakeSpec { layers, pulses })
}

/// The speeds of a ladder: `FROM-TO/STEP` in percent.
pub(super) fn ladder(words: &str) -> Result<Speeds, String> {
    describe_ladder::speeds(words).map(Speeds).ok_or_else(|| {
        let steps = describe_ladder::MAX_STEPS;
        format!("expected FROM-TO/STEP in percent, like 50-100/10: rising, from 20 to 200, at most {steps} steps")
    })
}

/// `1/N`: every Nth pass is silent.
pub(super) fn silence(words: &str) -> Result<u32, String> {
    let every = words.strip_prefix("1/").and_then(|n| n.parse().ok()).filter(|n| (2..=64).contains(n));
    every.ok_or_else(|| "expected 1/2 to 1/64".into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn takes_are_read_from_words() {
        let pulse = |number, click| PulseSpec { number, click };
        let rows = [
            ("groove", true, vec![]),
            ("beat", true, vec![pulse(0, Click::Written)]),
            ("beat/off-beat", true, vec![pulse(0, Click::OffBeat)]),
            ("with:beat/strong,1", true, vec![pulse(0, Click::Strong), pulse(1, Click::Written)]),
            ("hearing:12/3", true, vec![pulse(12, Click::Divided(3))]),
            (
                "pulses:beat/2,1,2/off-beat",
                false,
                vec![pulse(0, Click::Divided(2)), pulse(1, Click::Written), pulse(2, Click::OffBeat)],
            ),
            ("with:1", true, vec![pulse(1, Click::Written)]),
        ];
        for (words, layers, pulses) in rows {
            assert_eq!(take(words), Ok(TakeSpec { layers, pulses }), "{words}");
        }
        for bad in [
            "",
            "grove",
            "beats",
            "beat/",
            "beat/5",
            "beat/beat",
            "hearing",
            "hearing:",
            "hearing:0",
            "hearing:beat",
            "hearing:1/1",
            "pulses:",
            "pulses:1,1",
            "pulses:1,1/2",
            "with:beat,beat",
            "with:1,,2",
            "hearing:99999999999999999999999",
        ] {
            assert!(take(bad).is_err(), "{bad}");
        }
    }
}
