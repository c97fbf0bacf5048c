//! The words of the command line. It must not know what is done with them.

use clap::{Args as ClapArgs, Parser, Subcommand};
use std::path::PathBuf;

/// Write a groove nobody can keep the beat through, see how it is built and why it is hard, find the pulses the ear takes
/// instead, and hear it.
#[derive(Debug, Parser)]
#[command(name = "teeter", version, args_conflicts_with_subcommands = true, after_help = EXITS)]
pub(super) struct Args {
    #[command(subcommand)]
    pub(super) command: Option<Command>,
    #[command(flatten)]
    pub(super) edit: Edit,
}

const EXITS: &str = "Exit codes: 0 all went well; 1 a groove could not be read or is wrong; 2 the command's words are wrong; \
3 the result could not be written.";

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Say how grooves are built, why they are hard, and what the ear hears instead
    Explain(Explain),
    /// Read grooves and report every one that is wrong
    Check(Check),
    /// Render a groove to a WAV file with the same code that plays it
    Render(Render),
    /// Print a script that completes this program's words in a shell
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
}

/// Without a command: open the editor.
#[derive(Debug, ClapArgs)]
pub(super) struct Edit {
    /// The groove to edit; made when it is saved if it is not there
    pub(super) file: Option<PathBuf>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct Explain {
    /// Grooves, or folders of them; `-` reads one from standard input
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
    /// Find the hearings of this layer instead of the first one; may stand several times to join layers
    #[arg(long, value_name = "NAME")]
    pub(super) layer: Vec<String>,
    /// Find the hearings of all heard layers joined
    #[arg(long, conflicts_with = "layer")]
    pub(super) all_layers: bool,
    /// Playing speed in percent of the written tempo, 20 to 200
    #[arg(long, value_name = "PERCENT", default_value = "100")]
    pub(super) speed: String,
    /// The shortest cell you can feel as a subdivision, in ms, 20 to 1000 [default: the config file's, or 100]
    #[arg(long, value_name = "MS")]
    pub(super) cell_limit: Option<f64>,
    /// Print JSON, one line per groove when there are several
    #[arg(long)]
    pub(super) json: bool,
    /// Print the whole explanation also of several grooves, instead of a table
    #[arg(long, conflicts_with = "json")]
    pub(super) full: bool,
}

#[derive(Debug, ClapArgs)]
pub(super) struct Check {
    /// Grooves, or folders of them; `-` reads one from standard input
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct Render {
    /// The groove; `-` reads it from standard input
    pub(super) file: PathBuf,
    /// The WAV file (stereo, 24 bits); `-` writes it to standard output
    #[arg(short, long, value_name = "FILE")]
    pub(super) output: PathBuf,
    /// Times through the whole groove, and what rings out after it
    #[arg(long, value_name = "N", default_value_t = 1, conflicts_with = "seconds", value_parser = clap::value_parser!(u32).range(1..=10_000))]
    pub(super) loops: u32,
    /// Seconds to render, looping, instead of whole times through
    #[arg(long, value_name = "S")]
    pub(super) seconds: Option<f64>,
    /// Playing speed in percent of the written tempo, 20 to 200
    #[arg(long, value_name = "PERCENT", default_value = "100")]
    pub(super) speed: String,
    /// Frames per second
    #[arg(long, value_name = "HZ", default_value_t = 48_000)]
    pub(super) rate: u32,
    /// Sound only this layer; may stand several times
    #[arg(long, value_name = "NAME")]
    pub(super) layer: Vec<String>,
    /// Click the written beat
    #[arg(long)]
    pub(super) click: bool,
    /// Click the hearing of this number in `teeter explain` at the same speed; may stand several times
    #[arg(long, value_name = "NUMBER")]
    pub(super) hearing: Vec<usize>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_fit_together() {
        <Args as clap::CommandFactory>::command().debug_assert();
    }
}
