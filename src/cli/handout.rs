//! The command that makes handouts: pages, their pictures, and the takes rendered for them. It must not know what a handout says.

use super::{Exit, Failure, args, export, input, output};
use crate::exchange::formats;
use crate::rhythm::Fraction;
use crate::sound::{OwnSounds, SampleRate};
use crate::terminal::run::handout::{self, Sheet, Where};
use crate::terminal::run::takes::Heard;
use crate::terminal::run::watch::Watch;
use std::io::{self, Write};
use std::path::Path;

/// Makes a handout of every groove named; those that cannot be are reported, and the others still written.
pub(super) fn run(ask: &args::Sheets) -> Result<Exit, Failure> {
    let rate = output::rate(ask.rate)?;
    let named = input::named(&ask.files);
    if named.is_empty() {
        return Err(Failure::new(Exit::BadGroove, "there is no groove (no .toml file) in what was named"));
    }
    let unused = |_: &Path| ask.into.clone();
    let targets = export::targets(&named, None, Some(&ask.into), unused, &ask.format)?;
    let mut exit = Exit::Good;
    for (from, target) in named.iter().zip(&targets) {
        match one(ask, &from.path, target, rate) {
            Err(failure) => exit = export::report(&failure, exit)?,
            Ok(()) => writeln!(io::stderr().lock(), "{}: written", target.display())?,
        }
    }
    Ok(exit)
}

fn one(ask: &args::Sheets, path: &Path, target: &Path, rate: SampleRate) -> Result<(), Failure> {
    let groove = input::read(path).map_err(|words| Failure::new(Exit::BadGroove, words))?;
    let heard = Heard::new(&groove, Fraction::ONE, input::limits(None)?);
    for number in &ask.hearing {
        heard.hearing("--hearing", *number).map_err(|words| Failure::new(Exit::Usage, words))?;
    }
    let hearings = match &ask.hearing[..] {
        [] => formats::usual(&heard.report),
        numbers => numbers.iter().map(|n| n - 1).collect(),
    };
    let sound = match ask.sound.as_str() {
        "none" => Where::Nowhere,
        "within" => Where::Within,
        _ => Where::Beside,
    };
    let own = if sound == Where::Nowhere { OwnSounds::none() } else { input::sounds(&groove, path, rate) };
    let sheet = Sheet { hearings, writing: ask.notes.writing(), markdown: ask.format == "md", sound, rate, own: &own };
    let page = target.file_name().unwrap_or_default().to_string_lossy();
    for file in handout::files(&groove, &heard, &page, &sheet, &Watch::none())? {
        output::result(&target.with_file_name(&file.name), &file.bytes, &file.begins, ask.overwrite)?;
    }
    Ok(())
}
