//! The types of the command table, from which key handling, help, hints, the searched list and the manual's table are made.

mod table;

use crate::terminal::action::Action;
use crate::terminal::input::key::Key;

/// Where the keys of a command work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Mode {
    Grid,
    /// The help, the full view and other lists.
    List,
    /// A prompt or a search.
    Typing,
    /// Tapping along.
    Tap,
    ConfirmQuit,
    ConfirmOverwrite,
    ConfirmImport,
    /// A command can mean several things.
    Choice,
    /// Unsaved work is offered.
    Recovery,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Group {
    Move,
    Enter,
    Change,
    Select,
    Tap,
    Layer,
    Section,
    Sound,
    Export,
    Program,
    Lists,
}

impl Group {
    /// Every group, in the order of the help.
    pub(crate) const ALL: &'static [Group] = &[
        Group::Enter,
        Group::Move,
        Group::Change,
        Group::Select,
        Group::Sound,
        Group::Tap,
        Group::Layer,
        Group::Section,
        Group::Export,
        Group::Program,
        Group::Lists,
    ];

    pub(crate) fn heading(self) -> &'static str {
        match self {
            Group::Move => "Moving",
            Group::Enter => "Entering attacks",
            Group::Change => "Editing attacks",
            Group::Select => "Selecting and copying",
            Group::Tap => "Tapping along",
            Group::Layer => "Layers",
            Group::Section => "Sections and the groove",
            Group::Sound => "Playback",
            Group::Export => "Export and import",
            Group::Program => "Screen and program",
            Group::Lists => "Lists and questions",
        }
    }
}

/// One command of the table.
#[derive(Debug)]
pub(crate) struct CommandSpec {
    /// Name in the config file.
    pub name: &'static str,
    /// Default keys; none if the command is found by its description only.
    pub keys: &'static [Key],
    pub mode: Mode,
    pub action: Action,
    pub group: Group,
    pub description: &'static str,
    /// A word or two for the line of hints; empty if the command is never hinted at.
    pub hint: &'static str,
}

/// Maximum characters of a description, so that it fits the help on a narrow screen.
pub(crate) const MAX_DESCRIPTION: usize = 46;

/// Every command of the table.
pub(crate) fn all() -> impl Iterator<Item = &'static CommandSpec> {
    table::TABLE.iter().copied().flatten()
}

pub(crate) fn find(name: &str) -> Option<&'static CommandSpec> {
    all().find(|c| c.name == name)
}
