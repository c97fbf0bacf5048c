//! The command that lists the output devices. It must not know how sound is made.

use super::{Exit, Failure};
use crate::config::{Config, Part};
use crate::sound;
use std::io::{self, Write};

/// Prints every output device: its mark, its name, what the system calls it. `*` marks the one that sounds.
pub(super) fn run() -> Result<Exit, Failure> {
    let config = Config::load();
    config.check(&[Part::Sound]).map_err(|words| Failure::new(Exit::Usage, words))?;
    let devices = sound::outputs().map_err(|words| Failure::new(Exit::Output, words))?;
    let taken = match &config.output {
        Some(wanted) => sound::chosen(wanted, &devices),
        None => devices.iter().position(|d| d.default),
    };
    let mut out = io::stdout().lock();
    for (k, device) in devices.iter().enumerate() {
        writeln!(out, "{} {}\t{}", if taken == Some(k) { '*' } else { ' ' }, device.name, device.id)?;
    }
    if devices.is_empty() {
        writeln!(io::stderr().lock(), "teeter: there are no output devices")?;
    }
    if let (Some(wanted), None) = (&config.output, taken) {
        writeln!(io::stderr().lock(), "teeter: there is no output '{wanted}', which the config file asks for")?;
    }
    Ok(Exit::Good)
}
