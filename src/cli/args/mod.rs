//! The arguments of the command line. The doc comments are its help.

mod convert;
mod recordings;
mod render;
pub(super) mod values;
mod variation;

pub(super) use convert::{ExportArgs, HandoutArgs, ImportArgs, Picture};
pub(super) use recordings::{AlignArgs, OnsetsArgs, ProposeArgs, RecordingArgs, TranscribeArgs};
pub(super) use render::{RenderArgs, SoundArgs, TakesArgs};
pub(super) use values::Speeds;
pub(super) use variation::{SearchArgs, VaryArgs};

use crate::analysis::Limits;
use crate::jobs::Overwrite;
use crate::rhythm::Fraction;
use clap::{Args as ClapArgs, Parser, Subcommand};
use std::ffi::OsString;
use std::path::PathBuf;

/// Write a groove nobody can keep the beat through, see how it is built and why it is hard, find the pulses that may be
/// heard as the beat instead, and play it.
#[derive(Debug, Parser)]
#[command(name = "teeter", version, args_conflicts_with_subcommands = true, after_help = EXIT_CODES)]
pub(super) struct Args {
    #[command(subcommand)]
    pub(super) command: Option<Command>,
    #[command(flatten)]
    pub(super) edit: EditArgs,
}

const EXIT_CODES: &str = "Exit codes: 0 success; 1 a groove or a recording could not be read or is invalid; 2 the arguments are invalid; \
3 the result could not be written.";

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Explain how grooves are built, why they are hard, and which pulses may be heard instead of the beat
    ///
    /// For several grooves, a table shows the length of a cell, the hardness (the probability that a listener loses the written
    /// beat, 0 to 1), the meter load (the hardness plus two measures of how odd the meter sounds, 0 to 3), the likeliest pulse and
    /// its tempo, the written tempo, and the first reason why each groove is hard.
    Explain(ExplainArgs),
    /// Check grooves and report every error
    Check(CheckArgs),
    /// Render a groove to a WAV file
    Render(RenderArgs),
    /// Render takes back to back to one WAV file, with a list of cues
    Takes(TakesArgs),
    /// Edit a groove on another host over SSH and play the sound on this machine
    Remote(RemoteArgs),
    /// Analyze tap times: which hearing they follow, how early or late, how steadily, and where they slip
    Tap(TapArgs),
    /// List the onsets of a recording: the moments at which strokes and notes begin, with their strength in three bands
    Onsets(OnsetsArgs),
    /// Propose tempos and meters for a recording, and say what its attacks cannot tell
    Propose(ProposeArgs),
    /// Write the attacks of a recording as a groove, given a tempo and the first beat, or a proposal
    Transcribe(TranscribeArgs),
    /// Find where and at what tempo a groove is played in a recording, and lay the grid over it
    Align(AlignArgs),
    /// List the grooves near to a groove, each with how it is made and what it does to the ear
    Vary(VaryArgs),
    /// Search for lines of groups that are heard with a wanted pulse, the likeliest first, with what is proved about them
    Search(Box<SearchArgs>),
    /// List the output devices; `output` under `[sound]` in the config file chooses one
    Outputs,
    /// Export one or more grooves to another format
    Export(ExportArgs),
    /// Make handouts: for each groove a page for the student, which plays, and one for the teacher
    Handout(HandoutArgs),
    #[command(about = "Import grooves from one or more MIDI or MusicXML files")]
    Import(ImportArgs),
    /// Read the manual: list its chapters, or show one
    Manual {
        /// Chapter to show
        chapter: Option<String>,
    },
    /// Print the licenses, and where to get the source code of the parts under the Mozilla Public License
    Licenses,
    /// Write the man pages
    Man(ManArgs),
    /// Print a completion script for a shell
    Completions {
        /// Shell to print the script for
        shell: clap_complete::Shell,
    },
}

