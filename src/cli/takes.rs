//! `teeter takes`: renders takes back to back.

use super::{CliError, Exit, args, input, output};
use crate::jobs::{self, HearingSelection, Job, JobKind};
use std::sync::Arc;

const MAX_TAKES: usize = 256;

pub(super) fn run(args: &args::TakesArgs) -> Result<Exit, CliError> {
    if args.take.len() > MAX_TAKES {
        return Err(CliError::usage(format!("expected --take at most {MAX_TAKES} times, found {}", args.take.len())));
    }
    let groove = input::read_audible(&args.file, &args.sound)?;
    let job = Job {
        outside: input::outside_sounds(&groove, &args.file, &args.sound.outside)?,
        target: output::sound_target(&args.output)?,
        groove: Arc::new(groove),
        file: input::file_of(&args.file),
        overwrite: args.overwrite.policy(),
        limits: input::listener_limits()?,
        layers: Vec::new(),
        hearings: HearingSelection::Default,
        rate: args.sound.rate,
        kind: JobKind::Takes {
            takes: args.take.clone(),
            times: args.times,
            count_in: args.count_in,
            speed: args.sound.speed.value,
        },
    };
    let report = jobs::run(&job, &output::progress_control())?;
    output::print(&report, None)?;
    Ok(Exit::Success)
}
