//! `teeter takes`: renders takes back to back.

use super::{CliError, Exit, args, input, output};
use crate::jobs::{Job, JobKind};

const MAX_TAKES: usize = 256;

pub(super) fn run(args: &args::TakesArgs) -> Result<Exit, CliError> {
    if args.take.len() > MAX_TAKES {
        return Err(CliError::usage(format!("expected --take at most {MAX_TAKES} times, found {}", args.take.len())));
    }
    let groove = input::read_audible(&args.file, &args.sound)?;
    let outside = input::outside_sounds(&groove, &args.file, &args.sound.outside)?;
    let target = output::sound_target(&args.output)?;
    let (takes, speed) = (args.take.clone(), args.sound.speed.value);
    let (groove, recording) = input::with_recording(groove, &args.file, &args.recording)?;
    let kind = JobKind::Takes { takes, times: args.times, count_in: u32::from(args.count_in), speed, recording };
    let job = super::job(groove, &args.file, target, &args.overwrite, input::listener_limits()?, kind);
    output::run_sound_job(&Job { outside, rate: args.sound.rate, ..job })
}
