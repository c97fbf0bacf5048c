//! The arguments of commands on recordings.

use super::values::GroupLine;
use super::{OverwriteArg, SpeedArg, values};
use crate::jobs::{
    Channels, RecordingMix, RecordingSound, RecordingTone, parse_channels, parse_level, parse_semitones,
};
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
pub(crate) struct RecordingArgs {
    /// Render with the groove's recording, at the times of its anchors: `with` the groove (the default if no value is given),
    /// `split` (the groove on the left, the recording on the right), or the recording `alone`, under the clicks
    #[arg(id = "recording", long = "recording", value_name = "HOW", num_args = 0..=1, default_missing_value = "with", value_parser = values::mix)]
    pub(crate) mix: Option<RecordingMix>,
    /// Channels of the recording: both, left, right, middle (left and right added) or side (right subtracted from left)
    #[arg(id = "recording-channels", long = "recording-channels", value_name = "WHICH", default_value = "both", requires = "recording",
        value_parser = parse_channels)]
    pub(crate) channels: Channels,
    /// Band of the recording in Hz, like 80-400, or low, mid or high
    #[arg(id = "recording-band", long = "recording-band", value_name = "BAND", requires = "recording", value_parser = values::band)]
    pub(crate) band: Option<(u32, u32)>,
    /// Transposition of the recording in semitones, -24 to 24
    #[arg(id = "recording-pitch", long = "recording-pitch", value_name = "N", default_value = "0", requires = "recording",
        allow_negative_numbers = true, value_parser = parse_semitones)]
    pub(crate) semitones: i8,
    /// Level of the recording in dB, -60 to 12
    #[arg(id = "recording-level", long = "recording-level", value_name = "DB", default_value = "0", requires = "recording",
        allow_negative_numbers = true, value_parser = parse_level)]
    pub(crate) level_db: i8,
}

impl RecordingArgs {
    /// How the recording is heard; `None` if it is not.
    pub(crate) fn sound(&self) -> Option<RecordingSound> {
        let Self { mix, channels, band, semitones, level_db } = *self;
        Some(RecordingSound { mix: mix?, tone: RecordingTone { channels, band, semitones }, level_db })
    }
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
    /// With --groups: cells per beat [default: 4; 2 in eighths; 3 in a compound meter, 1 in eighths or shorter of an additive one]
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
