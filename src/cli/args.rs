//! The words of the command line. It must not know what is done with them.

use super::{pulse, takes};
use crate::export::annotations::{self, NotationOptions, Text};
use crate::export::formats;
use crate::notation::Beaming;
use crate::sound::Click;
use crate::terminal::run::takes::{Pulse, Wanted};
use clap::{Args as ClapArgs, Parser, Subcommand};
use std::path::PathBuf;
use std::str::FromStr;

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
    /// Render takes back to back to one WAV file, with a list of cues beside it
    Takes(Takes),
    /// Sound on this machine what an editor on another host plays, through a port forwarded by ssh
    Speaker(Speaker),
    /// Say which hearing the taps of a file follow, how early or late, how steadily, and where they slip
    Tap(Tap),
    /// List the output devices; `output` under `[sound]` in the config file chooses one
    Outputs,
    /// Put grooves into another format, many files at once
    Export(Export),
    /// Make handouts: a page for each groove with pictures, notation, the ladder, and takes to hear
    Handout(Sheets),
    /// Make grooves of what others wrote, many files at once
    Import(Import),
    /// Read the manual: list its chapters, or show one
    Manual {
        /// The name of the chapter
        chapter: Option<String>,
    },
    /// Write the man pages
    Man(Man),
    /// Print a script that completes this program's words in a shell
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
}

/// Without a command: open the editor.
#[derive(Debug, ClapArgs)]
pub(super) struct Edit {
    /// The groove to edit; if it is not there its name ends in .toml, and it is made when it is saved
    pub(super) file: Option<PathBuf>,
    /// Sound on your own machine, where `teeter speaker` runs: the port of this host that leads there. The token it shows is
    /// asked for, or taken from the variable `TEETER_SPEAKER_TOKEN`
    #[arg(long, value_name = "PORT", value_parser = port)]
    pub(super) speaker: Option<u16>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct Speaker {
    /// The port of this machine to listen on; no other machine can reach it
    #[arg(long, value_name = "PORT", default_value_t = crate::sound::remote::PORT, value_parser = port)]
    pub(super) port: u16,
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
    #[arg(long, value_name = "MS", value_parser = number::<f64>("a number from 20 to 1000 (ms)"))]
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
    /// The WAV file (stereo, 24 bits), whose name ends in .wav; `-` writes it to standard output
    #[arg(short, long, value_name = "FILE")]
    pub(super) output: PathBuf,
    /// Times through the whole groove, and what rings out after it
    #[arg(long, value_name = "N", default_value_t = 1, conflicts_with = "seconds", value_parser = times)]
    pub(super) loops: u32,
    /// Seconds to render, looping, instead of whole times through
    #[arg(long, value_name = "S", value_parser = number::<f64>("a number from 0.01 to 36000 (seconds)"))]
    pub(super) seconds: Option<f64>,
    #[command(flatten)]
    pub(super) heard: Heard,
    /// Click the written beat: `beat` (without a word as well), `off-beat` for its halves only, or 2, 3, 4 clicks per beat
    #[arg(long, value_name = "HOW", num_args = 0..=1, default_missing_value = "beat", value_parser = pulse::click)]
    pub(super) click: Option<Click>,
    /// Click the hearing of this number in `teeter explain` at the same speed; may stand several times. `1/2` cuts its pulse
    /// in two (2 to 4), `1/off-beat` clicks its halves only
    #[arg(long, value_name = "NUMBER", value_parser = pulse::hearing)]
    pub(super) hearing: Vec<Pulse>,
    /// Climb from a slow speed to a fast one, as `50-100/10`: from 50 to 100 percent in steps of 10, a count-in and `--loops`
    /// times through at each; hearings are numbered as at full speed. A list of cues is written beside the file, or to standard error with `-o -`
    #[arg(long, value_name = "FROM-TO/STEP", conflicts_with_all = ["seconds", "speed"])]
    pub(super) ladder: Option<String>,
    /// On the ladder, let every 4th time through (2 to 64) fall silent after its first bar (of a loop of one bar its first beat),
    /// and then one time sooner after each, down to every 2nd
    #[arg(long, value_name = "1/4", requires = "ladder")]
    pub(super) silence: Option<String>,
}

/// What of a groove sounds in a file, and how fast.
#[derive(Debug, ClapArgs)]
pub(super) struct Heard {
    /// Playing speed in percent of the written tempo, 20 to 200
    #[arg(long, value_name = "PERCENT", default_value = "100")]
    pub(super) speed: String,
    /// Frames per second
    #[arg(long, value_name = "HZ", default_value_t = 48_000, value_parser = number::<u32>(RATES))]
    pub(super) rate: u32,
    /// Sound only this layer; may stand several times
    #[arg(long, value_name = "NAME")]
    pub(super) layer: Vec<String>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct Takes {
    /// The groove; `-` reads it from standard input
    pub(super) file: PathBuf,
    /// The WAV file (stereo, 24 bits), whose name ends in .wav, with the cues in it; they are listed in the same name with .tsv as well. `-` writes the
    /// sound to standard output and the list to standard error
    #[arg(short, long, value_name = "FILE")]
    pub(super) output: PathBuf,
    /// A take: `groove` alone, under the `beat`, under `hearing:1`; `pulses:beat,1` without the groove, `with:beat,1` with it.
    /// May stand several times. A pulse may be cut: `beat/2`, `1/3`, `1/off-beat` [default: groove, beat, hearing:N,
    /// pulses:beat,N, hearing:N, with N the best hearing that is not counted along with the meter]
    #[arg(long, value_name = "TAKE", value_parser = takes::wanted)]
    pub(super) take: Vec<Wanted>,
    /// Times through the whole groove in each take
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = times)]
    pub(super) times: u32,
    /// Count in before each take: a bar of the written beat, or four pulses of its hearing
    #[arg(long)]
    pub(super) count_in: bool,
    #[command(flatten)]
    pub(super) heard: Heard,
}

