//! The arguments of commands on recordings.

use super::values;
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
