//! Exports a groove to another format, and lists the formats and handouts to choose from.

use super::control::JobControl;
use super::output::{Target, check_targets, commit, stream};
use super::request::{HandoutFormat, Job, JobError, JobKind, JobReport, TakeSound};
use crate::analysis::{self, AnalysisOptions, Scope};
use crate::export::formats::{self, FormatOptions, PICTURES};
use crate::export::handout::Paper;
use crate::export::picture::PictureKind;
use crate::export::{ExportError, ExportInput, skipped_hearings};
use std::io::Write;
use std::path::Path;

/// An entry of a list of exports.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct ExportChoice {
    pub name: String,
    /// Extension of the file, without a dot.
    pub ending: &'static str,
    pub description: String,
    pub kind: ExportKind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ExportKind {
    /// A format by its name, and for a picture format its kind of picture; `None` is notation.
    Format(&'static str, Option<PictureKind>),
    Handout(HandoutFormat, TakeSound),
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct ExportChoices {
    pub formats: Vec<ExportChoice>,
    pub handouts: Vec<ExportChoice>,
}

const HANDOUTS: [(&str, &str, HandoutFormat, TakeSound); 7] = [
    ("page", "one page of HTML with its takes in separate files", HandoutFormat::Html, TakeSound::Files),
    ("page-within", "one page of HTML that contains its takes (large)", HandoutFormat::Html, TakeSound::Embedded),
    ("page-silent", "one page of HTML without sound", HandoutFormat::Html, TakeSound::None),
    ("pdf", "PDF on A4, without sound", HandoutFormat::Pdf(Paper::A4), TakeSound::None),
    ("pdf-letter", "PDF on Letter, without sound", HandoutFormat::Pdf(Paper::Letter), TakeSound::None),
    ("markdown", "Markdown with its pictures and takes in separate files", HandoutFormat::Markdown, TakeSound::Files),
    ("markdown-silent", "Markdown with its pictures in files, without sound", HandoutFormat::Markdown, TakeSound::None),
];

/// All exports, each picture format once per kind of picture.
pub(crate) fn export_choices() -> ExportChoices {
    let of_format = |f: &'static formats::Format| -> Vec<ExportChoice> {
        let choice = |name: String, description: String, picture| ExportChoice {
            name,
            ending: f.extension,
            description,
            kind: ExportKind::Format(f.name, picture),
        };
        if !f.is_picture {
            return vec![choice(f.name.to_owned(), f.description.to_owned(), None)];
        }
        let pictures = PICTURES.iter().enumerate().map(|(k, (picture, content, kind))| {
            let name = if k == 0 { f.name.to_owned() } else { format!("{}-{picture}", f.name) };
            choice(name, format!("{} of {content}", f.name.to_uppercase()), *kind)
        });
        pictures.collect()
    };
    let handout = |&(name, description, format, sound): &(&str, &str, HandoutFormat, TakeSound)| ExportChoice {
        name: name.to_owned(),
        ending: format.extension(),
        description: description.to_owned(),
        kind: ExportKind::Handout(format, sound),
    };
    ExportChoices {
        formats: formats::FORMATS.iter().flat_map(of_format).collect(),
        handouts: HANDOUTS.iter().map(handout).collect(),
    }
}

pub(super) fn run(job: &Job, control: &JobControl) -> Result<JobReport, JobError> {
    let JobKind::Export { format, picture, section, style } = &job.kind else { return Ok(JobReport::default()) };
    let format = formats::parse_format(format).map_err(JobError::Request)?;
    let inputs = job.inputs();
    if let Target::File(path) = &job.target {
        let name = path.to_string_lossy();
        formats::check_extension(&name, format.extension).map_err(JobError::Request)?;
        check_targets([path.as_path()], &inputs, job.overwrite)?;
    }
    let scope = Scope { layers: job.layers.clone(), region: None };
    let analysis =
        analysis::report(&job.groove, &AnalysisOptions { scope, limits: job.limits, ..AnalysisOptions::default() });
    let is_notation = format.is_notation(*picture);
    let hearings = match job.hearings.indices(&analysis)? {
        Some(selected) => selected,
        None if is_notation || format.name == "midi" => Vec::new(),
        None => formats::default_hearings(&analysis),
    };
    let piece = ExportInput { groove: &job.groove, report: &analysis, hearings, section: *section };
    let options = FormatOptions { picture: *picture, style, limits: job.limits };
    let mut report = JobReport::default();
    let write = |out: &mut dyn Write| match (format.write)(&piece, &options, out) {
        Ok(notes) => Ok(Ok(notes)),
        Err(ExportError::Format(error)) => Ok(Err(error)),
        Err(ExportError::Write(error)) => Err(error),
    };
    let written = match &job.target {
        // Several results for standard output are printed in order by the caller.
        Target::Stdout => write(&mut report.stdout).map(|notes| (notes, None)),
        target => stream(target, write),
    };
    let (notes, file) = written.map_err(|e| JobError::write(job.target.path(), &e))?;
    report.notes = notes.map_err(|e| JobError::Input(e.to_string()))?;
    commit(file.into_iter().collect(), job.overwrite, control)?;
    report.files.extend(job.target.file().map(Path::to_owned));
    if is_notation {
        report.notes.extend(skipped_hearings(&piece));
    }
    Ok(report)
}
