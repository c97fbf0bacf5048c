//! Writes a handout: the student's page, the teacher's page, their pictures and takes.

use super::control::JobControl;
use super::output::{OutputFile, check_targets, write_files};
use super::render::failure;
use super::request::{HandoutFormat, Job, JobError, JobReport, TakeSound};
use super::takes::{self, AnalysedGroove};
use super::user_samples;
use crate::describe::notes::NotationOptions;
use crate::export::handout::{self, Handout, Reader, Sound};
use crate::export::{ExportInput, formats};
use crate::rhythm::Fraction;
use crate::sound::UserSamples;
use crate::sound::take::{SequenceRenderer, Take};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Creates the folder of the page if it is missing.
pub(super) fn run(
    job: &Job,
    format: HandoutFormat,
    sound: TakeSound,
    notation: &NotationOptions,
    control: &JobControl,
) -> Result<JobReport, JobError> {
    let (page, inputs) = (job.target.path(), job.inputs());
    let folder = page.parent().unwrap_or(Path::new(""));
    if folder.exists() && !folder.is_dir() {
        let reason = "expected a folder, found a file".to_owned();
        return Err(JobError::Write { path: folder.to_owned(), kind: io::ErrorKind::NotADirectory, reason });
    }
    let teacher = teacher_page(page);
    check_targets([page, teacher.as_path()], &inputs, job.overwrite)?;
    let analysed = AnalysedGroove::new(&job.groove, &job.layers, Fraction::ONE, job.limits);
    let selected = job.hearings.indices(&analysed.report)?;
    let hearings = selected.unwrap_or_else(|| formats::default_hearings(&analysed.report));
    let piece = ExportInput { groove: &job.groove, report: &analysed.report, hearings, section: None };
    let mut handout = Handout::without_takes(piece, job.limits, notation.clone());
    handout.stem = handout::stem(&page.file_stem().unwrap_or_default().to_string_lossy());
    let mut files = Vec::new();
    let mut add = |name: &str, bytes| files.push(OutputFile { path: page.with_file_name(name), bytes });
    let mut notes = Vec::new();
    if sound != TakeSound::None && !analysed.report.attacks.is_empty() {
        let samples;
        (samples, notes) = user_samples::load(job);
        let takes = distinct_takes(&analysed)?;
        let count = takes.len();
        for (k, take) in takes.into_iter().enumerate() {
            control.sub_range(k, count);
            let (name, bytes) = (take.name.clone(), render(job, take, samples.clone(), control)?);
            let sound = if sound == TakeSound::Embedded && format == HandoutFormat::Html {
                Sound::Embedded(bytes)
            } else {
                let file = format!("{}-{}.wav", handout.stem, k + 1);
                add(&file, bytes);
                Sound::File(file)
            };
            handout.takes.push(handout::Take { name, sound });
        }
    }
    let mut pages = Vec::new();
    for (path, reader) in [(page, Reader::Student), (&teacher, Reader::Teacher)] {
        let (bytes, beside) = match format {
            HandoutFormat::Html => (handout::html(&handout, reader).into_bytes(), Vec::new()),
            HandoutFormat::Pdf(paper) => {
                let pdf = handout::pdf(&handout, reader, paper);
                (pdf.map_err(|e| JobError::Input(e.to_string()))?, Vec::new())
            }
            HandoutFormat::Markdown => {
                let handout::Markdown { text, files } = handout::markdown(&handout, reader);
                (text.into_bytes(), files)
            }
        };
        pages.push(OutputFile { path: path.to_owned(), bytes });
        let beside = beside.into_iter().map(|(name, bytes)| OutputFile { path: page.with_file_name(name), bytes });
        files.extend(beside);
    }
    files.splice(0..0, pages);
    let written = files.iter().map(|f| f.path.clone()).collect();
    let is_new = !folder.as_os_str().is_empty() && !folder.exists();
    if is_new {
        fs::create_dir_all(folder).map_err(|e| JobError::write(folder, &e))?;
    }
    write_files(files, &inputs, job.overwrite, control).inspect_err(|_| {
        // Only an empty folder is removed.
        if is_new {
            drop(fs::remove_dir(folder));
        }
    })?;
    Ok(JobReport { files: written, notes, ..JobReport::default() })
}

/// The teacher's page next to a student's page.
fn teacher_page(page: &Path) -> PathBuf {
    let mut name = page.file_stem().unwrap_or_default().to_owned();
    name.push("-teacher.");
    name.push(page.extension().unwrap_or_default());
    page.with_file_name(name)
}

/// The default takes with count-ins, without repetitions.
fn distinct_takes(analysed: &AnalysedGroove) -> Result<Vec<Take>, JobError> {
    let specs = takes::default_takes(analysed.rival());
    let mut distinct: Vec<Take> = Vec::new();
    for take in takes::takes(analysed, &specs, 1, 1, Fraction::ONE, None).map_err(JobError::Request)? {
        if distinct.iter().all(|t| t.name != take.name) {
            distinct.push(take);
        }
    }
    Ok(distinct)
}

fn render(job: &Job, take: Take, samples: UserSamples, control: &JobControl) -> Result<Vec<u8>, JobError> {
    let mut bytes = Vec::new();
    let takes = [take];
    let sequence = SequenceRenderer::new(&job.groove, &takes, job.rate, samples);
    let rendered = sequence.write(&mut bytes, &mut |done, total| control.report_rendered(done, total));
    rendered.map_err(|e| failure(job, &e, control))?;
    Ok(bytes)
}
