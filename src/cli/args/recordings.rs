//! The arguments of commands on recordings.

use super::{SpeedArg, values};
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