#[derive(Debug, ClapArgs)]
pub(super) struct Tap {
    /// The groove; `-` reads it from standard input
    pub(super) file: PathBuf,
    /// Times of the taps, one a line, in seconds with a decimal point, as they passed since the loop first began; `-` reads
    /// standard input. Only the first field of a line counts; white space, tab, comma or semicolon ends it. A first line whose
    /// field has no digit is a heading
    pub(super) times: PathBuf,
    /// Playing speed the loop was heard at, in percent of the written tempo, 20 to 200
    #[arg(long, value_name = "PERCENT", default_value = "100")]
    pub(super) speed: String,
    /// Taken off every tap, in ms, -1000 to 1000
    #[arg(long, value_name = "MS", allow_negative_numbers = true, value_parser = number::<f64>("a number from -1000 to 1000 (ms)"))]
    pub(super) offset_ms: Option<f64>,
    /// Find the hearings of this layer instead of the first one; may stand several times to join layers
    #[arg(long, value_name = "NAME")]
    pub(super) layer: Vec<String>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct Export {
    /// Grooves, or folders of them; `-` reads one from standard input
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
    /// The format: midi, musicxml, mxl (`MusicXML`, compressed), svg, png, html or txt; txt is printed unless -o or --into names where it goes
    #[arg(long = "as", value_name = "FORMAT", value_parser = formats::format)]
    pub(super) format: &'static formats::Format,
    /// The file to write, of one groove; `-` writes to standard output [default: beside the groove, with the format's ending; of txt standard output]
    #[arg(short, long, value_name = "FILE", conflicts_with = "into")]
    pub(super) output: Option<PathBuf>,
    /// The folder to write into; made if it is not there
    #[arg(long, value_name = "FOLDER")]
    pub(super) into: Option<PathBuf>,
    /// Put the pulses of the hearing of this number in `teeter explain` in too; may stand several times. Notation holds only those whose
    /// pulses all fall on written cells or beats
    #[arg(long, value_name = "NUMBER", value_parser = number::<usize>("a number that explain gives, from 1"))]
    pub(super) hearing: Vec<usize>,
    /// Only this section
    #[arg(long, value_name = "NAME")]
    pub(super) section: Option<String>,
    /// Of svg and png, what is drawn: `grid`, `streams`, `landings` or `notation` [default: grid]
    #[arg(long, value_name = "WHICH", value_parser = formats::picture_of)]
    pub(super) picture: Option<Which>,
    /// Of svg and png, where it is looked at: `print` or `screen` [default: print]
    #[arg(long, value_name = "WHERE", value_parser = formats::theme_of)]
    pub(super) theme: Option<crate::export::picture::Theme>,
    /// Of svg and png, the width in CSS pixels (1/96 inch), 480 to 4000 [default: 1000]
    #[arg(long, value_name = "PIXELS", value_parser = within::<f32>("a number from 480 to 4000 (CSS pixels)", 480.0..=4000.0))]
    pub(super) width: Option<f32>,
    /// Of png, pixels to a CSS pixel, 0.1 to 8 [default: 2, less for pictures of more than 34 million pixels]
    #[arg(long, value_name = "TIMES", value_parser = within::<f32>("a number from 0.1 to 8", 0.1..=8.0))]
    pub(super) scale: Option<f32>,
    #[command(flatten)]
    pub(super) notes: Notes,
    /// Write over files that are there
    #[arg(long)]
    pub(super) overwrite: bool,
}

/// How notation is written.
#[derive(Debug, ClapArgs)]
pub(super) struct Notes {
    /// In notation, how beams are grouped: by the `beat` (or the groups of an additive meter), by `group`, so that each group from one
    /// attack to the next that crosses a beat has its own beam, or by the beat and broken at every `accent` [default: beat]
    #[arg(long, value_name = "HOW", value_parser = annotations::beams_of)]
    beams: Option<Beaming>,
    /// In notation, what stands over the notes of the layer that hearings are found for: `groups` (their lengths in cells), `landings`
    /// (as players count, 1 e & a) or only those of some depths (`downbeat`, `strong-beat`, `beat`, `half`, `third` to `eighth`), joined
    /// by commas, or `nothing` [default: groups]
    #[arg(long, value_name = "WHAT", value_parser = Text::parse)]
    over: Option<Text>,
    /// In notation, what stands under those notes, in the same words [default: nothing]
    #[arg(long, value_name = "WHAT", value_parser = Text::parse)]
    under: Option<Text>,
}

impl Notes {
    pub(super) fn writing(&self) -> NotationOptions {
        let usual = NotationOptions::default();
        NotationOptions {
            beams: self.beams.unwrap_or(usual.beams),
            over: self.over.clone().unwrap_or(usual.over),
            under: self.under.clone().unwrap_or(usual.under),
        }
    }

