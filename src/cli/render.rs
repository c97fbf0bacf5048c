//! The command that renders a groove to a WAV file or to standard output. It must not know how sound is made.

use super::{Exit, Failure, args, input};
use crate::analysis::{self, Hearing};
use crate::rhythm::Groove;
use crate::sound::{self, Click, ClickLine, Length, Moment, SampleRate};
use std::io::{self, BufWriter, IsTerminal, Write};
use std::path::Path;

/// Renders the groove named.
pub(super) fn run(ask: &args::Render) -> Result<Exit, Failure> {
    let speed = input::speed(&ask.speed)?;
    let usage = |words: String| Failure::new(Exit::Usage, words);
    let rate = SampleRate::new(ask.rate).ok_or_else(|| {
        usage(format!("--rate is {}, allowed is a number from 8000 to 384000 (frames per second)", ask.rate))
    })?;
    let length = match ask.seconds {
        Some(s) if (0.01..=36_000.0).contains(&s) => Length::Seconds(s),
        Some(s) => return Err(usage(format!("--seconds is {s}, allowed is a number from 0.01 to 36000"))),
        None => Length::Loops(ask.loops),
    };
    if ask.output.as_os_str() == "-" && io::stdout().is_terminal() {
        return Err(usage(
            "standard output is a terminal; send it to a file or a program, or name a file with -o".into(),
        ));
    }
    let mut groove = input::read(&ask.file).map_err(|words| Failure::new(Exit::BadGroove, words))?;
    if !ask.layer.is_empty() {
        groove = only(&groove, &ask.layer)?;
    }
    let lines = clicks(&groove, ask)?;
    let click = if ask.click { Click::Written } else { Click::Off };
    let order = sound::Ask { rate, speed, range: sound::Range::Whole, click, lines };
    let frames = write(&ask.output, |sink| sound::offline(&groove, &order, length, sink))?;
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
fn only(groove: &Groove, names: &[String]) -> Result<Groove, Failure> {
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

/// A line of clicks for every hearing asked for, by its number in the explanation at this speed.
fn clicks(groove: &Groove, ask: &args::Render) -> Result<Vec<ClickLine>, Failure> {
    if ask.hearing.is_empty() {
        return Ok(Vec::new());
    }
    let (speed, limits) = (input::speed(&ask.speed)?, input::limits(None)?);
    let report = analysis::report(groove, &analysis::Ask { speed, limits, ..analysis::Ask::default() });
    let line = |(i, number): (usize, &usize)| {
        let hearing = number.checked_sub(1).and_then(|n| report.hearings.get(n)).ok_or_else(|| {
            Failure::new(
                Exit::Usage,
                format!(
                    "--hearing is {number}, allowed are the numbers that explain gives, 1 to {}",
                    report.hearings.len()
                ),
            )
        })?;
        Ok(click_line(hearing, i))
    };
    ask.hearing.iter().enumerate().map(line).collect()
}

/// Sides of the hearings' clicks, in the order they are asked for: the written beat clicks in the middle.
const SIDES: [i8; 4] = [60, -60, 90, -90];

fn click_line(hearing: &Hearing, index: usize) -> ClickLine {
    ClickLine {
        moments: hearing.pulses.iter().map(|s| Moment::Seconds(*s)).collect(),
        tone: index as u8,
        side: SIDES[index % SIDES.len()],
    }
}

/// Writes to standard output, or to a file that appears under its name only when it is whole.
fn write<T>(path: &Path, work: impl FnOnce(&mut dyn Write) -> io::Result<T>) -> Result<T, Failure> {
    if path.as_os_str() == "-" {
        let mut out = BufWriter::new(io::stdout().lock());
        let done = work(&mut out)?;
        out.flush()?;
        return Ok(done);
    }
    let wrong = |e: io::Error| {
        let error = anyhow::Error::new(e).context(format!("{}: cannot write", path.display()));
        Failure { exit: Exit::Output, error: Some(error) }
    };
    if path.is_dir() {
        return Err(Failure::new(Exit::Output, format!("{}: found a folder, allowed is a file", path.display())));
    }
    // A device or pipe is written to as it is; there is nothing to rename over.
    if path.exists() && !path.is_file() {
        let mut out = BufWriter::new(std::fs::OpenOptions::new().write(true).open(path).map_err(wrong)?);
        let done = work(&mut out).map_err(wrong)?;
        out.flush().map_err(wrong)?;
        return Ok(done);
    }
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let file = builder.prefix(".teeter-").tempfile_in(folder).map_err(wrong)?;
    let mut out = BufWriter::new(file);
    let done = work(&mut out).map_err(wrong)?;
    let file = out.into_inner().map_err(|e| wrong(e.into_error()))?;
    file.persist(path).map_err(|e| wrong(e.error))?;
    Ok(done)
}
