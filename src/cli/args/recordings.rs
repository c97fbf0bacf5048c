//! The arguments of commands on recordings.

use super::values::GroupLine;
use super::{OverwriteArg, SpeedArg, values};
use crate::recording::onsets::DEFAULT_THRESHOLD;
use crate::rhythm::{Meter, Tempo};
use clap::Args as ClapArgs;
use std::path::PathBuf;

#[derive(Debug, ClapArgs)]
pub(crate) struct OnsetsArgs {
    /// Recording: WAV, AIFF, CAF, FLAC, Ogg Vorbis, MP3, AAC, or the sound of a video (mp4, mov, mkv, webm)
    pub(crate) file: PathBuf,
    /// Print JSON
    #[arg(long)]
    pub(crate) json: bool,
    /// Print comma-separated values
    #[arg(long, conflicts_with = "json")]
    pub(crate) csv: bool,
    #[command(flatten)]
    pub(crate) threshold: ThresholdArg,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct ThresholdArg {
    /// Least confidence of an onset, 0.05 to 0.95
    #[arg(id = "threshold", long = "threshold", value_name = "P", default_value_t = DEFAULT_THRESHOLD, value_parser = values::threshold)]
    pub(crate) value: f32,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct ProposeArgs {
    /// Recording
    pub(crate) recording: PathBuf,
    #[command(flatten)]
    pub(crate) excerpt: ExcerptArg,
    #[command(flatten)]
    pub(crate) threshold: ThresholdArg,
    /// Print JSON
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct ExcerptArg {
    /// The recording begins in the middle of the music: its first onset need not be a beat
    #[arg(id = "excerpt", long = "excerpt")]
    pub(crate) is_excerpt: bool,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct TranscribeArgs {
    /// Recording
    pub(crate) recording: PathBuf,
    /// Tempo in quarter notes per minute, or with the note value: `1/4.=90`
    #[arg(long, value_name = "BPM", value_parser = values::tempo, requires = "first", required_unless_present = "proposal")]
    pub(crate) tempo: Option<Tempo>,
    /// When the first bar begins, in seconds
    #[arg(long, value_name = "SECONDS", value_parser = values::instant, requires = "tempo")]
    pub(crate) first: Option<f64>,
    /// Meter, with a tempo [default: 4/4]
    #[arg(long, value_name = "METER", value_parser = values::meter, requires = "tempo")]
    pub(crate) meter: Option<Meter>,
    /// Take the tempo and the meter of the proposal with this number
    #[arg(long, value_name = "N", value_parser = values::proposal_number, conflicts_with = "tempo")]
    pub(crate) proposal: Option<usize>,
    #[command(flatten)]
    pub(crate) excerpt: ExcerptArg,
    /// Write one layer instead of one for each kind of sound
    #[arg(long)]
    pub(crate) one_layer: bool,
    /// Write the suggested accents and ghosts; otherwise every attack is plain
    #[arg(long)]
    pub(crate) accents: bool,
    #[command(flatten)]
    pub(crate) threshold: ThresholdArg,
    /// Groove file to write; `-` writes to standard output [default: standard output, with --json none]
    #[arg(short, long, value_name = "OUT.toml")]
    pub(crate) output: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) overwrite: OverwriteArg,
    /// Print JSON
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct AlignArgs {
    /// Groove, `-` reads it from standard input; then the recording in which it is played. With --groups only the recording
    #[arg(value_names = ["GROOVE", "RECORDING"], num_args = 1..=2, required = true)]
    pub(crate) files: Vec<PathBuf>,
    /// Look for this line of groups, played again and again, instead of a groove
    #[arg(long, value_name = "LINE", requires = "tempo", conflicts_with_all = ["layer", "write"], value_parser = values::groups)]
    pub(crate) groups: Option<GroupLine>,
    /// With --groups: about what tempo, in quarter notes per minute, or with the note value: `1/4.=90`
    #[arg(long, value_name = "BPM", value_parser = values::tempo, requires = "groups")]
    pub(crate) tempo: Option<Tempo>,
    /// With --groups: the meter [default: 4/4]
    #[arg(long, value_name = "METER", value_parser = values::meter, requires = "groups")]
    pub(crate) meter: Option<Meter>,
    /// With --groups: cells per beat [default: 4; 3 in a compound meter, 1 in eighths or shorter of an additive one]
    #[arg(long, value_name = "CELLS", value_parser = values::division, requires = "groups")]
    pub(crate) division: Option<u16>,
    /// Look for this layer only; repeat for several. Otherwise for all layers that sound
    #[arg(long, value_name = "NAME")]
    pub(crate) layer: Vec<String>,
    #[command(flatten)]
    pub(crate) speed: SpeedArg,
    #[command(flatten)]
    pub(crate) threshold: ThresholdArg,
    /// Take the reading with this number instead of the best one
    #[arg(long, value_name = "N", value_parser = values::reading_number)]
    pub(crate) take: Option<usize>,
    /// Print JSON
    #[arg(long)]
    pub(crate) json: bool,
    /// Write the recording and its anchors into the groove's file
    #[arg(long)]
    pub(crate) write: bool,
    /// Replace the recording that the groove has
    #[arg(long, requires = "write")]
    pub(crate) overwrite: bool,
}
