//! What can happen, and what is then to be done, both as values. It must not know how either comes about.

use crate::analysis::{self, Report};
use crate::rhythm::{Fraction, Groove, Time};
use ratatui::crossterm::event::{KeyEvent, MouseEvent};
use std::sync::Arc;

/// Everything that wakes the program.
#[derive(Debug, Clone)]
pub enum Event {
    /// A key.
    Key(KeyEvent),
    /// Text pasted into the terminal.
    Pasted(String),
    /// The mouse.
    Mouse(MouseEvent),
    /// The window has so many columns and rows now.
    Resize(u16, u16),
    /// Time has passed while something sounds: where it is heard now.
    Tick(Option<Head>),
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
        /// The groove that was saved.
        groove: Arc<Groove>,
        /// The file's name, or why it was not saved.
        result: Result<String, Unsaved>,
    },
    /// The sound device is there, or why not.
    Device(Result<(), String>),
    /// Something has happened to the line to a far speaker.
    Speaker(Speaker),
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
pub enum Unsaved {
    /// The file is not as it was when it was read or last saved.
    Changed,
    /// There is a file of the name asked for already.
    Taken(String),
    /// It cannot be written; the words say why.
    Failed(String),
}

/// Where the groove is heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Head {
    /// Section, from 0.
    pub section: usize,
    /// Time through, from 0.
    pub pass: usize,
    /// Whole notes from the section's start.
    pub wholes: f64,
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
    /// Play from a place on.
    Play(Box<Playing>, Option<Head>),
    /// Go on playing with another loop in the place of the old one.
    Change(Box<Playing>),
    /// Stop playing.
    Stop,
    /// Connect to a far speaker.
    Speaker {
        /// The port of this host that leads to it.
        port: u16,
        /// The token it shows, as it was typed.
        token: String,
    },
    /// Forget what the screen shows and draw it all.
    Redraw,
    /// End the program; what is not saved stays in the journal if so asked.
    Quit {
        /// Whether the journal is kept.
        keep_journal: bool,
    },
}

/// What is to be heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Playing {
    /// The groove.
    pub groove: Arc<Groove>,
    /// Playing speed; 1 is as written.
    pub speed: Fraction,
    /// What is played round.
    pub over: Over,
    /// Whether the written beat is clicked.
    pub beat_click: bool,
    /// Clicks in seconds at full speed from the groove's start, every time through counted.
    pub pulses: Option<Arc<Vec<f64>>>,
}

/// What is played round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Over {
    /// The whole groove.
    All,
    /// One section.
    Section(usize),
    /// A part of a section.
    Part {
        /// The section.
        section: usize,
        /// Its start.
        from: Time,
        /// Its end.
        to: Time,
    },
}
