//! `teeter man`: writes the man pages from the definitions of the command line.

use super::args::{Args, Man};
use super::{Exit, Failure, output};
use clap::CommandFactory;
use std::io::{self, Write};
use std::path::Path;

pub(super) fn run(options: &Man) -> Result<Exit, Failure> {
    let mut command = Args::command();
    command.build();
    let Some(folder) = &options.into else {
        io::stdout().lock().write_all(&page(&command)?)?;
        return Ok(Exit::Good);
    };
    std::fs::create_dir_all(folder)?;
    let write = |command: &clap::Command| -> Result<(), Failure> {
        let name = command.get_display_name().unwrap_or_else(|| command.get_name());
        output::result(&Path::new(folder).join(format!("{name}.1")), &page(command)?, options.overwrite)
    };
    write(&command)?;
    command.get_subcommands().filter(|c| c.get_name() != "help").try_for_each(write)?;
    Ok(Exit::Good)
}

fn page(command: &clap::Command) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut bytes)?;
    Ok(bytes)
}
