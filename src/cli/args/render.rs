//! Arguments of the commands that render sound.

use super::{OutsideSoundsArg, OverwriteArg, RecordingArgs, SpeedArg, values};
use crate::cli::pulse;
use crate::jobs::{PulseSpec, TakeSpec};
use crate::sound::{Click, SampleRate};
use clap::Args as ClapArgs;
use std::path::PathBuf;

#[derive(Debug, ClapArgs)]
pub(crate) struct SoundArgs {
    #[command(flatten)]
    pub(crate) speed: SpeedArg,
    /// Sample rate in Hz
    #[arg(long, value_name = "HZ", default_value = "48000", value_parser = values::sample_rate)]
    pub(crate) rate: SampleRate,
    /// Play only this layer; repeat for several
    #[arg(long, value_name = "NAME")]
    pub(crate) layer: Vec<String>,
    #[command(flatten)]
    pub(crate) outside: OutsideSoundsArg,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct RenderArgs {
    /// Groove; `-` reads it from standard input
    pub(crate) file: PathBuf,
    /// WAV file to write (stereo, 24 bits), whose name ends in .wav; `-` writes to standard output
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: PathBuf,
    /// Number of passes through the whole groove; sound that still rings at the end is kept
    #[arg(long, value_name = "N", default_value_t = 1, conflicts_with = "seconds", value_parser = values::passes)]
    pub(crate) loops: u32,
    /// Length in seconds instead of a number of passes; the groove is looped
    #[arg(long, value_name = "S", value_parser = values::seconds)]
    pub(crate) seconds: Option<f64>,
    #[command(flatten)]
    pub(crate) sound: SoundArgs,
    /// Click the written beat: `beat` (the default if no value is given), `strong` (only the downbeat and the strong beats, such as the
    /// heads of an additive meter), `off-beat` (only halfway between the beats), or 2, 3 or 4 clicks per beat
    #[arg(long, value_name = "HOW", num_args = 0..=1, default_missing_value = "beat", value_parser = pulse::click)]
    pub(crate) click: Option<Click>,
    /// Click the hearing with this number in `teeter explain` at the same speed; repeat for several. `N/2`, `N/3` and
    /// `N/4` click hearing N two to four times per pulse, `N/off-beat` only halfway between its pulses
    #[arg(long, value_name = "NUMBER", value_parser = pulse::hearing)]
    pub(crate) hearing: Vec<PulseSpec>,
    /// Count in for this many bars of the written beat, 1 to 16, or, with --hearing and without --click, for four pulses of the
    /// first hearing in place of each bar. A list of cues is written as with --ladder, which counts in for one bar by default
    #[arg(long, value_name = "BARS", conflicts_with = "seconds", value_parser = values::count_in_bars)]
    pub(crate) count_in: Option<u32>,
    /// Climb from a slow speed to a fast one: `50-100/10` goes from 50 to 100 percent in steps of 10, with a count-in and `--loops`
    /// passes at each; hearings are numbered as at full speed. A list of cues is written to a .tsv file of the same name, or to
    /// standard error with `-o -`
    #[arg(long, value_name = "FROM-TO/STEP", conflicts_with_all = ["seconds", "speed"], value_parser = pulse::ladder)]
    pub(crate) ladder: Option<values::Speeds>,
    /// Mute the Nth pass of the ladder (1/2 to 1/64), except for its first bar (or its first beat, if the loop is one bar long).
    /// The distance to the next muted pass then shrinks by one each time, down to every 2nd pass
    #[arg(long, value_name = "1/4", requires = "ladder", value_parser = pulse::silence)]
    pub(crate) silence: Option<u32>,
    #[command(flatten)]
    pub(crate) recording: RecordingArgs,
    #[command(flatten)]
    pub(crate) overwrite: OverwriteArg,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct TakesArgs {
    /// Groove; `-` reads it from standard input
    pub(crate) file: PathBuf,
    /// WAV file to write (stereo, 24 bits), whose name ends in .wav. It contains the cues, which are also listed in a .tsv file of the
    /// same name. `-` writes the sound to standard output and the list to standard error
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: PathBuf,
    /// Take to render; repeat for several. `groove` is the groove alone, `beat` and `hearing:1` are the groove with these clicks,
    /// `with:beat,1` is the groove with all these clicks, `pulses:beat,1` is only the clicks. A pulse may be divided: `beat/2`,
    /// `1/3`, `1/off-beat`, `beat/strong` [default: groove, beat, hearing:N, pulses:beat,N, hearing:N, where N is the likeliest hearing that does
    /// not keep the written beat]
    #[arg(long, value_name = "TAKE", value_parser = pulse::take)]
    pub(crate) take: Vec<TakeSpec>,
    /// Number of passes through the whole groove in each take
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = values::passes)]
    pub(crate) times: u32,
    /// Count in before each take: a bar of the written beat, or four pulses of its hearing
    #[arg(long)]
    pub(crate) count_in: bool,
    #[command(flatten)]
    pub(crate) sound: SoundArgs,
    #[command(flatten)]
    pub(crate) recording: RecordingArgs,
    #[command(flatten)]
    pub(crate) overwrite: OverwriteArg,
}
