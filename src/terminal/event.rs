//! What can happen, and what is then to be done, both as values.

use crate::analysis::tap::Offset;
use crate::analysis::{self, Report};
use crate::jobs::play_request::{PlayRequest, SequenceRequest};
use crate::jobs::{ImportedGroove, Job, JobError, JobReport};
use crate::rhythm::{Fraction, Groove};
use crate::session::DocumentId;
use crate::terminal::input::key_time::KeyTime;
use crate::terminal::playback::playing::SoundLevels;
use crate::terminal::playback::request::{Head, Heard};
use ratatui::crossterm::event::{KeyEvent, MouseEvent};
use std::sync::Arc;

/// Everything that wakes the program.
#[derive(Debug, Clone)]
pub enum Event {
    /// A key, and when it arrived.
    Key(KeyEvent, KeyTime),
    /// Text pasted into the terminal.
    Pasted(String),
    /// The mouse.
    Mouse(MouseEvent),
    /// The window has so many columns and rows now.
    Resize(u16, u16),
    /// Time has passed while something sounds: where it is heard now.
    Tick(Option<Head>),
    /// What was heard when a tap arrived.
    Tapped(Heard),
    /// The offset was kept for the next time, or why not.
    OffsetKept(Result<(), String>),
    /// The analysis of a revision is there.
    Analysed {
        /// The revision it was made from.
        revision: u64,
        /// What was asked.
        ask: analysis::Ask,
        /// What was found.
        report: Arc<Report>,
    },
    /// A save has ended.
    Saved {
        /// The document that was saved.
        document: DocumentId,
        /// The groove that was saved.
        groove: Arc<Groove>,
        /// The file's name, or why it was not saved.
        result: Result<String, SaveFailed>,
    },
    /// Another take of a sequence, or another time through it, is heard.
    Take {
        /// The sequence's number.
        sequence: u32,
        /// The take, from 0.
        take: usize,
        /// Whether it is still counted in.
        counting: bool,
        /// Times through it that have been played.
        turn: u64,
        /// Whether this time through falls silent after its opening.
        silent: bool,
    },
    /// The sequence of this number has been played through.
    SequenceEnded(u32),
    /// What has been practised of this groove so far, in a line, `None` if nothing; or why that is not known or not kept.
    Progress(Result<Option<String>, String>),
    /// The sound device is there, or why not.
    Device(Result<(), String>),
    /// Something has happened to the line to a far speaker.
    Speaker(Speaker),
    /// Something is to be said of the sound; what plays goes on.
    SoundTold(String),
    /// The output devices there are, one line each, or why that cannot be said.
    Outputs(Result<Vec<String>, String>),
    /// Progress of the running job in percent.
    JobProgress(u8),
    /// A job ended.
    ExportDone(Box<Job>, Result<JobReport, JobError>),
    /// An import ended.
    ImportDone(Result<Box<ImportedGroove>, JobError>),
    /// The journal could not be written: why.
    JournalFailed(String),
    /// The system asks the program to end.
    Signal,
}

/// What can happen to a far speaker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Speaker {
    /// It is connected, through this port; what sounds, sounds there from now on.
    There(u16),
    /// It could not be connected: why.
    Failed(String),
    /// The line or its device is lost: why. It comes back by itself.
    Lost(String),
    /// It is there again.
    Back,
    /// It is gone for good: why.
    Gone(String),
    /// It did not sound the loop: why.
    Refused(String),
}

/// Why a groove was not saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SaveFailed {
    /// The file is not as it was when it was read or last saved.
    Changed,
    /// There is a file of the name asked for already.
    Taken(String),
    /// It cannot be written; the words say why.
    Failed(String),
}

/// What is to be done outside.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Analyse the groove; only the newest request counts.
    Analyse {
        /// Revision of the groove.
        revision: u64,
        /// The groove.
        groove: Arc<Groove>,
        /// What is asked.
        ask: analysis::Ask,
    },
    /// Keep the groove safe against a crash.
    Journal(Arc<Groove>),
    /// Write the groove to its file, or to another one from now on.
    Save {
        /// The groove.
        groove: Arc<Groove>,
        /// Another name.
        name: Option<String>,
        /// Whether what stands there is written over, whatever it is.
        over: bool,
    },
    /// Play: a loop from a place on, or from its start.
    Play(Box<PlayRequest>, Option<Head>),
    /// Go on playing with this in the place of what is played.
    Change(Box<PlayRequest>),
    /// At the end of the time through that is heard, go on with the take the sequence says, and from there.
    Step(Box<SequenceRequest>),
    /// Tell what has been practised of the groove, after adding this to it.
    Progress(Option<Practised>),
    /// Look whether the sound files that layers name can sound; what is wrong with them is told.
    TrySounds(Arc<Groove>),
    /// Stop playing.
    Stop,
    /// Connect to a far speaker.
    Speaker {
        /// The port of this host that leads to it.
        port: u16,
        /// The token it shows, as it was typed.
        token: String,
    },
    /// Tell what was heard when this key arrived.
    Tap(KeyTime),
    /// Keep the offset for the next time.
    KeepOffset(Offset),
    /// Apply these volumes and keep them for the next session.
    SetLevels(SoundLevels),
    /// Say which output devices there are.
    Outputs,
    /// Give a text to the terminal's clipboard.
    Copy(String),
    /// Run a job; it ends with [`Event::ExportDone`].
    RunJob(Box<Job>),
    /// Import a file; it ends with [`Event::ImportDone`].
    Import {
        /// The file.
        path: String,
        /// How far onsets may be moved, in ms.
        tolerance: Fraction,
    },
    /// Cancel the running job.
    CancelJob,
    /// The groove belongs to this document from now on: it is saved and journalled as that one.
    SwitchDocument(DocumentId),
    /// Forget what the screen shows and draw it all.
    Redraw,
    /// End the program; what is not saved stays in the journal if so asked.
    Quit {
        /// Whether the journal is kept.
        keep_journal: bool,
    },
}

/// What has been practised.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Practised {
    /// The ladder, in the words it was asked for.
    pub ladder: String,
    /// The highest step that was heard through, from 1, and its speed in percent.
    pub step: usize,
    /// The speed of that step.
    pub speed: String,
    /// Steps of the ladder.
    pub steps: usize,
    /// Times through that were played since this was last told.
    pub loops: u64,
}
