//! A groove in another format, and the list of formats and handouts to choose from.

use super::control::JobControl;
use super::output::{Target, check_targets, deliver};
use super::request::{HandoutFormat, Job, JobError, JobKind, JobReport, TakeSound};
use crate::analysis::{self, Ask, Scope};
use crate::export::formats::{self, FormatOptions, PICTURES};
use crate::export::picture::PictureKind;
use crate::export::{ExportInput, left_out};

/// Something that can be exported, as a list shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct ExportChoice {
    /// Its name.
    pub name: String,
    /// The extension of its file, without a dot.
    pub ending: &'static str,
    /// What it is.
    pub description: String,
    /// What a job makes of it.
    pub kind: ExportKind,
}

/// What a job makes of a choice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ExportKind {
    /// A format by its name, and of pictures which one; `None` is notation.
    Format(&'static str, Option<PictureKind>),
    /// A handout.
    Handout(HandoutFormat, TakeSound),
}

/// Everything that can be exported.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct ExportChoices {
    /// Formats of the groove.
    pub formats: Vec<ExportChoice>,
    /// Handouts.
    pub handouts: Vec<ExportChoice>,
}

const HANDOUTS: [(&str, &str, HandoutFormat, TakeSound); 5] = [
    ("page", "one page of HTML, its takes in files next to it", HandoutFormat::Html, TakeSound::Files),
    ("page-within", "one page of HTML that contains its takes (large)", HandoutFormat::Html, TakeSound::Embedded),
    ("page-silent", "one page of HTML without sound", HandoutFormat::Html, TakeSound::None),
    ("markdown", "Markdown, its pictures and takes in files next to it", HandoutFormat::Markdown, TakeSound::Files),
    ("markdown-silent", "Markdown, its pictures in files, without sound", HandoutFormat::Markdown, TakeSound::None),
];

/// Everything that can be exported: a format of pictures stands once for each picture.
pub(crate) fn export_choices() -> ExportChoices {
    let of_format = |f: &'static formats::Format| -> Vec<ExportChoice> {
        let choice = |name: String, description: String, picture| ExportChoice {
            name,
            ending: f.ending,
            description,
            kind: ExportKind::Format(f.name, picture),
        };
        if !f.drawn {
            return vec![choice(f.name.to_owned(), f.words.to_owned(), None)];
        }
        let pictures = PICTURES.iter().enumerate().map(|(k, (picture, content, kind))| {
            let name = if k == 0 { f.name.to_owned() } else { format!("{}-{picture}", f.name) };
            choice(name, format!("{} of {content}", f.name.to_uppercase()), *kind)
        });
        pictures.collect()
    };
    let handout = |&(name, description, format, sound): &(&str, &str, _, _)| ExportChoice {
        name: name.to_owned(),
        ending: if format == HandoutFormat::Markdown { "md" } else { "html" },
        description: description.to_owned(),
        kind: ExportKind::Handout(format, sound),
    };
    ExportChoices {
        formats: formats::FORMATS.iter().flat_map(of_format).collect(),
        handouts: HANDOUTS.iter().map(handout).collect(),
    }
}

/// Writes the groove in a format; where the target is standard output, the report holds the bytes.
pub(super) fn run(job: &Job, control: &JobControl) -> Result<JobReport, JobError> {
    let JobKind::Export { format, picture, section, style } = &job.kind else { return Ok(JobReport::default()) };
    let format = formats::format(format).map_err(JobError::Request)?;
    let inputs = job.inputs();
    if let Target::File(path) = &job.target {
        let name = path.to_string_lossy();
        formats::other_ending(&name, format.ending).map_or(Ok(()), |words| Err(JobError::Request(words)))?;
        check_targets([path.as_path()], &inputs, job.overwrite)?;
    }
    let scope = Scope { layers: job.layers.clone(), region: None };
    let report = analysis::report(&job.groove, &Ask { scope, limits: job.limits, ..Ask::default() });
    let is_notation = format.is_notes(*picture);
    let hearings = match job.hearings.indices(&report)? {
        Some(selected) => selected,
        None if is_notation || format.name == "midi" => Vec::new(),
        None => formats::default_hearings(&report),
    };
    let piece = ExportInput { groove: &job.groove, report: &report, hearings, section: *section };
    let options = FormatOptions {
        picture: *picture,
        theme: style.theme,
        width: style.width,
        scale: style.scale,
        writing: style.writing.clone(),
        limits: job.limits,
    };
    let bytes = (format.make)(&piece, &options).map_err(|e| JobError::Input(e.to_string()))?;
    let notes = if is_notation { left_out(&piece) } else { Vec::new() };
    let report = deliver(&job.target, bytes, &inputs, job.overwrite, control)?;
    Ok(JobReport { notes, ..report })
}
