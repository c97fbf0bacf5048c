//! Long-running work on a groove (export, handout, render, takes, ladder, import): each job takes options and a target, reports
//! progress and can be cancelled. It must not know the command line or the screen.

mod control;
mod export;
mod fingerprint;
pub(crate) mod grid;
mod handout;
mod import;
mod output;
pub(crate) mod play_request;
mod recording_sound;
mod recordings;
mod remote_samples;
mod render;
mod request;
mod sound_access;
mod takes;
#[cfg(test)]
mod tests;
mod user_samples;
pub(crate) mod variants;

pub(crate) use crate::export::formats::PictureStyle;
pub(crate) use crate::export::picture::Theme as PictureTheme;
pub(crate) use crate::recording::onsets::{Band, Onset};
pub(crate) use crate::sound::take::MAX_COUNT_IN_BARS;
pub(crate) use crate::sound::{Channels, Click, Length, Position, Range, RecordingTone, SampleRate};
pub(crate) use crate::store::{LoadedGroove, Overwrite, Practice, SoundSettings};
pub(crate) use control::{CancelToken, JobControl};
pub(crate) use export::{ExportChoice, ExportChoices, ExportKind, export_choices};
pub(crate) use fingerprint::file_fingerprint;
pub(crate) use import::{import, read_input};
pub(crate) use output::{OutputFile, Target, deliver, write_files};
pub(crate) use recording_sound::{
    RecordingMix, RecordingSound, parse_band, parse_channels, parse_level, parse_semitones,
};
pub(crate) use recordings::{LoadedRecording, RecordingEvent, Recordings, is_recording};
pub(crate) use remote_samples::{FilesToSend, SampleFolder};
pub(crate) use render::check_wav_name;
pub(crate) use request::{
    HandoutFormat, HearingKey, HearingSelection, ImportedGroove, Job, JobError, JobKind, JobReport, TakeSound,
};
pub(crate) use sound_access::{OutsideSounds, SharedAccess, SoundAccess, audible_sounds};
pub(crate) use takes::{AnalysedGroove, PulseSpec, TakeSpec};
pub(crate) use user_samples::UserSampleCache;

pub(crate) fn run(job: &Job, control: &JobControl) -> Result<JobReport, JobError> {
    match &job.kind {
        JobKind::Export { .. } => export::run(job, control),
        JobKind::Handout { format, sound, notation } => handout::run(job, *format, *sound, notation, control),
        JobKind::Render(..) | JobKind::Takes { .. } | JobKind::Ladder { .. } => render::run(job, control),
    }
}