#[derive(Debug, ClapArgs)]
pub(super) struct EditArgs {
    /// Groove file to edit, or a recording to write a new groove to. A missing .toml file is created on the first save
    pub(super) file: Option<PathBuf>,
    /// Play through this socket to a remote speaker; `teeter remote` adds this option on the host
    #[arg(long, value_name = "SOCKET")]
    pub(super) speaker: Option<PathBuf>,
    /// Hand the socket to a running editor; if there are several, to the one with this process ID
    #[arg(long, value_name = "PID", num_args = 0..=1, require_equals = true, requires = "speaker", conflicts_with = "file")]
    #[expect(clippy::option_option, reason = "an option with an optional value")]
    pub(super) join: Option<Option<u32>>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct GrooveFiles {
    /// Grooves, or folders of them; `-` reads one from standard input
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct CheckArgs {
    #[command(flatten)]
    pub(super) grooves: GrooveFiles,
    #[command(flatten)]
    pub(super) outside: OutsideSoundsArg,
}

#[derive(Debug, ClapArgs)]
pub(super) struct OutsideSoundsArg {
    /// Read sound files outside the folder of the groove, if it names such files
    #[arg(id = "allow-outside-sounds", long)]
    pub(super) allow: bool,
}

#[derive(Debug, ClapArgs)]
pub(super) struct OverwriteArg {
    /// Replace existing files
    #[arg(long)]
    overwrite: bool,
}

impl OverwriteArg {
    pub(super) fn policy(&self) -> Overwrite {
        if self.overwrite { Overwrite::Always } else { Overwrite::Never }
    }
}

#[derive(Debug, ClapArgs)]
pub(super) struct SpeedArg {
    /// Playing speed in percent of the written tempo, 20 to 200
    #[arg(id = "speed", long = "speed", value_name = "PERCENT", default_value = "100", value_parser = values::speed)]
    pub(super) value: Fraction,
}

#[derive(Debug, ClapArgs)]
pub(super) struct RemoteArgs {
    /// SSH destination: a host name, user@host or an alias from the ssh configuration
    pub(super) host: String,
    /// Groove file on the host; relative paths start at your home folder there
    pub(super) file: Option<String>,
    /// Play the sound of an editor running on the host; if there are several, of the one with this process ID
    #[arg(long, value_name = "PID", num_args = 0..=1, require_equals = true, conflicts_with = "file")]
    #[expect(clippy::option_option, reason = "an option with an optional value")]
    pub(super) join: Option<Option<u32>>,
    /// Path of teeter on the host
    #[arg(long, value_name = "PATH", default_value = "teeter")]
    pub(super) program: String,
    /// Options to pass to ssh
    #[arg(last = true, value_name = "SSH OPTIONS")]
    pub(super) ssh_options: Vec<OsString>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct ExplainArgs {
    #[command(flatten)]
    pub(super) grooves: GrooveFiles,
    /// Analyze this layer instead of the first one; repeat to analyze several layers together
    #[arg(long, value_name = "NAME")]
    pub(super) layer: Vec<String>,
    /// Analyze all layers together
    #[arg(long, conflicts_with = "layer")]
    pub(super) all_layers: bool,
    /// List only the grooves that fulfil a condition, such as `meter is 7/8 and heard tempo over 130` (chapter `variants` of
    /// the manual)
    #[arg(id = "where", long, value_name = "CONDITION")]
    pub(super) condition: Option<String>,
    #[command(flatten)]
    pub(super) speed: SpeedArg,
    #[command(flatten)]
    pub(super) listener: ListenerArgs,
    /// Print JSON, one line per groove if there are several
    #[arg(long)]
    pub(super) json: bool,
    /// Explain each of several grooves in full instead of in a table
    #[arg(long, conflicts_with = "json")]
    pub(super) full: bool,
}

#[derive(Debug, ClapArgs)]
pub(super) struct ListenerArgs {
    /// Shortest cell you can feel as a subdivision, in ms, 20 to 1000 [default: from the config file, or 100]
    #[arg(long, value_name = "MS", value_parser = values::cell_limit)]
    pub(super) cell_limit: Option<Limits>,
    /// Do not carry the pulse heard in one section over to the next [default: as set in the
    /// config file, or carry it over]
    #[arg(long)]
    pub(super) cold: bool,
}

#[derive(Debug, ClapArgs)]
pub(super) struct TapArgs {
    /// Groove; `-` reads it from standard input
    pub(super) file: PathBuf,
    /// Times of the taps, one per line, in seconds with a decimal point, measured from the moment the loop first starts; `-`
    /// reads standard input. Only the first field of each line is read; fields end at white space, a comma or a semicolon. If the
    /// first field of the first line has no digit, that line is skipped as a header
    pub(super) times: PathBuf,
    #[command(flatten)]
    pub(super) speed: SpeedArg,
    /// Time to subtract from every tap, in ms, -1000 to 1000
    #[arg(long, value_name = "MS", allow_negative_numbers = true, value_parser = values::tap_offset)]
    pub(super) offset_ms: Option<f64>,
    /// Analyze this layer instead of the first one; repeat to analyze several layers together
    #[arg(long, value_name = "NAME")]
    pub(super) layer: Vec<String>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct ManArgs {
    /// Folder to write a page for every command into; without it, the main page is printed
    #[arg(long, value_name = "FOLDER")]
    pub(super) into: Option<PathBuf>,
    #[command(flatten)]
    pub(super) overwrite: OverwriteArg,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_arguments_are_consistent() {
        <Args as clap::CommandFactory>::command().debug_assert();
    }
}
