//! Arguments of the commands that export and import.

use super::{GrooveFiles, OutsideSoundsArg, OverwriteArg, values};
use crate::describe::notes::{self, KitStaves, NotationOptions, NoteLengths, Spelling, Text};
use crate::export::formats;
use crate::export::handout::Paper;
use crate::export::picture::{PictureKind, Theme};
use crate::jobs::{HandoutFormat, HearingSelection, TakeSound};
use crate::notation::Beaming;
use crate::rhythm::Fraction;
use crate::sound::SampleRate;
use clap::Args as ClapArgs;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use std::path::PathBuf;

#[derive(Debug, ClapArgs)]
pub(crate) struct ExportArgs {
    #[command(flatten)]
    pub(crate) grooves: GrooveFiles,
    /// Format: midi, click-midi, musicxml, mxl (compressed musicxml), svg, png, pdf, html, txt, csv or json; txt goes to standard
    /// output unless -o or --into is given
    #[arg(long = "as", value_name = "FORMAT", value_parser = formats::parse_format)]
    pub(crate) format: &'static formats::Format,
    /// File to write, for one groove; `-` writes to standard output [default: next to the groove, with the format's extension; for
    /// txt, standard output]
    #[arg(short, long, value_name = "FILE", conflicts_with = "into")]
    pub(crate) output: Option<PathBuf>,
    /// Folder to write to; created if missing
    #[arg(long, value_name = "FOLDER")]
    pub(crate) into: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) hearings: HearingArgs,
    /// Export only this section
    #[arg(long, value_name = "NAME")]
    pub(crate) section: Option<String>,
    /// Picture to draw (svg, png and pdf only): `grid`, `streams`, `landings` or `notation` [default: grid]
    #[arg(long, value_name = "WHICH", value_parser = formats::parse_picture)]
    pub(crate) picture: Option<Picture>,
    /// Medium the picture is for (svg, png and pdf only): `print` or `screen` [default: print]
    #[arg(long, value_name = "MEDIUM", value_parser = formats::parse_theme)]
    pub(crate) theme: Option<Theme>,
    /// Width in CSS pixels (1/96 inch each), 480 to 4000 (svg, png and pdf only) [default: 1000]
    #[arg(long, value_name = "PIXELS", value_parser = values::width)]
    pub(crate) width: Option<f32>,
    /// Pixels per CSS pixel, 0.1 to 8 (png only) [default: 2, less for pictures of more than 34 million pixels]
    #[arg(long, value_name = "FACTOR", value_parser = values::scale)]
    pub(crate) scale: Option<f32>,
    #[command(flatten)]
    pub(crate) notation: NotationArgs,
    #[command(flatten)]
    pub(crate) overwrite: OverwriteArg,
}

/// Picture to draw; `None` is notation. The alias keeps clap from reading it as an optional value.
pub(crate) type Picture = Option<PictureKind>;

#[derive(Debug, ClapArgs)]
pub(crate) struct HearingArgs {
    /// Show the pulses of the hearing with this number in `teeter explain`; repeat for several. Notation can show only hearings
    /// whose pulses all fall on written cells or beats. By default, pictures and handouts show the likeliest hearing that does not
    /// keep the written beat, and the likeliest of the others
    #[arg(long = "hearing", value_name = "NUMBER", value_parser = values::hearing_number)]
    pub(crate) numbers: Vec<usize>,
}

impl HearingArgs {
    pub(crate) fn selection(&self) -> HearingSelection {
        match &self.numbers[..] {
            [] => HearingSelection::Default,
            numbers => HearingSelection::Numbers(numbers.to_vec()),
        }
    }
}

#[derive(Debug, ClapArgs)]
pub(crate) struct NotationArgs {
    /// How to beam notation: `beat` (in an additive meter, its groups), `group` (a group from one attack to the next that crosses a
    /// beat has its own beam) or `accent` (by beat, broken at every accent) [default: beat]
    #[arg(long, value_name = "HOW", value_parser = notes::parse_beaming)]
    beams: Option<Beaming>,
    /// How long notes are written: `cells` (as long as they sound, then rests) or `groups` (to the next attack, tied where needed)
    /// [default: cells]
    #[arg(long, value_name = "HOW", value_parser = notes::parse_lengths)]
    lengths: Option<NoteLengths>,
    /// Staves of drums: `shared` (one staff of five lines, stems up and down) or `separate` (a line for each layer)
    /// [default: shared]
    #[arg(long, value_name = "HOW", value_parser = notes::parse_kit)]
    kit: Option<KitStaves>,
    /// Labels above the notes of the analyzed layer: `groups` (their lengths in cells), `landings` (as players count, 1 e & a) or
    /// only those at some metrical levels (`downbeat`, `strong-beat`, `beat`, `half`, `third` to `eighth`), separated by commas, or
    /// `nothing` [default: groups]
    #[arg(long, value_name = "WHAT", value_parser = Text::parse)]
    over: Option<Text>,
    /// Labels below those notes, with the same values [default: nothing]
    #[arg(long, value_name = "WHAT", value_parser = Text::parse)]
    under: Option<Text>,
}

