//! The arguments of the searches for grooves.

use super::{ListenerArgs, OverwriteArg, values};
use crate::variation::Aim;
use clap::Args as ClapArgs;
use std::path::PathBuf;

#[derive(Debug, ClapArgs)]
pub(crate) struct SearchArgs {
    /// Groove whose layer gets the line; its other layers stay. Without it, the line gets a groove of its own
    pub(crate) file: Option<PathBuf>,
    /// Wanted pulse: beats per minute, a ratio to the beat such as 6:5 (six pulses in the time of five beats), or `even` for the
    /// attacks of `--attacks` as even as possible. `160 for 2 bars` wants it for a part of the length; repeat the option for the
    /// other parts
    #[arg(long, value_name = "PULSE", required = true)]
    pub(crate) pulse: Vec<String>,
    /// Group sizes in cells that may stand in the line, such as 3,4 or 2-7
    #[arg(long, value_name = "SIZES", default_value = "2-7", value_parser = values::group_sizes)]
    pub(crate) groups: values::GroupSizes,
    /// Length in bars or cells, such as `4 bars` or `64 cells`; in a groove, the section's
    #[arg(long, value_name = "LENGTH")]
    pub(crate) length: Option<String>,
    /// Meter of a groove of its own [default: 4/4]
    #[arg(long, conflicts_with = "file")]
    pub(crate) meter: Option<String>,
    /// Tempo of a groove of its own, in beats per minute [default: 120]
    #[arg(long, value_name = "BPM", conflicts_with = "file")]
    pub(crate) tempo: Option<String>,
    /// Cells per beat of a groove of its own [default: 4]
    #[arg(long, value_name = "N", conflicts_with = "file")]
    pub(crate) division: Option<u16>,
    /// Layer that gets the line [default: the first one]
    #[arg(long, value_name = "NAME", requires = "file")]
    pub(crate) layer: Option<String>,
    /// Section that gets the line [default: the first one]
    #[arg(long, value_name = "NAME", requires = "file")]
    pub(crate) section: Option<String>,
    /// Number of attacks
    #[arg(long, value_name = "N")]
    pub(crate) attacks: Option<usize>,
    /// Length in cells of a figure that is repeated
    #[arg(long, value_name = "CELLS")]
    pub(crate) figure: Option<usize>,
    /// How many times the figure is played
    #[arg(long, value_name = "N")]
    pub(crate) times: Option<usize>,
    /// Allow a rest, shorter than the figure, after the last one
    #[arg(long)]
    pub(crate) rest: bool,
    /// Cell of the first attack, counted from 1, or `any`
    #[arg(long, value_name = "CELL", default_value = "1")]
    pub(crate) first: String,
    /// Places that must be struck, such as `bar 3 beat 1`; repeat for more
    #[arg(long, value_name = "PLACES")]
    pub(crate) strike: Vec<String>,
    /// Places that must not be struck, such as `downbeats after bar 1`; repeat for more
    #[arg(long, value_name = "PLACES")]
    pub(crate) never: Vec<String>,
    /// Greatest distance of an attack from its pulse, in ms
    #[arg(long, value_name = "MS")]
    pub(crate) deviation: Option<f64>,
    /// Allow other attacks between those of the pulse
    #[arg(long)]
    pub(crate) between: bool,
    /// Let the listener take in all layers, not only the line
    #[arg(long, requires = "file")]
    pub(crate) all_layers: bool,
    #[command(flatten)]
    pub(crate) listener: ListenerArgs,
    /// Number of lines to list
    #[arg(long, value_name = "N", default_value_t = 10, value_parser = values::list_length)]
    pub(crate) top: usize,
    /// Number of lines, the nearest ones, that the listener is asked about
    #[arg(long, value_name = "N", default_value_t = 200, value_parser = values::list_length)]
    pub(crate) listen: usize,
    #[command(flatten)]
    pub(crate) results: ResultArgs,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct VaryArgs {
    /// Groove; `-` reads it from standard input
    pub(crate) file: PathBuf,
    /// Layer to vary [default: the first one with attacks]
    #[arg(long, value_name = "NAME")]
    pub(crate) layer: Option<String>,
    /// Section to vary [default: the first one in which the layer has attacks]
    #[arg(long, value_name = "NAME")]
    pub(crate) section: Option<String>,
    /// Vary the figure that covers most of the section, wherever it is played, instead of the whole line
    #[arg(long)]
    pub(crate) figure: bool,
    /// Vary only these cells of the section, such as 17-32, counted from 1
    #[arg(long, value_name = "CELLS", conflicts_with = "figure", value_parser = values::cell_range)]
    pub(crate) cells: Option<values::CellRange>,
    /// Operations, such as `rotate,swap`: rotate, displace, retrograde, swap, split, join, exchange, double, halve, stretch,
    /// complement, accents, thin, fill, permute [default: all but permute]
    #[arg(long, value_name = "OPERATIONS", value_delimiter = ',', value_parser = values::operation)]
    pub(crate) by: Vec<&'static str>,
    /// What comes first: near, harder, easier, on-beat, off-beat, or a tempo such as 164 that is to be heard
    #[arg(long, value_name = "AIM", default_value = "near", value_parser = values::aim)]
    pub(crate) aim: Aim,
    /// Let the listener take in all layers, not only the varied one
    #[arg(long)]
    pub(crate) all_layers: bool,
    #[command(flatten)]
    pub(crate) listener: ListenerArgs,
    /// Number of variants to list
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = values::list_length)]
    pub(crate) top: usize,
    /// Number of variants to make
    #[arg(long, value_name = "N", default_value_t = 2000, value_parser = values::list_length)]
    pub(crate) most: usize,
    #[command(flatten)]
    pub(crate) results: ResultArgs,
}

/// Where the listed lines or variants go.
#[derive(Debug, ClapArgs)]
pub(crate) struct ResultArgs {
    /// Print JSON
    #[arg(long)]
    pub(crate) json: bool,
    /// Folder to write what is listed into, as grooves
    #[arg(long, value_name = "FOLDER")]
    pub(crate) into: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) overwrite: OverwriteArg,
}
