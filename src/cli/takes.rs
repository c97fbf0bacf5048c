//! The command that renders takes back to back. It must not know how sound is made.

use super::{Exit, Failure, args, input, output, pulse, render};
use crate::terminal::run::takes::{Heard, Wanted, takes, usual};

/// Most takes of a sequence.
const MOST: usize = 256;

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
    let speed = input::speed(&ask.heard.speed)?;
    let rate = output::rate(ask.heard.rate)?;
    output::sound_to(&ask.output)?;
    if ask.take.len() > MOST {
        let words = format!("--take stands {} times, allowed are at most {MOST}", ask.take.len());
        return Err(Failure::new(Exit::Usage, words));
    }
    let mut groove = input::read(&ask.file).map_err(|words| Failure::new(Exit::BadGroove, words))?;
    if !ask.heard.layer.is_empty() {
        groove = render::only(&groove, &ask.heard.layer)?;
    }
    let heard = Heard::new(&groove, speed, input::limits(None)?);
    let wanted = if ask.take.is_empty() { usual(heard.rival()) } else { ask.take.clone() };
    let takes = takes(&heard, &wanted, ask.times, ask.count_in, speed).map_err(|w| Failure::new(Exit::Usage, w))?;
    let own = input::sounds(&groove, &ask.file, rate);
    output::sequence(&ask.output, &groove, &takes, rate, own)?;
    Ok(Exit::Good)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::Click;
    use crate::terminal::run::takes::Pulse;

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
