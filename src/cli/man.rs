//! `teeter man`: writes the man pages from the definitions of the arguments.

use super::args::{Args, ManArgs};
use super::{CliError, Exit, output};
use crate::jobs::{self, JobControl, OutputFile};
use clap::CommandFactory;
use std::io::{self, Write};

pub(super) fn run(args: &ManArgs) -> Result<Exit, CliError> {
    let mut command = Args::command();
    command.build();
    let Some(folder) = &args.into else {
        io::stdout().lock().write_all(&page(&command)?)?;
        return Ok(Exit::Success);
    };
    output::create_folder(folder)?;
    let file = |command: &clap::Command| -> io::Result<OutputFile> {
        let name = command.get_display_name().unwrap_or_else(|| command.get_name());
        Ok(OutputFile { path: folder.join(format!("{name}.1")), bytes: page(command)? })
    };
    let subcommands = command.get_subcommands().filter(|c| c.get_name() != "help");
    let files = [&command].into_iter().chain(subcommands).map(file).collect::<io::Result<Vec<_>>>()?;
    jobs::write_files(files, &[], args.overwrite.policy(), &JobControl::detached())?;
    Ok(Exit::Success)
}

fn page(command: &clap::Command) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut bytes)?;
    Ok(bytes)
}
