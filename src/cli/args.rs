//! The arguments of the command line.

use super::pulse;
use crate::analysis::Limits;
use crate::describe::notes::{self, NotationOptions, Text};
use crate::export::formats;
use crate::export::picture::{PictureKind, Theme};
use crate::jobs::{HearingSelection, Overwrite, PulseSpec, TakeSpec};
use crate::notation::Beaming;
use crate::rhythm::Fraction;
use crate::sound::{Click, SampleRate};
use clap::{Args as ClapArgs, Parser, Subcommand};
use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::str::FromStr;

/// Write a groove nobody can keep the beat through, see how it is built and why it is hard, find the pulses the ear takes
/// instead, and hear it.
#[derive(Debug, Parser)]
#[command(name = "teeter", version, args_conflicts_with_subcommands = true, after_help = EXIT_CODES)]
pub(super) struct Args {
    #[command(subcommand)]
    pub(super) command: Option<Command>,
    #[command(flatten)]
    pub(super) edit: EditArgs,
}

const EXIT_CODES: &str = "Exit codes: 0 success; 1 a groove could not be read or is wrong; 2 the arguments are wrong; \
3 the result could not be written.";

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Explain how grooves are built, why they are hard, and what the ear hears instead
    Explain(ExplainArgs),
    /// Read grooves and report every one that is wrong
    Check(CheckArgs),
    /// Render a groove to a WAV file with the code that plays it
    Render(RenderArgs),
    /// Render takes back to back to one WAV file, with a list of cues
    Takes(TakesArgs),
    /// Play on this machine what an editor on another host plays, through a port forwarded by ssh
    Speaker(SpeakerArgs),
    /// Report which hearing the taps of a file follow, how early or late, how steadily, and where they slip
    Tap(TapArgs),
    /// List the output devices; `output` under `[sound]` in the config file chooses one
    Outputs,
    /// Export grooves to another format, many files at once
    Export(ExportArgs),
    /// Make handouts: a page per groove with pictures, notation, the ladder, and takes to hear
    Handout(HandoutArgs),
    /// Import grooves from files of other programs, many files at once
    Import(ImportArgs),
    /// Read the manual: list its chapters, or show one
    Manual {
        /// Name of the chapter
        chapter: Option<String>,
    },
    /// Write the man pages
    Man(ManArgs),
    /// Print a completion script for a shell
    Completions {
        /// Shell
        shell: clap_complete::Shell,
    },
}

