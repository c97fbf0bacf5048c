//! Requests and results of jobs, shared by the editor and the command line.

use super::output::Target;
use super::recording_sound::RecordingSound;
use super::sound_access::{OutsideSounds, SoundAccess};
use super::takes::TakeSpec;
use crate::analysis::{Hearing, HearingKind, Limits, Report};
use crate::describe::notes::NotationOptions;
use crate::export::formats::PictureStyle;
use crate::export::handout::Paper;
use crate::export::picture::PictureKind;
use crate::rhythm::{Fraction, Groove, count, expected};
use crate::sound::take::Take;
use crate::sound::{Length, SampleRate};
use crate::store::{Overwrite, reason};
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Work on a groove, which is kept as it was when the work was requested.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    pub groove: Arc<Groove>,
    /// The groove's file, which is never overwritten; names of samples are relative to its folder.
    pub file: Option<PathBuf>,
    pub outside: OutsideSounds,
    /// Where the result goes: a file, or the page of a handout.
    pub target: Target,
    pub overwrite: Overwrite,
    pub limits: Limits,
    /// The layers to analyse; empty for the first one with attacks.
    pub layers: Vec<usize>,
    /// The hearings that are shown or clicked.
    pub hearings: HearingSelection,
    pub rate: SampleRate,
    pub kind: JobKind,
}

impl Job {
    pub(super) fn sound_access(&self) -> SoundAccess {
        SoundAccess { file: self.file.clone(), outside: self.outside.clone() }
    }

    /// The files that the job reads and therefore never replaces: the groove, its recording and the samples of its layers.
    pub(super) fn inputs(&self) -> Vec<PathBuf> {
        let folder = self.file.as_deref().and_then(Path::parent).unwrap_or(Path::new(""));
        let samples = self.groove.layers().iter().filter_map(|l| Some(folder.join(l.sound.as_ref()?)));
        let recording = self.groove.recording().map(|r| folder.join(&r.file));
        self.file.iter().cloned().chain(samples).chain(recording).collect()
    }
}

#[derive(Debug, Clone, PartialEq)]
pub enum JobKind {
    /// The groove in another format.
    Export {
        /// Name of the format.
        format: &'static str,
        /// Kind of picture, for `svg` and `png`; `None` is notation.
        picture: Option<PictureKind>,
        /// The only section to export, from 0.
        section: Option<usize>,
        style: PictureStyle,
    },
    /// A page with its pictures and takes.
    Handout { format: HandoutFormat, sound: TakeSound, notation: NotationOptions },
    /// One take.
    Render(Box<Take>, Length),
    /// Takes back to back; the default ones if `takes` is empty.
    Takes {
        takes: Vec<TakeSpec>,
        /// Passes of each take.
        times: u32,
        /// Bars of the count-in before each take; 0 for none.
        count_in: u32,
        speed: Fraction,
        /// How the recording is in them; `None` if it is not.
        recording: Option<RecordingSound>,
    },
    /// The steps of a ladder.
    Ladder {
        /// What is heard in each step.
        take: Box<Take>,
        /// Ascending.
        speeds: Vec<Fraction>,
        /// Passes up to the first silent one; later ones follow at shorter intervals. `None` for none.
        silence: Option<u32>,
    },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HandoutFormat {
    Html,
    /// A PDF on a paper.
    Pdf(Paper),
    /// Markdown with its pictures in files.
    Markdown,
}

impl HandoutFormat {
    /// The extension of a page, without a dot.
    pub(crate) fn extension(self) -> &'static str {
        match self {
            Self::Html => "html",
            Self::Pdf(_) => "pdf",
            Self::Markdown => "md",
        }
    }
}

/// Where the takes of a handout are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TakeSound {
    /// In files next to the page.
    Files,
    /// Embedded in the page.
    Embedded,
    /// The handout has no takes.
    None,
}

/// Which hearings a job shows.
#[derive(Debug, Clone, PartialEq)]
pub enum HearingSelection {
    /// Those that the kind of job shows by default.
    Default,
    /// By their numbers in `teeter explain`, from 1.
    Numbers(Vec<usize>),
    /// By their keys, whatever their order in the report.
    Keys(Vec<HearingKey>),
}

impl HearingSelection {
    /// Indices into a report, each once; `None` for the default hearings.
    pub(super) fn indices(&self, report: &Report) -> Result<Option<Vec<usize>>, JobError> {
        let all: Vec<usize> = match self {
            Self::Default => return Ok(None),
            Self::Numbers(numbers) => {
                let index = |&number: &usize| hearing(report, number).map(|_| number - 1);
                numbers.iter().map(index).collect::<Result<_, _>>().map_err(JobError::Request)?
            }
            Self::Keys(keys) => keys.iter().filter_map(|k| k.index_in(&report.hearings)).collect(),
        };
        let mut distinct = Vec::new();
        for index in all {
            if !distinct.contains(&index) {
                distinct.push(index);
            }
        }
        Ok(Some(distinct))
    }
}

