//! What is asked of a job and what it gives back, as values that the editor and the command line share.

use super::output::Target;
use super::takes::TakeSpec;
use crate::analysis::{Hearing, Kind, Limits, Report};
use crate::describe::notes::NotationOptions;
use crate::export::picture::{self, Theme};
use crate::rhythm::{Fraction, Groove, expected};
use crate::sound::take::Take;
use crate::sound::{Length, SampleRate};
use crate::store::{Overwrite, reason};
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// One piece of work on a groove, as it was when the work was asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// The groove.
    pub groove: Arc<Groove>,
    /// Its file, which no result replaces; names of samples are relative to its folder. `None` for one without a file.
    pub file: Option<PathBuf>,
    /// Where the result goes: a file, or the page of a handout.
    pub target: Target,
    /// Whether files that exist are replaced.
    pub overwrite: Overwrite,
    /// The user's limits.
    pub limits: Limits,
    /// The layers whose hearings are meant; empty for the first with attacks.
    pub layers: Vec<usize>,
    /// The hearings that are shown or heard.
    pub hearings: HearingSelection,
    /// Sample rate of sound.
    pub rate: SampleRate,
    /// What is made.
    pub kind: JobKind,
}

impl Job {
    /// The files that the job reads and therefore never replaces: the groove and the samples of its layers.
    pub(super) fn inputs(&self) -> Vec<PathBuf> {
        let folder = self.file.as_deref().and_then(Path::parent).unwrap_or(Path::new(""));
        let samples = self.groove.layers().iter().filter_map(|l| Some(folder.join(l.sound.as_ref()?)));
        self.file.iter().cloned().chain(samples).collect()
    }
}

/// What is made.
#[derive(Debug, Clone, PartialEq)]
pub enum JobKind {
    /// The groove in another format.
    Export {
        /// Name of the format.
        format: &'static str,
        /// Which picture a format of pictures draws; `None` is notation.
        picture: Option<picture::PictureKind>,
        /// Only this section.
        section: Option<usize>,
        /// How pictures and notation look.
        style: PictureStyle,
    },
    /// A handout: a page with its pictures and takes.
    Handout {
        /// Format of the page.
        format: HandoutFormat,
        /// Where its takes are.
        sound: TakeSound,
        /// How its notation is written.
        writing: NotationOptions,
    },
    /// One take.
    Render(Box<Take>, Length),
    /// Takes back to back.
    Takes {
        /// The takes; empty for the default ones.
        takes: Vec<TakeSpec>,
        /// Passes of each.
        times: u32,
        /// Whether each is counted in.
        count_in: bool,
        /// Playing speed.
        speed: Fraction,
    },
    /// The steps of a ladder.
    Ladder {
        /// What is heard in each step.
        take: Box<Take>,
        /// The speeds, rising.
        speeds: Vec<Fraction>,
        /// One in so many passes is silent at first; `None` for none.
        silence: Option<u32>,
    },
}

/// Format of a handout.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HandoutFormat {
    /// One page of HTML.
    Html,
    /// Markdown with its pictures in files.
    Markdown,
}

/// Where the takes of a handout are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TakeSound {
    /// In files next to the page.
    Files,
    /// Embedded in the page.
    Embedded,
    /// Nowhere: it is silent.
    None,
}

/// How pictures and notation look.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureStyle {
    /// Print or screen.
    pub theme: Theme,
    /// Width in CSS pixels, 480 to 4000.
    pub width: f32,
    /// Pixels of a PNG per CSS pixel, 0.1 to 8; `None` for the default.
    pub scale: Option<f32>,
    /// How notation is written, in scores and handouts too.
    pub writing: NotationOptions,
}

impl Default for PictureStyle {
    fn default() -> Self {
        Self { theme: Theme::Print, width: 1000.0, scale: None, writing: NotationOptions::default() }
    }
}

/// Which hearings a job shows.
#[derive(Debug, Clone, PartialEq)]
pub enum HearingSelection {
    /// Those that the result shows where nothing else is said.
    Default,
    /// By their numbers in `teeter explain`, from 1.
    Numbers(Vec<usize>),
    /// By what they are, whatever their order in another report.
    Keys(Vec<HearingKey>),
}

impl HearingSelection {
    /// The hearings as indices into a report; `None` for the default ones.
    pub(super) fn indices(&self, report: &Report) -> Result<Option<Vec<usize>>, JobError> {
        let mut found = Vec::new();
        let mut add = |index| {
            if !found.contains(&index) {
                found.push(index);
            }
        };
        match self {
            Self::Default => return Ok(None),
            Self::Numbers(numbers) => {
                for &number in numbers {
                    hearing(report, number).map_err(JobError::Request)?;
                    add(number - 1);
                }
            }
            Self::Keys(keys) => keys.iter().filter_map(|k| k.index_in(&report.hearings)).for_each(add),
        }
        Ok(Some(found))
    }
}

/// The hearing of a number, from 1.
pub(super) fn hearing(report: &Report, number: usize) -> Result<&Hearing, String> {
    let hearings = &report.hearings;
    number
        .checked_sub(1)
        .and_then(|n| hearings.get(n))
        .ok_or_else(|| expected(format_args!("the number of a hearing, 1 to {}", hearings.len()), number))
}

/// What identifies a hearing, so that it can be found in another report.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HearingKey {
    kind: Kind,
    /// In seconds at full speed.
    period: f64,
    first_pulse: f64,
}

impl HearingKey {
    /// The key of a hearing.
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

/// What a job made.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct JobReport {
    /// The files written, the main one first.
    pub files: Vec<PathBuf>,
    /// What the caller writes to standard output; sound is streamed there.
    pub(crate) stdout: Vec<u8>,
    /// What the caller writes to standard error: a list of cues that has no file.
    pub(crate) cues: Option<String>,
    /// Length of the sound in seconds.
    pub seconds: Option<f64>,
    /// What is not as it was asked for, a sentence each.
    pub notes: Vec<String>,
}

impl JobReport {
    /// One line on what was written; of a handout only the page is named.
    pub fn summary(&self) -> String {
        let shown = |path: &PathBuf| path.display().to_string();
        let main = self.files.first().map(shown).unwrap_or_default();
        let Some(seconds) = self.seconds else { return format!("written: {main}") };
        let cues = self.files.get(1).map(|path| format!(", cues in {}", path.display())).unwrap_or_default();
        format!("written: {main} ({seconds:.2} s){cues}")
    }
}

/// A groove that was imported.
#[derive(Debug, Clone, PartialEq)]
pub struct ImportedGroove {
    /// The groove.
    pub groove: Groove,
    /// The file it was read from.
    pub from: PathBuf,
    /// What was changed or left out, a sentence each.
    pub warnings: Vec<String>,
}

/// Why a job made nothing. No file was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum JobError {
    /// It was cancelled.
    Cancelled,
    /// A file exists and may not be replaced.
    Exists(PathBuf),
    /// The target is a file that the job reads.
    IsInput(PathBuf),
    /// The request does not fit the groove.
    Request(String),
    /// The input cannot be read, or cannot be put into the format.
    Input(String),
    /// The job could not be run.
    Internal(String),
    /// The target cannot be written.
    Write {
        /// The target.
        path: PathBuf,
        /// The kind of the system's error.
        kind: io::ErrorKind,
        /// The system's reason.
        reason: String,
    },
}

impl JobError {
    /// What an error on the way to a file means.
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
        }
    }
}

impl std::error::Error for JobError {}
