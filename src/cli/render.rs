//! `teeter render`: renders a groove, or a ladder of speeds.

use super::{CliError, Exit, args, input, output};
use crate::jobs::{AnalysedGroove, Job, JobKind};
use crate::rhythm::{ClickSound, Fraction};
use crate::sound::take::{CountIn, Take};
use crate::sound::{Click, Length, Range};

pub(super) fn run(args: &args::RenderArgs) -> Result<Exit, CliError> {
    let target = output::sound_target(&args.output)?;
    let groove = input::read_audible(&args.file, &args.sound)?;
    let outside = input::outside_sounds(&groove, &args.file, &args.sound.outside)?;
    let limits = input::listener_limits()?;
    let speed = if args.ladder.is_some() { Fraction::ONE } else { args.sound.speed.value };
    let (lines, count_in) = match &args.hearing[..] {
        [] => (Vec::new(), CountIn::Bar),
        pulses => AnalysedGroove::new(&groove, &[], speed, limits)
            .lines(pulses)
            .map_err(|e| CliError::usage(format!("--hearing: {e}")))?,
    };
    let count_in = match args.click {
        _ if args.count_in.is_none() && args.ladder.is_none() => CountIn::Off,
        None => count_in,
        Some(_) => CountIn::Bar,
    };
    let (groove, recording) = input::with_recording(groove, &args.file, &args.recording)?;
    let mut take = Box::new(Take {
        name: "groove".to_owned(),
        note: String::new(),
        layers: true,
        click: args.click.unwrap_or(Click::Off),
        click_db: 0.0,
        click_sound: ClickSound::default(),
        lines,
        speed,
        range: Range::Whole,
        times: args.loops,
        count_in,
        count_in_bars: args.count_in.unwrap_or(1),
        recording: None,
        muted_passes: Vec::new(),
    });
    if let Some(sound) = recording {
        sound.add_to(&mut take);
    }
    let kind = match &args.ladder {
        Some(args::Speeds(speeds)) => JobKind::Ladder { take, speeds: speeds.clone(), silence: args.silence },
        None => JobKind::Render(take, args.seconds.map_or(Length::Passes(args.loops), Length::Seconds)),
    };
    let job = super::job(groove, &args.file, target, &args.overwrite, limits, kind);
    output::run_sound_job(&Job { outside, rate: args.sound.rate, ..job })
}
