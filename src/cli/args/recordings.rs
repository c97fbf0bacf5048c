//! The arguments of commands on recordings.

use super::{SpeedArg, values};
use crate::jobs::{
    Channels, RecordingMix, RecordingSound, RecordingTone, parse_channels, parse_level, parse_semitones,
};
use crate::recording::onsets::DEFAULT_THRESHOLD;
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
pub(crate) struct AlignArgs {
    /// Groove; `-` reads it from standard input
    pub(crate) file: PathBuf,
    /// Recording in which the groove is played
    pub(crate) recording: PathBuf,
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
