//! Overlays of the grid, and the mode in which keys are looked up while one is open.

use crate::jobs::{ImportedGroove, Job};
use crate::session::Choice;
use crate::terminal::files::export::ExportMenu;
use crate::terminal::files::recovery::RecoveryView;
use crate::terminal::manual::{ManualInput, ManualView};
use crate::terminal::{Mode, Question, TextField};
use std::path::PathBuf;

/// What is open over the grid. Numbers of lists are the first visible or the selected line.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) enum Overlay {
    #[default]
    None,
    Help(usize),
    Manual(ManualView),
    Find {
        text: TextField,
        selected: usize,
    },
    Outputs(Vec<String>, usize),
    /// The errors in the config file.
    ConfigFile(usize),
    /// A question. `unedited`: the text is the current value, which the first character typed replaces.
    Prompt {
        question: Question,
        text: TextField,
        unedited: bool,
        error: Option<String>,
    },
    /// The full view, at a line of a block.
    Full {
        block: usize,
        line: usize,
    },
    Tap,
    TapReport(usize),
    ConfirmQuit,
    ConfirmOverwrite(PendingOverwrite),
    Export {
        menu: ExportMenu,
        text: TextField,
        selected: usize,
    },
    ImportWarnings(usize),
    /// Replace unsaved changes by the imported groove?
    ConfirmImport(Box<ImportedGroove>),
    /// May these sound files outside the folder be read?
    ConfirmSounds(Vec<PathBuf>),
    /// A command can mean several things: which?
    Choice(Choice),
    Recovery(RecoveryView),
}

/// A save or a job that found a file in its way.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum PendingOverwrite {
    /// The groove's own file was changed by another program: how it differs from the groove.
    Changed(Vec<String>),
    /// Another file of this name exists.
    Taken(String),
    /// A file that a job would write exists.
    Job(Box<Job>, String),
}

impl Overlay {
    pub(crate) fn mode(&self) -> Mode {
        match self {
            Overlay::None => Mode::Grid,
            Overlay::Manual(view) if view.input == ManualInput::Search => Mode::Typing,
            Overlay::Help(_)
            | Overlay::Outputs(..)
            | Overlay::ConfigFile(_)
            | Overlay::Full { .. }
            | Overlay::TapReport(_)
            | Overlay::Manual(_)
            | Overlay::ImportWarnings(_) => Mode::List,
            Overlay::Tap => Mode::Tap,
            Overlay::Find { .. } | Overlay::Prompt { .. } | Overlay::Export { .. } => Mode::Typing,
            Overlay::ConfirmQuit => Mode::ConfirmQuit,
            Overlay::ConfirmOverwrite(_) => Mode::ConfirmOverwrite,
            Overlay::ConfirmImport(_) => Mode::ConfirmImport,
            Overlay::ConfirmSounds(_) => Mode::ConfirmSounds,
            Overlay::Choice(_) => Mode::Choice,
            Overlay::Recovery(_) => Mode::Recovery,
        }
    }
}