/// Without a command: open the editor.
#[derive(Debug, ClapArgs)]
pub(super) struct EditArgs {
    /// Groove file to edit. A missing .toml file is created on the first save
    pub(super) file: Option<PathBuf>,
    /// Play on your own machine, where `teeter speaker` runs: the port of this host that leads there. The token it shows is
    /// asked for, or taken from the variable `TEETER_SPEAKER_TOKEN`
    #[arg(long, value_name = "PORT", value_parser = port)]
    pub(super) speaker: Option<u16>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct SpeakerArgs {
    /// Port of this machine to listen on; no other machine can reach it
    #[arg(long, value_name = "PORT", default_value_t = crate::sound::remote::PORT, value_parser = port)]
    pub(super) port: u16,
}

#[derive(Debug, ClapArgs)]
pub(super) struct ExplainArgs {
    /// Grooves, or folders of them; `-` reads one from standard input
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
    /// Find the hearings of this layer instead of the first one; repeat to join layers
    #[arg(long, value_name = "NAME")]
    pub(super) layer: Vec<String>,
    /// Find the hearings of all audible layers joined
    #[arg(long, conflicts_with = "layer")]
    pub(super) all_layers: bool,
    #[command(flatten)]
    pub(super) speed: SpeedArg,
    /// Shortest cell you can feel as a subdivision, in ms, 20 to 1000 [default: the config file's, or 100]
    #[arg(long, value_name = "MS", value_parser = cell_limit)]
    pub(super) cell_limit: Option<Limits>,
    /// Print JSON, one line per groove if there are several
    #[arg(long)]
    pub(super) json: bool,
    /// Print the whole explanation of several grooves, instead of a table
    #[arg(long, conflicts_with = "json")]
    pub(super) full: bool,
}

#[derive(Debug, ClapArgs)]
pub(super) struct CheckArgs {
    /// Grooves, or folders of them; `-` reads one from standard input
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct RenderArgs {
    /// Groove; `-` reads it from standard input
    pub(super) file: PathBuf,
    /// WAV file to write (stereo, 24 bits), whose name ends in .wav; `-` writes to standard output
    #[arg(short, long, value_name = "FILE")]
    pub(super) output: PathBuf,
    /// Number of passes through the whole groove; what still rings at the end is kept
    #[arg(long, value_name = "N", default_value_t = 1, conflicts_with = "seconds", value_parser = passes)]
    pub(super) loops: u32,
    /// Length in seconds, looping, instead of a number of passes
    #[arg(long, value_name = "S", value_parser = within("a number from 0.01 to 36000 (seconds)", 0.01..=36_000.0))]
    pub(super) seconds: Option<f64>,
    #[command(flatten)]
    pub(super) sound: SoundArgs,
    /// Click the written beat: `beat` (the default if no value is given), `off-beat` for its halves only, or 2, 3, 4 clicks per beat
    #[arg(long, value_name = "HOW", num_args = 0..=1, default_missing_value = "beat", value_parser = pulse::click)]
    pub(super) click: Option<Click>,
    /// Click the hearing with this number in `teeter explain` at the same speed; repeat for several. `1/2` divides its pulse
    /// by two (2 to 4), `1/off-beat` clicks its halves only
    #[arg(long, value_name = "NUMBER", value_parser = pulse::hearing)]
    pub(super) hearing: Vec<PulseSpec>,
    /// Climb from a slow speed to a fast one: `50-100/10` goes from 50 to 100 percent in steps of 10, with a count-in and `--loops`
    /// passes at each; hearings are numbered as at full speed. A list of cues is written to a .tsv file of the same name, or to
    /// standard error with `-o -`
    #[arg(long, value_name = "FROM-TO/STEP", conflicts_with_all = ["seconds", "speed"], value_parser = pulse::ladder)]
    pub(super) ladder: Option<Speeds>,
    /// Silence every 4th pass of the ladder (2 to 64) after its first bar (after its first beat in a loop of one bar), then one pass
    /// sooner each time, down to every 2nd
    #[arg(long, value_name = "1/4", requires = "ladder", value_parser = pulse::silence)]
    pub(super) silence: Option<u32>,
    #[command(flatten)]
    pub(super) overwrite: OverwriteArg,
}

/// The speeds of a ladder, as one value.
#[derive(Debug, Clone)]
pub(super) struct Speeds(pub(super) Vec<Fraction>);

#[derive(Debug, ClapArgs)]
pub(super) struct OverwriteArg {
    /// Replace files that exist
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
    #[arg(id = "speed", long = "speed", value_name = "PERCENT", default_value = "100", value_parser = speed)]
    pub(super) value: Fraction,
}

/// Which part of a groove sounds in a file, and how fast.
#[derive(Debug, ClapArgs)]
pub(super) struct SoundArgs {
    #[command(flatten)]
    pub(super) speed: SpeedArg,
    /// Sample rate in Hz
    #[arg(long, value_name = "HZ", default_value = "48000", value_parser = sample_rate)]
    pub(super) rate: SampleRate,
    /// Play only this layer; repeat for several
    #[arg(long, value_name = "NAME")]
    pub(super) layer: Vec<String>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct TakesArgs {
    /// Groove; `-` reads it from standard input
    pub(super) file: PathBuf,
    /// WAV file to write (stereo, 24 bits), whose name ends in .wav. It contains the cues, which are also listed in a .tsv file of the
    /// same name. `-` writes the sound to standard output and the list to standard error
    #[arg(short, long, value_name = "FILE")]
    pub(super) output: PathBuf,
    /// Take: `groove` alone, under the `beat`, under `hearing:1`; `pulses:beat,1` without the groove, `with:beat,1` with it.
    /// Repeat for several. A pulse may be divided: `beat/2`, `1/3`, `1/off-beat` [default: groove, beat, hearing:N,
    /// pulses:beat,N, hearing:N, where N is the best hearing that is not counted along with the meter]
    #[arg(long, value_name = "TAKE", value_parser = pulse::take)]
    pub(super) take: Vec<TakeSpec>,
    /// Number of passes through the whole groove in each take
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = passes)]
    pub(super) times: u32,
    /// Count in before each take: a bar of the written beat, or four pulses of its hearing
    #[arg(long)]
    pub(super) count_in: bool,
    #[command(flatten)]
    pub(super) sound: SoundArgs,
    #[command(flatten)]
    pub(super) overwrite: OverwriteArg,
}

#[derive(Debug, ClapArgs)]
pub(super) struct TapArgs {
    /// Groove; `-` reads it from standard input
    pub(super) file: PathBuf,
    /// Times of the taps, one per line, in seconds with a decimal point, counted from the first start of the loop; `-` reads
    /// standard input. Only the first field of a line counts; white space, a tab, a comma or a semicolon ends it. A first line whose
    /// field has no digit is a heading
    pub(super) times: PathBuf,
    #[command(flatten)]
    pub(super) speed: SpeedArg,
    /// Time subtracted from every tap, in ms, -1000 to 1000
    #[arg(long, value_name = "MS", allow_negative_numbers = true, value_parser = within("a number from -1000 to 1000 (ms)", -1000.0..=1000.0))]
    pub(super) offset_ms: Option<f64>,
    /// Find the hearings of this layer instead of the first one; repeat to join layers
    #[arg(long, value_name = "NAME")]
    pub(super) layer: Vec<String>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct ExportArgs {
    /// Grooves, or folders of them; `-` reads one from standard input
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
    /// Format: midi, musicxml, mxl (compressed `MusicXML`), svg, png, html or txt; txt is printed unless -o or --into says otherwise
    #[arg(long = "as", value_name = "FORMAT", value_parser = formats::format)]
    pub(super) format: &'static formats::Format,
    /// File to write, for one groove; `-` writes to standard output [default: next to the groove, with the format's extension; for
    /// txt standard output]
    #[arg(short, long, value_name = "FILE", conflicts_with = "into")]
    pub(super) output: Option<PathBuf>,
    /// Folder to write to; created if missing
    #[arg(long, value_name = "FOLDER")]
    pub(super) into: Option<PathBuf>,
    #[command(flatten)]
    pub(super) hearings: HearingArgs,
    /// Export only this section
    #[arg(long, value_name = "NAME")]
    pub(super) section: Option<String>,
    /// Picture to draw (svg and png only): `grid`, `streams`, `landings` or `notation` [default: grid]
    #[arg(long, value_name = "WHICH", value_parser = formats::parse_picture)]
    pub(super) picture: Option<Picture>,
    /// Medium the picture is for (svg and png only): `print` or `screen` [default: print]
    #[arg(long, value_name = "MEDIUM", value_parser = formats::parse_theme)]
    pub(super) theme: Option<Theme>,
    /// Width in CSS pixels, 1/96 inch, 480 to 4000 (svg and png only) [default: 1000]
    #[arg(long, value_name = "PIXELS", value_parser = within::<f32>("a number from 480 to 4000 (CSS pixels)", 480.0..=4000.0))]
    pub(super) width: Option<f32>,
    /// Pixels per CSS pixel, 0.1 to 8 (png only) [default: 2, less for pictures of more than 34 million pixels]
    #[arg(long, value_name = "FACTOR", value_parser = within::<f32>("a number from 0.1 to 8", 0.1..=8.0))]
    pub(super) scale: Option<f32>,
    #[command(flatten)]
    pub(super) notation: NotationArgs,
    #[command(flatten)]
    pub(super) overwrite: OverwriteArg,
}

/// Picture to draw; `None` is notation. The alias keeps clap from reading it as an optional value.
pub(super) type Picture = Option<PictureKind>;

#[derive(Debug, ClapArgs)]
pub(super) struct HearingArgs {
    /// Show the pulses of the hearing with this number in `teeter explain`; repeat for several. Notation can contain only those whose
    /// pulses all fall on written cells or beats. Pictures and handouts show by default the rival of the written beat and the next
    /// best
    #[arg(long = "hearing", value_name = "NUMBER", value_parser = within::<usize>("the number of a hearing, from 1", 1..=usize::MAX))]
    pub(super) numbers: Vec<usize>,
}

impl HearingArgs {
    pub(super) fn selection(&self) -> HearingSelection {
        match &self.numbers[..] {
            [] => HearingSelection::Default,
            numbers => HearingSelection::Numbers(numbers.to_vec()),
        }
    }
}

#[derive(Debug, ClapArgs)]
pub(super) struct NotationArgs {
    /// Beam notation by the `beat` (or the groups of an additive meter), by `group`, so that each group from one
    /// attack to the next that crosses a beat has its own beam, or by the beat and broken at every `accent` [default: beat]
    #[arg(long, value_name = "HOW", value_parser = notes::parse_beaming)]
    beams: Option<Beaming>,
    /// Write over the notes of the layer that hearings are found for: `groups` (their lengths in cells), `landings`
    /// (as players count, 1 e & a) or only those of some depths (`downbeat`, `strong-beat`, `beat`, `half`, `third` to `eighth`), joined
    /// by commas, or `nothing` [default: groups]
    #[arg(long, value_name = "WHAT", value_parser = Text::parse)]
    over: Option<Text>,
    /// Write under those notes; the values are the same [default: nothing]
    #[arg(long, value_name = "WHAT", value_parser = Text::parse)]
    under: Option<Text>,
}

impl NotationArgs {
    pub(super) fn options(&self) -> NotationOptions {
        let default = NotationOptions::default();
        NotationOptions {
            beams: self.beams.unwrap_or(default.beams),
            over: self.over.clone().unwrap_or(default.over),
            under: self.under.clone().unwrap_or(default.under),
        }
    }

