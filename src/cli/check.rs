//! The command that reads grooves and reports every one that is wrong. It must not know analysis, nor what a sound is.

use super::{Exit, Failure, args, input};
use crate::sound::SampleRate;
use std::io::{self, Write};

/// Reads every groove named; the wrong ones are reported on standard error, the good ones on standard output.
pub(super) fn run(ask: &args::Check) -> Result<Exit, Failure> {
    let named = input::named(&ask.files);
    if named.is_empty() {
        return Err(Failure::new(Exit::BadGroove, "there is no groove (no .toml file) in what was named"));
    }
    let mut exit = Exit::Good;
    for file in named {
        match input::read(&file.path) {
            Ok(groove) => {
                writeln!(
                    io::stdout().lock(),
                    "{}: good: {} (layers: {}, sections: {})",
                    file.path.display(),
                    groove.title(),
                    groove.layers().len(),
                    groove.sections().len()
                )?;
                // A sound that is not there is no fault of the groove, but is to be known before a lesson.
                input::sounds(&groove, &file.path, SampleRate::STUDIO);
            }
            Err(words) => {
                writeln!(io::stderr().lock(), "{words}")?;
                exit = Exit::BadGroove;
            }
        }
    }
    Ok(exit)
}
