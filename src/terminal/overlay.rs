//! What lies over the grid, and in which mode keys are looked up then.

use crate::jobs::{ImportedGroove, Job};
use crate::terminal::commands::Mode;
use crate::terminal::files::export::Choice;
use crate::terminal::manual::{Input, ManualView};
use crate::terminal::prompts::question::Question;
use crate::terminal::prompts::typing::TextField;

/// What lies over the grid.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) enum Overlay {
    #[default]
    None,
    /// The help, from this line on.
    Help(usize),
    /// The manual.
    Manual(ManualView),
    /// The searched list of commands.
    Find { text: TextField, chosen: usize },
    /// The output devices, from this line on.
    Outputs(Vec<String>, usize),
    /// What is wrong with the config file, from this line on.
    ConfigFile(usize),
    /// A question. While nothing has been typed, `kept` says that the text is what stood there before.
    Prompt { question: Question, text: TextField, kept: bool, error: Option<String> },
    /// All that is said of the groove, at a block of it and a line of that.
    Full { block: usize, into: usize },
    /// Tapping along.
    Tap,
    /// What the last tapping says, at this line.
    TapReport(usize),
    /// Whether to end with work that is not saved.
    Leaving,
    /// Whether to write over a file that holds something else.
    Overwrite(PendingOverwrite),
    /// What can be made, searched.
    Offers { choice: Choice, text: TextField, chosen: usize },
    /// What the last import had to say, from this remark on.
    Remarks(usize),
    /// Whether what was imported takes the place of work that is not saved.
    Replacing(Box<ImportedGroove>),
}

/// A save, or something made, that was refused because of what stands there.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum PendingOverwrite {
    /// The groove's own file was changed by another program.
    Changed,
    /// Another file of this name is there.
    Taken(String),
    /// A file that a job would write exists.
    Job(Box<Job>, String),
}

impl Overlay {
    /// The mode in which keys are looked up.
    pub(crate) fn mode(&self) -> Mode {
        match self {
            Overlay::None => Mode::Grid,
            Overlay::Manual(view) if view.input == Input::Searching => Mode::Typing,
            Overlay::Help(_)
            | Overlay::Outputs(..)
            | Overlay::ConfigFile(_)
            | Overlay::Full { .. }
            | Overlay::TapReport(_)
            | Overlay::Manual(_)
            | Overlay::Remarks(_) => Mode::List,
            Overlay::Tap => Mode::Tap,
            Overlay::Find { .. } | Overlay::Prompt { .. } | Overlay::Offers { .. } => Mode::Typing,
            Overlay::Leaving => Mode::Leaving,
            Overlay::Overwrite(_) => Mode::Overwriting,
            Overlay::Replacing(_) => Mode::Replacing,
        }
    }
}
