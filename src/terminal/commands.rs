//! The types of the command table, from which key handling, help, hints, the searched list and the manual's table are made.

mod old_keys;
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
    /// The second key of a sequence.
    Menu(Menu),
    /// Every menu.
    AnyMenu,
    /// A prompt or a search.
    Typing,
    Tap,
    TapTempo,
    /// The list of variants.
    Variants,
    ConfirmQuit,
    ConfirmOverwrite,
    ConfirmImport,
    ConfirmSounds,
    /// A command can mean several things.
    Choice,
    /// Unsaved work is offered.
    Recovery,
}

/// A list of commands behind one key. The next key runs one of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Menu {
    Layer,
    Section,
    Bar,
    Edit,
    Copy,
    Sound,
    Practice,
    Recording,
    Transcription,
    File,
    Screen,
}

/// A key, or the key of a menu and then a key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct KeySequence {
    pub menu: Option<Menu>,
    pub key: Key,
}

#[derive(Debug)]
pub(crate) enum Action {
    Run(Command),
    Ask(Question),
    /// Enters an attack of as many cells as the digit of the key, 0 for ten; without a key asks for groups.
    EnterDigit,
    OpenMenu(Menu),
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
    /// Default keys and sequences by their names in the config file; empty if the command is only in the searched list.
    pub keys: &'static str,
    pub mode: Mode,
    pub action: Action,
    /// The heading it stands under in the help.
    pub heading: &'static str,
    /// The chapter of the manual about the commands of this heading.
    pub chapter: &'static str,
    pub description: &'static str,
    /// A word or two for the line of hints; empty if the command is never hinted at.
    pub hint: &'static str,
    /// Further words by which the searched list finds it.
    pub synonyms: &'static str,
}

impl CommandSpec {
    pub(crate) fn default_keys(&self) -> Vec<KeySequence> {
        let mut names = self.keys.split_whitespace();
        let mut keys = Vec::new();
        while let Some(name) = names.next() {
            let menu = if self.mode == Mode::Grid { menus().find(|(_, m)| m.keys == name) } else { None };
            let (menu, name) = match menu.and_then(|(menu, _)| Some((menu, names.clone().next()?))) {
                Some((menu, second)) => {
                    names.next();
                    (Some(menu), second)
                }
                None => (None, name),
            };
            keys.extend(Key::parse(name).map(|key| KeySequence { menu, key }));
        }
        keys
    }

    /// Where a key or a sequence of this command is looked up.
    pub(crate) fn slot(&self, keys: KeySequence) -> (Mode, Key) {
        (keys.menu.map_or(self.mode, Mode::Menu), keys.key)
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

/// The menus and the commands that open them.
pub(crate) fn menus() -> impl Iterator<Item = (Menu, &'static CommandSpec)> {
    all().filter_map(|c| if let Action::OpenMenu(menu) = c.action { Some((menu, c)) } else { None })
}

/// The command that opens a menu.
pub(crate) fn opener(menu: Menu) -> Option<&'static CommandSpec> {
    menus().find(|(m, _)| *m == menu).map(|(_, c)| c)
}

/// Keys of the grid before there were menus, and their commands.
pub(crate) fn old_keys() -> impl Iterator<Item = (Key, &'static CommandSpec)> {
    old_keys::OLD_KEYS.iter().filter_map(|(key, name)| Some((Key::parse(key)?, find(name)?)))
}

pub(crate) fn find(name: &str) -> Option<&'static CommandSpec> {
    all().find(|c| c.name == name)
}
