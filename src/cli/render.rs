//! The command that renders a groove to a WAV file or to standard output. It must not know how sound is made.

use super::{Exit, Failure, args, input, ladder, output};
use crate::rhythm::Groove;
use crate::sound::{self, Click, Length};
use crate::terminal::run::takes::Heard;
use std::io::{self, Write};

/// Renders the groove named.
pub(super) fn run(ask: &args::Render) -> Result<Exit, Failure> {
    let speed = input::speed(&ask.heard.speed)?;
    let usage = |words: String| Failure::new(Exit::Usage, words);
    let rate = output::rate(ask.heard.rate)?;
    let length = match ask.seconds {
        Some(s) if (0.01..=36_000.0).contains(&s) => Length::Seconds(s),
        Some(s) => return Err(usage(format!("--seconds is {s}, allowed is a number from 0.01 to 36000"))),
        None => Length::Loops(ask.loops),
    };
    output::sound_to(&ask.output)?;
    let mut groove = input::read(&ask.file).map_err(|words| Failure::new(Exit::BadGroove, words))?;
    if !ask.heard.layer.is_empty() {
        groove = only(&groove, &ask.heard.layer)?;
    }
    if let Some(words) = &ask.ladder {
        let takes = ladder::takes(&groove, ask, words)?;
        let own = input::sounds(&groove, &ask.file, rate);
        output::sequence(&ask.output, &groove, &takes, rate, own)?;
        return Ok(Exit::Good);
    }
    let lines = match &ask.hearing[..] {
        [] => Vec::new(),
        hearings => Heard::new(&groove, speed, input::limits(None)?).lines("--hearing", hearings).map_err(usage)?,
    };
    let click = ask.click.unwrap_or(Click::Off);
    let order = sound::ScheduleOptions { rate, speed, range: sound::Range::Whole, click, lines };
    let own = input::sounds(&groove, &ask.file, rate);
    let frames = output::write(&ask.output, |sink| sound::offline_with(&groove, &order, &own, length, sink))?;
    if ask.output.as_os_str() != "-" {
        writeln!(
            io::stderr().lock(),
            "{}: {:.2} s at {} frames per second",
            ask.output.display(),
            frames.seconds(rate),
            rate.hertz()
        )?;
    }
    Ok(Exit::Good)
}

/// The groove with only these layers sounding.
pub(super) fn only(groove: &Groove, names: &[String]) -> Result<Groove, Failure> {
    let layers = input::layers(groove, names).map_err(|words| Failure::new(Exit::Usage, words))?;
    let mut heard = groove.clone();
    for layer in 0..groove.layers().len() {
        for edit in [crate::rhythm::Edit::Solo(layer, layers.contains(&layer)), crate::rhythm::Edit::Mute(layer, false)]
        {
            heard = heard.edited(&edit).map_err(|e| Failure::new(Exit::Usage, e))?;
        }
    }
    Ok(heard)
}
