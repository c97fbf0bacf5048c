//! The types of the command table, from which key handling, help, hints, the searched list and the manual's table are made.

mod table;

use crate::session::Command;
use crate::terminal::confirmation::Reply;
use crate::terminal::lists::Step;
use crate::terminal::{Key, Question, State};
use tui_input::InputRequest;

/// Where the keys of a command work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Mode {
    Grid,
    /// The help, the full view and other lists.
    List,
    /// A prompt or a search.
    Typing,
    Tap,
    TapTempo,
    ConfirmQuit,
    ConfirmOverwrite,
    ConfirmImport,
    ConfirmSounds,
    /// A command can mean several things.
    Choice,
    /// Unsaved work is offered.
    Recovery,
}

#[derive(Debug)]
pub(crate) enum Action {
    Run(Command),
    Ask(Question),
    /// Enters an attack of as many cells as the digit of the key, 0 for ten; without a key asks for groups.
    EnterDigit,
    Tap,
    Navigate(Step),
    Edit(InputRequest),
    /// Answers the open question.
    Reply(Reply),
    Call(fn(&mut State)),
}

#[derive(Debug)]
pub(crate) struct CommandSpec {
    /// Name in the config file.
    pub name: &'static str,
    /// Default keys by their names in the config file; empty if the command is found by its description only.
    pub keys: &'static str,
    pub mode: Mode,
    pub action: Action,
    /// The heading it stands under in the help.
    pub heading: &'static str,
    pub description: &'static str,
    /// A word or two for the line of hints; empty if the command is never hinted at.
    pub hint: &'static str,
}

impl CommandSpec {
    pub(crate) fn default_keys(&self) -> Vec<Key> {
        self.keys.split_whitespace().filter_map(Key::parse).collect()
    }
}

/// Maximum characters of a description, so that it fits the help on a narrow screen.
pub(crate) const MAX_DESCRIPTION: usize = 46;

pub(crate) fn all() -> impl Iterator<Item = &'static CommandSpec> {
    table::TABLE.iter()
}

/// The commands of each heading, in the order of the help.
pub(crate) fn groups() -> impl Iterator<Item = &'static [CommandSpec]> {
    table::TABLE.chunk_by(|a, b| a.heading == b.heading)
}

pub(crate) fn find(name: &str) -> Option<&'static CommandSpec> {
    all().find(|c| c.name == name)
}
