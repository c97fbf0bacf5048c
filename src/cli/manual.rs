//! `teeter manual`: prints the chapters of the manual, through a pager on a terminal.

use super::{COMMAND_NOT_FOUND, CliError, Exit, signals};
use crate::manual::{self, Chapter};
use crate::rhythm::expected;
use std::env;
use std::fmt::Write as _;
use std::io::{self, ErrorKind, IsTerminal, Write};
use std::process::{Command, Stdio};

const MAX_TEXT_COLUMNS: usize = 100;

pub(super) fn run(name: Option<&str>) -> Result<Exit, CliError> {
    let on_terminal = io::stdout().is_terminal();
    let text = match name {
        None => list(),
        Some(name) => match manual::chapter(name) {
            Some(chapter) if on_terminal => wrap(chapter),
            Some(chapter) => chapter.text.to_owned(),
            None => {
                let wanted = format!("one of {}", manual::names());
                return Err(CliError::new(Exit::Usage, expected(wanted, format!("'{name}'"))));
            }
        },
    };
    if !(on_terminal && name.is_some() && show_in_pager(&text)?) {
        io::stdout().lock().write_all(text.as_bytes())?;
    }
    Ok(Exit::Success)
}

fn list() -> String {
    let widest = manual::CHAPTERS.iter().map(|c| c.name.len()).max().unwrap_or(0);
    let mut text = String::from("teeter manual CHAPTER shows one of these chapters:\n\n");
    for chapter in manual::CHAPTERS {
        let _ = writeln!(text, "  {:widest$}  {}", chapter.name, chapter.title());
    }
    text
}

fn wrap(chapter: &Chapter) -> String {
    let width = terminal_size::terminal_size().map_or(80, |(width, _)| usize::from(width.0));
    let lines = manual::lay_out(chapter.text, width.min(MAX_TEXT_COLUMNS));
    lines.into_iter().fold(String::new(), |text, line| text + &line.text + "\n")
}

/// Shows the text in the program of `PAGER`, or in `less`. Returns false if there is no such program.
fn show_in_pager(text: &str) -> io::Result<bool> {
    let mut pager = if let Some(pager) = env::var_os("PAGER").filter(|p| !p.is_empty()) {
        let mut shell = Command::new("sh");
        shell.arg("-c").arg(pager);
        shell
    } else {
        let mut less = Command::new("less");
        less.arg("-R");
        less
    };
    let mut child = match pager.stdin(Stdio::piped()).spawn() {
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(false),
        child => child?,
    };
    // The interrupt key is for the pager while it runs.
    signals::ignore_interrupt();
    if let Some(mut input) = child.stdin.take() {
        match input.write_all(text.as_bytes()) {
            Err(error) if error.kind() != ErrorKind::BrokenPipe => return Err(error),
            _ => {}
        }
    }
    Ok(child.wait()?.code() != Some(COMMAND_NOT_FOUND))
}

#[cfg(test)]
mod tests {
    use super::super::args::Args;
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn every_command_and_every_option_is_in_the_manual() {
        let all: String = manual::CHAPTERS.iter().map(|c| c.text).collect();
        let commands = manual::chapter("commands").expect("a chapter").text;
        for command in Args::command().get_subcommands() {
            let name = command.get_name();
            assert!(commands.contains(&format!("    teeter {name} ")), "no line for teeter {name}");
            for option in command.get_arguments().filter(|a| !a.is_positional()) {
                let long = option.get_long().map(|long| format!("--{long}"));
                let short = option.get_short().map(|short| format!("-{short} "));
                let named = [&long, &short].into_iter().flatten().any(|o| all.contains(o.as_str()));
                assert!(named, "{name} {} is not in the manual", option.get_id());
            }
        }
    }
}