/// The hearing of a number, from 1.
pub(super) fn hearing(report: &Report, number: usize) -> Result<&Hearing, String> {
    let hearings = &report.hearings;
    if hearings.is_empty() {
        return Err("the groove has no hearings, because it has no attacks".to_owned());
    }
    number
        .checked_sub(1)
        .and_then(|n| hearings.get(n))
        .ok_or_else(|| expected(format_args!("the number of a hearing, 1 to {}", hearings.len()), number))
}

/// Identifies a hearing, so that it can be found in another report.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HearingKey {
    kind: HearingKind,
    /// In seconds at full speed.
    period: f64,
    first_pulse: f64,
}

impl HearingKey {
    pub fn of(hearing: &Hearing) -> Self {
        let first_pulse = hearing.pulses.first().copied().unwrap_or(0.0);
        Self { kind: hearing.kind, period: hearing.period(), first_pulse }
    }

    /// The index of the hearing of the same kind that is closest in period, then in its first pulse.
    pub fn index_in(&self, hearings: &[Hearing]) -> Option<usize> {
        let distance = |h: &Hearing| {
            let other = Self::of(h);
            ((other.period / self.period).ln().abs(), (other.first_pulse - self.first_pulse).abs())
        };
        let candidates = hearings.iter().enumerate().filter(|(_, h)| h.kind.is_like(self.kind));
        let best = candidates.min_by(|a, b| {
            let (a, b) = (distance(a.1), distance(b.1));
            a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1))
        });
        best.map(|(index, _)| index)
    }
}

#[derive(Debug, Clone, PartialEq, Default)]
pub struct JobReport {
    /// The files written, the main one first.
    pub files: Vec<PathBuf>,
    /// Bytes that the caller writes to standard output; sound is streamed there.
    pub(crate) stdout: Vec<u8>,
    /// A list of cues that has no file: the caller writes it to standard error.
    pub(crate) cues: Option<String>,
    /// Length of the sound in seconds.
    pub seconds: Option<f64>,
    /// Deviations from the request, a sentence each.
    pub notes: Vec<String>,
}

impl JobReport {
    /// One line that names the main file, the list of cues if there is one, and how many more files there are.
    pub fn summary(&self) -> String {
        let shown = |path: &PathBuf| path.display().to_string();
        let main = self.files.first().map(shown).unwrap_or_default();
        let Some(seconds) = self.seconds else {
            let more = self.files.len().saturating_sub(1);
            let more = if more > 0 { format!(" and {} next to it", count(more, "file")) } else { String::new() };
            return format!("written: {main}{more}");
        };
        let cues = self.files.get(1).map(|path| format!(", cues in {}", path.display())).unwrap_or_default();
        format!("written: {main} ({seconds:.2} s){cues}")
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct ImportedGroove {
    pub groove: Groove,
    /// The file it was read from.
    pub from: PathBuf,
    /// What was changed or left out, a sentence each.
    pub warnings: Vec<String>,
}

/// Why a job failed. Except for [`JobError::Incomplete`], no file was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum JobError {
    Cancelled,
    /// A file exists and may not be replaced.
    Exists(PathBuf),
    /// The target is a file that the job reads.
    IsInput(PathBuf),
    /// The request does not fit the groove.
    Request(String),
    /// The input cannot be read, or the format cannot hold it.
    Input(String),
    /// The job could not be run.
    Internal(String),
    /// The target cannot be written.
    Write {
        path: PathBuf,
        kind: io::ErrorKind,
        reason: String,
    },
    /// The target cannot be written, and other files were replaced before it failed.
    Incomplete {
        path: PathBuf,
        reason: String,
        replaced: Vec<PathBuf>,
    },
}

impl JobError {
    pub(super) fn write(path: &Path, error: &io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::AlreadyExists => Self::Exists(path.to_owned()),
            kind => Self::Write { path: path.to_owned(), kind, reason: reason(error) },
        }
    }
}

impl fmt::Display for JobError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Cancelled => f.write_str("cancelled; nothing was written"),
            Self::Exists(path) => write!(f, "{}: the file already exists", path.display()),
            Self::IsInput(path) => write!(f, "{}: the file is an input and is never overwritten", path.display()),
            Self::Request(words) | Self::Input(words) | Self::Internal(words) => f.write_str(words),
            Self::Write { path, reason, .. } => write!(f, "{}: cannot write: {reason}", path.display()),
            Self::Incomplete { path, reason, replaced } => {
                let names: Vec<String> = replaced.iter().map(|p| p.display().to_string()).collect();
                write!(f, "{}: cannot write: {reason}; already replaced: {}", path.display(), names.join(", "))
            }
        }
    }
}

impl std::error::Error for JobError {}
