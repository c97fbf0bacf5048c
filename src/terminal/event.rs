//! The events that change the state, and the effects that the shell carries out, both as values.

use crate::analysis::tap::Offset;
use crate::analysis::{self, Report};
use crate::jobs::grid::{GridChoices, GridJob};
use crate::jobs::play_request::{PlayRequest, PlaybackEvent, ResumePoint, Sequence};
use crate::jobs::variants::{VariantsAnswer, VariantsRequest};
use crate::jobs::{ImportedGroove, Job, JobError, JobReport, Overwrite, Practice, RecordingEvent, SoundSettings};
use crate::rhythm::{Fraction, Groove};
use crate::session::DocumentId;
use crate::terminal::files::replacement::OpenedFile;
use crate::terminal::{Background, KeyTime};
use ratatui::crossterm::event::{KeyEvent, MouseEvent};
use std::path::PathBuf;
use std::sync::Arc;

/// An input of [`update`](crate::terminal::update).
#[derive(Debug, Clone)]
#[allow(missing_docs, reason = "most names say it")]
pub enum Event {
    /// A key, and when it arrived.
    Key(KeyEvent, KeyTime),
    Pasted(String),
    Mouse(MouseEvent),
    /// The new columns and rows of the window.
    Resize(u16, u16),
    /// The background of the terminal, which it was asked for.
    Background(Background),
    Playback(PlaybackEvent),
    /// The tap offset was saved, or why not.
    OffsetSaved(Result<(), String>),
    Analysed {
        revision: u64,
        options: analysis::AnalysisOptions,
        report: Arc<Report>,
    },
    Saved {
        document: DocumentId,
        groove: Arc<Groove>,
        /// The file's name, or why it was not saved.
        result: Result<String, SaveFailed>,
    },
    /// The practice log of the groove in one line, or why it could not be read or written.
    Progress(Result<Option<String>, String>),
    Remote(RemoteEvent),
    Recording(RecordingEvent),
    /// The sound files and the recording outside the groove's folder that may not be read without an answer.
    OutsideSounds(Vec<PathBuf>),
    /// What was found in the recording of the groove of this revision, or why nothing.
    GridFound(u64, Result<GridChoices, String>),
    /// A part of the answer to [`Effect::Variants`].
    Variants(VariantsAnswer),
    /// The output devices, one per line, or why they cannot be listed.
    Outputs(Result<Vec<String>, String>),
    /// Progress of the running job in percent.
    JobProgress(u8),
    ExportDone(Box<Job>, Result<JobReport, JobError>),
    ImportDone(Result<Box<ImportedGroove>, JobError>),
    /// A groove file was read, or why not.
    Opened(Result<Box<OpenedFile>, String>),
    /// Whether unsaved changes are in the journal, or why not.
    Journal(Result<(), String>),
    /// The system asks the program to end.
    Signal,
    /// The system asks the program to stop until it is continued.
    Suspend,
    /// The program was stopped and continues.
    Resume,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RemoteEvent {
    /// Playback continues there.
    Connected,
    /// Why the connection is lost.
    Lost(String),
}

/// Why a groove was not saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SaveFailed {
    /// The file changed since it was read or last saved: how it differs from the groove.
    Changed(Vec<String>),
    /// Another file of this name exists.
    Taken(String),
    /// The file could not be written: why.
    Failed(String),
}

/// An action of the shell.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs, reason = "most names say it")]
pub enum Effect {
    /// Analyse the groove; only the newest request counts.
    Analyse {
        revision: u64,
        groove: Arc<Groove>,
        options: analysis::AnalysisOptions,
    },
    /// Write the groove to the journal before the next frame.
    Journal {
        document: DocumentId,
        groove: Arc<Groove>,
    },
    /// Take over the unsaved work of this number, which is now the groove of the document, and leave the others.
    AdoptUnsaved(usize, DocumentId),
    DiscardUnsaved(usize),
    /// Leave the unsaved work of this number to other editors.
    ReleaseUnsaved(usize),
    Save {
        groove: Arc<Groove>,
        /// The file from now on, if it is another one.
        name: Option<String>,
        /// Whether to overwrite a file that changed or that belongs to another document.
        overwrite: Overwrite,
    },
    /// Play from the start, or from where it was.
    Play(Box<PlayRequest>, Option<ResumePoint>),
    /// Replace what plays and continue.
    Change(Box<PlayRequest>),
    /// Continue with the current take of the sequence after the current pass.
    Step(Box<Sequence>),
    /// Add to the practice log of the groove, at the date of the day, and report it.
    Progress(Option<Practice>),
    /// Read the layers' sound files, open the recording, and report problems.
    TrySounds(Arc<Groove>),
    /// Remember that the groove's file may read these sound files.
    AllowSounds(Vec<PathBuf>),
    Stop,
    /// Report what was heard when this key arrived.
    Tap(KeyTime),
    /// Save the tap offset for the next session.
    SaveOffset(Offset),
    /// Apply the volume and save all of these settings for the next session.
    SetSound(SoundSettings),
    Outputs,
    Copy(String),
    /// Run a job; it ends with [`Event::ExportDone`].
    RunJob(Box<Job>),
    /// Import a file; it ends with [`Event::ImportDone`].
    Import {
        path: String,
        /// How far onsets may be moved, in ms.
        tolerance: Fraction,
    },
    CancelJob,
    /// Search the recording; it ends with [`Event::GridFound`].
    FindGrid(Box<GridJob>),
    /// Make, hear or sort variants, which [`Event::Variants`] answers in parts, in place of an earlier request; `None` ends that.
    Variants(Option<Box<VariantsRequest>>),
    /// Read a groove file; it ends with [`Event::Opened`].
    Open(String),
    /// Save the document to this file, which was read, from now on.
    UseFile(DocumentId, Box<OpenedFile>),
    /// Save as this document from now on.
    SwitchDocument(DocumentId),
    /// Draw the whole screen again.
    Redraw,
    /// Give the terminal back and stop until the program is continued.
    Suspend,
    /// Take the terminal again.
    Resume,
    Quit {
        /// Whether unsaved changes stay in the journal.
        keep_journal: bool,
    },
}