    /// The words given, as they are typed.
    pub(super) fn given(&self) -> impl Iterator<Item = &'static str> {
        let given =
            [("--beams", self.beams.is_some()), ("--over", self.over.is_some()), ("--under", self.under.is_some())];
        given.into_iter().filter(|g| g.1).map(|g| g.0)
    }
}

/// Which picture is drawn; nothing is notation. A name of its own keeps the parser from taking it for an option that may be absent.
pub(super) type Which = Option<crate::export::picture::PictureKind>;

#[derive(Debug, ClapArgs)]
pub(super) struct Sheets {
    /// Grooves, or folders of them; `-` reads one from standard input
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
    /// The folder to write into; made if it is not there
    #[arg(long, value_name = "FOLDER")]
    pub(super) into: PathBuf,
    /// One page of HTML, or Markdown with its pictures beside
    #[arg(long = "as", value_name = "FORMAT", default_value = "html", value_parser = ["html", "md"])]
    pub(super) format: String,
    /// Where the takes sound: `beside` as files, `within` the page (large), or `none`
    #[arg(long, value_name = "WHERE", default_value = "beside", value_parser = ["beside", "within", "none"])]
    pub(super) sound: String,
    /// Draw the pulses of the hearing of this number in `teeter explain`; may stand several times [default: the rival of
    /// the written beat and the best besides]
    #[arg(long, value_name = "NUMBER", value_parser = number::<usize>("a number that explain gives, from 1"))]
    pub(super) hearing: Vec<usize>,
    #[command(flatten)]
    pub(super) notes: Notes,
    /// Frames per second of the takes
    #[arg(long, value_name = "HZ", default_value_t = 22_050, value_parser = number::<u32>(RATES))]
    pub(super) rate: u32,
    /// Write over files that are there
    #[arg(long)]
    pub(super) overwrite: bool,
}

#[derive(Debug, ClapArgs)]
pub(super) struct Man {
    /// Folder to write a page for every command into; without it, the main page goes to standard output
    #[arg(long, value_name = "FOLDER")]
    pub(super) into: Option<PathBuf>,
    /// Overwrite existing files
    #[arg(long, requires = "into")]
    pub(super) overwrite: bool,
}

#[derive(Debug, ClapArgs)]
pub(super) struct Import {
    /// Files, or folders of them; `-` reads one from standard input
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
    /// The groove's file, of one file; `-` writes to standard output [default: standard output]
    #[arg(short, long, value_name = "OUT.toml", conflicts_with = "into")]
    pub(super) output: Option<PathBuf>,
    /// The folder to write the grooves into; made if it is not there
    #[arg(long, value_name = "FOLDER")]
    pub(super) into: Option<PathBuf>,
    /// How far an onset may be moved, in ms, onto a smaller grid than the exact one, 0 to 100
    #[arg(long, value_name = "MS", default_value = "5")]
    pub(super) tolerance: String,
    /// Write over files that are there
    #[arg(long)]
    pub(super) overwrite: bool,
}

/// What a sample rate may be.
const RATES: &str = "a whole number from 8000 to 384000 (frames per second)";

/// A number; what does not read as one is refused with what is allowed. Whether it lies in its range is looked at where it is used.
fn number<T: FromStr>(allowed: &'static str) -> impl Fn(&str) -> Result<T, String> + Clone {
    move |word| word.parse().map_err(|_| format!("allowed is {allowed}"))
}

/// The same, of a number that lies in a range.
fn within<T: FromStr + PartialOrd + Clone + Send + Sync>(
    allowed: &'static str,
    range: std::ops::RangeInclusive<T>,
) -> impl Fn(&str) -> Result<T, String> + Clone {
    move |word| word.parse().ok().filter(|n| range.contains(n)).ok_or_else(|| format!("allowed is {allowed}"))
}

/// How often something goes through.
fn times(word: &str) -> Result<u32, String> {
    let times = word.parse().ok().filter(|n| (1..=10_000).contains(n));
    times.ok_or_else(|| "allowed is a whole number from 1 to 10000".to_owned())
}

fn port(word: &str) -> Result<u16, String> {
    word.parse().ok().filter(|p| *p > 0).ok_or_else(|| "allowed is a port, 1 to 65535".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_fit_together() {
        <Args as clap::CommandFactory>::command().debug_assert();
    }
}
