//! Long pieces of work on a groove (export, handout, render, takes, ladder, import): each takes options and a target, reports progress,
//! can be cancelled, and writes all its files or none. It must not know the command line or the screen.

mod control;
mod export;
mod handout;
mod import;
mod output;
pub(crate) mod play_request;
mod render;
mod request;
mod takes;
#[cfg(test)]
mod tests;
mod user_samples;

pub(crate) use crate::export::picture::Theme as PictureTheme;
pub(crate) use crate::sound::{Click, Length, Position, Range, SampleRate};
pub(crate) use crate::store::Overwrite;
pub(crate) use control::{CancelToken, JobControl};
pub(crate) use export::{ExportChoice, ExportChoices, ExportKind, export_choices};
pub(crate) use import::{import, read_input};
pub(crate) use output::Target;
pub(crate) use output::{OutputFile, deliver, write_files};
pub(crate) use render::check_wav_name;
pub(crate) use request::{
    HandoutFormat, HearingKey, HearingSelection, ImportedGroove, Job, JobError, JobKind, JobReport, PictureStyle,
    TakeSound,
};
pub(crate) use takes::{AnalysedGroove, PulseSpec, TakeSpec};
pub(crate) use user_samples::UserSampleCache;

/// Does a job.
///
/// # Errors
/// [`JobError`]; no file was then written.
pub(crate) fn run(job: &Job, control: &JobControl) -> Result<JobReport, JobError> {
    match &job.kind {
        JobKind::Export { .. } => export::run(job, control),
        JobKind::Handout { format, sound, writing } => handout::run(job, *format, *sound, writing, control),
        JobKind::Render(..) | JobKind::Takes { .. } | JobKind::Ladder { .. } => render::run(job, control),
    }
}