impl NotationArgs {
    pub(crate) fn options(&self) -> NotationOptions {
        let default = NotationOptions::default();
        NotationOptions {
            spelling: Spelling {
                beams: self.beams.unwrap_or(default.spelling.beams),
                lengths: self.lengths.unwrap_or(default.spelling.lengths),
            },
            kit: self.kit.unwrap_or(default.kit),
            over: self.over.clone().unwrap_or(default.over),
            under: self.under.clone().unwrap_or(default.under),
        }
    }

    /// The options given, as they are typed.
    pub(crate) fn set_options(&self) -> impl Iterator<Item = &'static str> {
        let options = [
            ("--beams", self.beams.is_some()),
            ("--lengths", self.lengths.is_some()),
            ("--kit", self.kit.is_some()),
            ("--over", self.over.is_some()),
            ("--under", self.under.is_some()),
        ];
        options.into_iter().filter(|o| o.1).map(|o| o.0)
    }
}

#[derive(Debug, ClapArgs)]
pub(crate) struct HandoutArgs {
    #[command(flatten)]
    pub(crate) grooves: GrooveFiles,
    /// Folder to write to; created if missing
    #[arg(long, value_name = "FOLDER")]
    pub(crate) into: PathBuf,
    /// Format: HTML with a player, PDF, or Markdown with its pictures in files
    #[arg(long = "as", value_name = "FORMAT", default_value = "html", value_parser = handout_format())]
    pub(crate) format: HandoutFormat,
    /// Paper of a PDF [default: a4]
    #[arg(long, value_name = "PAPER", value_parser = paper())]
    pub(crate) paper: Option<Paper>,
    /// Where to put the audio of the takes: in files `beside` the page, `within` the page (HTML only, large), or `none`
    #[arg(long, value_name = "WHERE", default_value = "beside", value_parser = take_sound())]
    pub(crate) sound: TakeSound,
    #[command(flatten)]
    pub(crate) outside: OutsideSoundsArg,
    #[command(flatten)]
    pub(crate) hearings: HearingArgs,
    #[command(flatten)]
    pub(crate) notation: NotationArgs,
    /// Sample rate of the takes in Hz
    #[arg(long, value_name = "HZ", default_value = "22050", value_parser = values::sample_rate)]
    pub(crate) rate: SampleRate,
    #[command(flatten)]
    pub(crate) overwrite: OverwriteArg,
}

fn handout_format() -> impl TypedValueParser<Value = HandoutFormat> {
    PossibleValuesParser::new(["html", "pdf", "md"]).map(|word| match word.as_str() {
        "md" => HandoutFormat::Markdown,
        "pdf" => HandoutFormat::Pdf(Paper::default()),
        _ => HandoutFormat::Html,
    })
}

fn paper() -> impl TypedValueParser<Value = Paper> {
    PossibleValuesParser::new(["a4", "letter"]).map(|word| if word == "letter" { Paper::Letter } else { Paper::A4 })
}

fn take_sound() -> impl TypedValueParser<Value = TakeSound> {
    PossibleValuesParser::new(["beside", "within", "none"]).map(|word| match word.as_str() {
        "none" => TakeSound::None,
        "within" => TakeSound::Embedded,
        _ => TakeSound::Files,
    })
}

#[derive(Debug, ClapArgs)]
pub(crate) struct ImportArgs {
    /// Files, or folders of them; `-` reads one from standard input
    #[arg(required = true)]
    pub(crate) files: Vec<PathBuf>,
    /// Groove file to write, for one input; `-` writes to standard output [default: standard output]
    #[arg(short, long, value_name = "OUT.toml", conflicts_with = "into")]
    pub(crate) output: Option<PathBuf>,
    /// Folder to write the grooves to; created if missing
    #[arg(long, value_name = "FOLDER")]
    pub(crate) into: Option<PathBuf>,
    /// Move onsets by up to this many ms to fit a coarser grid, 0 to 100
    #[arg(long, value_name = "MS", default_value = "5", value_parser = values::tolerance)]
    pub(crate) tolerance: Fraction,
    #[command(flatten)]
    pub(crate) overwrite: OverwriteArg,
}
