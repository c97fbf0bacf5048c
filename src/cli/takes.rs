//! The command that renders takes back to back. It must not know how sound is made.

use super::pulse::{self, Heard, Pulse};
use super::{Exit, Failure, args, input, output, render};
use crate::analysis::Kind;
use crate::rhythm::Fraction;
use crate::sound::take::{CountIn, Take};
use crate::sound::{Click, Range};

/// Most takes of a sequence.
const MOST: usize = 256;

/// A take as it was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Wanted {
    /// Whether the groove sounds.
    layers: bool,
    /// What clicks.
    pulses: Vec<Pulse>,
}

/// A take in words: `groove`, `beat`, `hearing:1`, `pulses:beat,1`, `with:beat,1`.
pub(super) fn wanted(words: &str) -> Result<Wanted, String> {
    let list = |text: &str| text.split(',').map(pulse::pulse).collect::<Result<Vec<_>, _>>();
    let (layers, pulses) = match words.split_once(':') {
        None if words == "groove" => (true, Vec::new()),
        None if words.starts_with("beat") => (true, vec![pulse::pulse(words)?]),
        Some(("hearing", number)) => (true, vec![pulse::hearing(number)?]),
        Some(("pulses", names)) => (false, list(names)?),
        Some(("with", names)) => (true, list(names)?),
        _ => return Err("allowed are: groove, beat, hearing:1, pulses:beat,1 and with:beat,1".into()),
    };
    for (k, pulse) in pulses.iter().enumerate() {
        if pulses[..k].iter().any(|p| p.number == pulse.number) {
            return Err("a pulse stands twice, allowed is once in a take".into());
        }
    }
    Ok(Wanted { layers, pulses })
}

/// Renders the takes of the groove named.
pub(super) fn run(ask: &args::Takes) -> Result<Exit, Failure> {
    let speed = input::speed(&ask.speed)?;
    let rate = output::rate(ask.rate)?;
    output::not_a_terminal(&ask.output)?;
    if ask.take.len() > MOST {
        let words = format!("--take stands {} times, allowed are at most {MOST}", ask.take.len());
        return Err(Failure::new(Exit::Usage, words));
    }
    let mut groove = input::read(&ask.file).map_err(|words| Failure::new(Exit::BadGroove, words))?;
    if !ask.layer.is_empty() {
        groove = render::only(&groove, &ask.layer)?;
    }
    let heard = Heard::new(&groove, speed)?;
    let wanted = if ask.take.is_empty() { usual(&heard) } else { ask.take.clone() };
    let takes = takes(&heard, &wanted, ask, speed)?;
    let own = input::sounds(&groove, &ask.file, rate);
    output::sequence(&ask.output, &groove, &takes, rate, own)?;
    Ok(Exit::Good)
}

/// The takes without a word: the groove, under the written beat, under the first other hearing, both pulses alone, and
/// under that hearing again.
fn usual(heard: &Heard) -> Vec<Wanted> {
    let pulse = |number| Pulse { number, click: Click::Written };
    let under = |pulses: Vec<Pulse>| Wanted { layers: true, pulses };
    let mut all = vec![under(Vec::new()), under(vec![pulse(0)])];
    if let Some(rival) = heard.report.hearings.iter().position(|h| h.kind != Kind::Written) {
        let rival = pulse(rival + 1);
        all.push(under(vec![rival]));
        all.push(Wanted { layers: false, pulses: vec![pulse(0), rival] });
        all.push(under(vec![rival]));
    }
    all
}

fn takes(heard: &Heard, wanted: &[Wanted], ask: &args::Takes, speed: Fraction) -> Result<Vec<Take>, Failure> {
    // A hearing keeps its pitch and side through all takes.
    let mut known: Vec<usize> = Vec::new();
    let mut takes = Vec::with_capacity(wanted.len());
    for want in wanted {
        let (mut click, mut lines, mut names) = (Click::Off, Vec::new(), Vec::new());
        let mut count_in = None;
        for pulse in &want.pulses {
            if pulse.number == 0 {
                click = pulse.click;
                count_in = Some(CountIn::Bar);
                names.push(format!("written beat{}", how(pulse.click)));
                continue;
            }
            let hearing = heard.hearing("a take's hearing", pulse.number)?;
            let index = known.iter().position(|n| *n == pulse.number).unwrap_or_else(|| {
                known.push(pulse.number);
                known.len() - 1
            });
            lines.push(heard.line(hearing, pulse.click, index));
            count_in = count_in.or_else(|| Some(Heard::count_in(hearing, index)));
            let words = pulse::words(hearing, heard.report.speed);
            names.push(format!("hearing {}: {words}{}", pulse.number, how(pulse.click)));
        }
        let names = names.join(" + ");
        let name = match (want.layers, names.is_empty()) {
            (true, true) => "groove".to_owned(),
            (true, false) => format!("groove under {names}"),
            (false, _) => format!("pulses alone, {names}"),
        };
        let count_in = if ask.count_in { count_in.unwrap_or(CountIn::Bar) } else { CountIn::Off };
        let (note, layers, times, silences, range) = (String::new(), want.layers, ask.times, Vec::new(), Range::Whole);
        takes.push(Take { name, note, layers, click, lines, speed, range, times, count_in, silences });
    }
    Ok(takes)
}

/// How a pulse clicks, where it is not plain.
fn how(click: Click) -> String {
    match click {
        Click::Off | Click::Written => String::new(),
        Click::OffBeat => " (off-beat only)".into(),
        Click::Divided(n) => format!(" ({n} clicks each)"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn takes_are_read_from_words() {
        let pulse = |number, click| Pulse { number, click };
        let rows = [
            ("groove", true, vec![]),
            ("beat", true, vec![pulse(0, Click::Written)]),
            ("beat/off-beat", true, vec![pulse(0, Click::OffBeat)]),
            ("hearing:12/3", true, vec![pulse(12, Click::Divided(3))]),
            (
                "pulses:beat/2,1,2/off-beat",
                false,
                vec![pulse(0, Click::Divided(2)), pulse(1, Click::Written), pulse(2, Click::OffBeat)],
            ),
            ("with:1", true, vec![pulse(1, Click::Written)]),
        ];
        for (words, layers, pulses) in rows {
            assert_eq!(wanted(words), Ok(Wanted { layers, pulses }), "{words}");
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
            assert!(wanted(bad).is_err(), "{bad}");
        }
    }
}
