//! `teeter outputs`: lists the output devices.

use super::output::warn;
use super::{CliError, Exit};
use crate::config::ConfigPart;
use crate::describe::visible;
use crate::sound;
use std::io::{self, Write};

/// Prints name and system id of every device, with `*` for the one in use.
pub(super) fn run() -> Result<Exit, CliError> {
    let config = super::user_config(ConfigPart::Sound)?;
    let devices = sound::outputs().map_err(|e| CliError::new(Exit::Output, e))?;
    let used = match &config.output {
        Some(wanted) => sound::find_device(wanted, &devices),
        None => devices.iter().position(|d| d.default),
    };
    let mut out = io::stdout().lock();
    for (k, device) in devices.iter().enumerate() {
        let mark = if used == Some(k) { '*' } else { ' ' };
        writeln!(out, "{mark} {}\t{}", visible(&device.name), visible(&device.id))?;
    }
    if devices.is_empty() {
        warn("there are no output devices")?;
    } else if !sound::is_real_time_granted() {
        warn("the system grants no real-time priority: if the sound has gaps, see `teeter manual troubleshooting`")?;
    }
    if let (Some(wanted), None) = (&config.output, used) {
        warn(format_args!("the config file asks for the output '{wanted}', which does not exist"))?;
    }
    Ok(Exit::Success)
}