    /// The options given, as they are typed.
    pub(super) fn given(&self) -> impl Iterator<Item = &'static str> {
        let given =
            [("--beams", self.beams.is_some()), ("--over", self.over.is_some()), ("--under", self.under.is_some())];
        given.into_iter().filter(|g| g.1).map(|g| g.0)
    }
}

#[derive(Debug, ClapArgs)]
pub(super) struct HandoutArgs {
    /// Grooves, or folders of them; `-` reads one from standard input
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
    /// Folder to write to; created if missing
    #[arg(long, value_name = "FOLDER")]
    pub(super) into: PathBuf,
    /// Format: one page of HTML, or Markdown with its pictures in files
    #[arg(long = "as", value_name = "FORMAT", default_value = "html", value_parser = ["html", "md"])]
    pub(super) format: String,
    /// Takes to hear: in files `beside` the page, `within` the page (large), or `none`
    #[arg(long, value_name = "WHERE", default_value = "beside", value_parser = ["beside", "within", "none"])]
    pub(super) sound: String,
    #[command(flatten)]
    pub(super) hearings: HearingArgs,
    #[command(flatten)]
    pub(super) notation: NotationArgs,
    /// Sample rate of the takes in Hz
    #[arg(long, value_name = "HZ", default_value = "22050", value_parser = sample_rate)]
    pub(super) rate: SampleRate,
    #[command(flatten)]
    pub(super) overwrite: OverwriteArg,
}

#[derive(Debug, ClapArgs)]
pub(super) struct ImportArgs {
    /// Files, or folders of them; `-` reads one from standard input
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
    /// Groove file to write, for one input; `-` writes to standard output [default: standard output]
    #[arg(short, long, value_name = "OUT.toml", conflicts_with = "into")]
    pub(super) output: Option<PathBuf>,
    /// Folder to write the grooves to; created if missing
    #[arg(long, value_name = "FOLDER")]
    pub(super) into: Option<PathBuf>,
    /// Furthest an onset may move to a coarser grid than the exact one, in ms, 0 to 100
    #[arg(long, value_name = "MS", default_value = "5", value_parser = tolerance)]
    pub(super) tolerance: Fraction,
    #[command(flatten)]
    pub(super) overwrite: OverwriteArg,
}

#[derive(Debug, ClapArgs)]
pub(super) struct ManArgs {
    /// Folder to write a page for every command into; without it, the main page goes to standard output
    #[arg(long, value_name = "FOLDER")]
    pub(super) into: Option<PathBuf>,
    #[command(flatten)]
    pub(super) overwrite: OverwriteArg,
}

/// Parses a number in a range. clap shows the value found.
fn within<T: FromStr + PartialOrd + Clone + Send + Sync>(
    wanted: &'static str,
    range: RangeInclusive<T>,
) -> impl Fn(&str) -> Result<T, String> + Clone {
    move |word| word.parse().ok().filter(|n| range.contains(n)).ok_or_else(|| format!("expected {wanted}"))
}

fn passes(word: &str) -> Result<u32, String> {
    within("a whole number from 1 to 10000", 1..=10_000)(word)
}

fn port(word: &str) -> Result<u16, String> {
    within("a port, 1 to 65535", 1..=u16::MAX)(word)
}

fn sample_rate(word: &str) -> Result<SampleRate, String> {
    let rate = word.parse().ok().and_then(SampleRate::new);
    rate.ok_or_else(|| "expected a whole number from 8000 to 384000 (Hz)".into())
}

fn cell_limit(word: &str) -> Result<Limits, String> {
    let limits = word.parse().ok().and_then(Limits::with_cell);
    limits.ok_or_else(|| "expected a number from 20 to 1000 (ms)".into())
}

/// A speed in percent as a part of the written tempo.
fn speed(word: &str) -> Result<Fraction, String> {
    let percent = exact(word.trim_end_matches('%'), 20..=200);
    let speed = percent.and_then(|p| p.over(Fraction::whole(100)));
    speed.ok_or_else(|| "expected a number from 20 to 200 (percent)".into())
}

fn tolerance(word: &str) -> Result<Fraction, String> {
    exact(word, 0..=100).ok_or_else(|| "expected a number from 0 to 100 (ms)".into())
}

fn exact(word: &str, range: RangeInclusive<i32>) -> Option<Fraction> {
    let (least, most) = (Fraction::whole(*range.start()), Fraction::whole(*range.end()));
    Fraction::parse(word).filter(|f| *f >= least && *f <= most)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_arguments_are_consistent() {
        <Args as clap::CommandFactory>::command().debug_assert();
    }
}
