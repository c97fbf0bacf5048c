//! Renders WAV files: one take, takes back to back with a list of cues, or the steps of a ladder.

use super::control::JobControl;
use super::output::{OutputFile, Target, check_targets, commit, stream};
use super::request::{Job, JobError, JobKind, JobReport};
use super::takes::{self, AnalysedGroove};
use super::{recordings, user_samples};
use crate::rhythm::{Fraction, expected};
use crate::sound::take::{CountIn, SequenceRenderer, Take, cue_table};
use crate::sound::{self, Length, UserSamples};
use std::io;
use std::path::Path;

/// The sentence for whoever writes a recording into a file.
const RIGHTS: &str = "hand it on only as far as those who made the recording allow";

pub(crate) fn check_wav_name(target: &Target) -> Result<(), JobError> {
    match target {
        Target::File(path) if !path.extension().is_some_and(|e| e.eq_ignore_ascii_case("wav")) => {
            Err(JobError::Request(expected("a file name that ends in .wav", path.display())))
        }
        _ => Ok(()),
    }
}

pub(super) fn run(job: &Job, control: &JobControl) -> Result<JobReport, JobError> {
    check_wav_name(&job.target)?;
    match &job.kind {
        JobKind::Render(take, Length::Passes(_)) if take.count_in != CountIn::Off => {
            render_sequence(job, std::slice::from_ref(&**take), control)
        }
        JobKind::Render(take, length) => render_take(job, take, *length, control),
        JobKind::Takes { takes, times, count_in, speed, recording } => {
            let analysed = AnalysedGroove::new(&job.groove, &[], *speed, job.limits);
            let selected = job.hearings.indices(&analysed.report)?.unwrap_or_default();
            let rival = selected.first().map(|k| k + 1).or_else(|| analysed.rival());
            let default = takes::default_takes(rival);
            let specs = if takes.is_empty() { &default } else { takes };
            let takes =
                takes::takes(&analysed, specs, *times, *count_in, *speed, *recording).map_err(JobError::Request)?;
            render_sequence(job, &takes, control)
        }
        JobKind::Ladder { take, speeds, silence } => {
            let analysed = AnalysedGroove::new(&job.groove, &[], Fraction::ONE, job.limits);
            render_sequence(job, &takes::ladder(&job.groove, &analysed, speeds, *silence, take), control)
        }
        JobKind::Export { .. } | JobKind::Handout { .. } => Ok(JobReport::default()),
    }
}

fn render_take(job: &Job, take: &Take, length: Length, control: &JobControl) -> Result<JobReport, JobError> {
    check_targets(job.target.file(), &job.inputs(), job.overwrite)?;
    let (samples, notes) = load(job, std::slice::from_ref(take), control)?;
    let schedule = take.schedule(&job.groove, job.rate, &samples);
    let rendered = stream(&job.target, |out| {
        sound::render_wav(schedule, length, out, &mut |done, total| control.report_rendered(done, total))
    });
    let (frames, file) = rendered.map_err(|e| failure(job, &e, control))?;
    commit(file.into_iter().collect(), job.overwrite, control)?;
    let files = job.target.file().map(Path::to_owned).into_iter().collect();
    Ok(JobReport { files, seconds: Some(frames.seconds(job.rate)), notes, ..JobReport::default() })
}

/// What the takes need besides the groove: sound files of its layers, and its recording. Notes about what is missing or altered.
fn load(job: &Job, takes: &[Take], control: &JobControl) -> Result<(UserSamples, Vec<String>), JobError> {
    let plays_layers = takes.iter().any(|take| take.layers);
    let (mut samples, mut notes) =
        if plays_layers { user_samples::load(job) } else { (UserSamples::default(), Vec::new()) };
    let has_recording = takes.iter().any(|take| take.recording.is_some_and(|play| !play.is_silent));
    if let (true, Some(recording)) = (has_recording, job.groove.recording()) {
        control.sub_range(0, 2);
        let (source, warnings) =
            recordings::decode_for(job, takes.iter().any(|take| take.speed != Fraction::ONE), control)?;
        control.sub_range(1, 2);
        samples.set_recording(Some(source));
        notes.insert(0, format!("it has the sound of {}: {RIGHTS}", recording.file));
        notes.extend(warnings);
    }
    Ok((samples, notes))
}

/// Renders takes back to back. The list of cues is written next to a sound file, or else returned in the report.
fn render_sequence(job: &Job, takes: &[Take], control: &JobControl) -> Result<JobReport, JobError> {
    let cues = job.target.file().map(|path| path.with_extension("tsv"));
    check_targets(job.target.file().into_iter().chain(cues.as_deref()), &job.inputs(), job.overwrite)?;
    let (samples, notes) = load(job, takes, control)?;
    let sequence = SequenceRenderer::new(&job.groove, takes, job.rate, samples);
    let rendered =
        stream(&job.target, |out| sequence.write(out, &mut |done, total| control.report_rendered(done, total)));
    let (frames, file) = rendered.map_err(|e| failure(job, &e, control))?;
    let list = cue_table(&sequence.cues, job.rate);
    let mut report = JobReport { seconds: Some(frames.seconds(job.rate)), notes, ..JobReport::default() };
    match (file, cues) {
        (Some(file), Some(path)) => {
            let list = OutputFile { path: path.clone(), bytes: list.into_bytes() }.prepare()?;
            commit(vec![file, list], job.overwrite, control)?;
            report.files = [job.target.path().to_owned(), path].into();
        }
        _ => report.cues = Some(list),
    }
    Ok(report)
}

pub(super) fn failure(job: &Job, error: &io::Error, control: &JobControl) -> JobError {
    if control.is_cancelled() { JobError::Cancelled } else { JobError::write(job.target.path(), error) }
}
